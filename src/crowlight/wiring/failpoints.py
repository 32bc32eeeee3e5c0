"""Ending the process at a named moment, for tests that see whether anything is lost.

Only the environment variable `VARIABLE` switches this on; nothing happens without it.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping

from crowlight.errors import InputError
from crowlight.store.failpoints import FAILPOINTS, Failpoint, pass_by

__all__ = ["ENDED", "MOMENTS", "VARIABLE", "Failpoint", "failpoint_of", "pass_by"]

#: Holds the name of a moment, and after an ``@`` which time it comes: ``reply:before@3``.
VARIABLE = "CROWLIGHT_END_AT"
#: Every moment there is: those of the store, and those of an answer to something sent.
MOMENTS = (*FAILPOINTS, "reply:before", "reply:after")
#: What the process ends with.
ENDED = 86


def failpoint_of(environment: Mapping[str, str]) -> Failpoint:
    """Return what is to be called at each moment.

    Parameters
    ----------
    environment : mapping
        Of the process.

    Raises
    ------
    InputError
        If the variable names no moment: a test that never ends the process would prove nothing.
    """
    asked = environment.get(VARIABLE, "")
    if not asked:
        return pass_by
    name, _, time = asked.partition("@")
    if name not in MOMENTS or not (time or "1").isdecimal():
        msg = f"{VARIABLE} = {asked!r} names no moment; unset it, or use one of {MOMENTS}"
        raise InputError(msg)
    when, come = int(time or "1"), Counter[str]()

    def end_at(point: str) -> None:
        come[point] += 1
        if point == name and come[point] == when:
            os._exit(ENDED)

    return end_at
