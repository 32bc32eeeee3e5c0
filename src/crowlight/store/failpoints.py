"""Named moments at which a test may end the process, to see that nothing kept is lost.

Whoever opens the store may pass a function; it is called with the name of each moment as it comes.
Nothing is called otherwise.
"""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["FAILPOINTS", "Failpoint", "pass_by"]

#: Called with the name of a moment; returning lets the work go on.
Failpoint = Callable[[str], None]

#: Every moment there is, in the order of their modules.
FAILPOINTS = (
    "records:before-commit",
    "records:after-commit",
    "blobs:before-rename",
    "blobs:after-rename",
    "results:before-rename",
    "results:after-rename",
    "takes:before-rename",
    "takes:after-rename",
    "backup:before-rename",
    "backup:after-rename",
    "restore:checked",
    "restore:before-database",
    "restore:after-database",
)


def pass_by(point: str) -> None:
    """Do nothing at `point`."""
