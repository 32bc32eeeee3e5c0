"""What is asked about reeds of a batch."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from crowlight.report.words import mark
from crowlight.web.field import KNIFE, Field, Form

__all__ = ["BATCH_FORMS"]

BATCH_FORMS: Mapping[str, Form] = MappingProxyType(
    {
        "split-test": Form(
            title=mark("Split test"),
            about=mark("How this reed was made: as usual, or with the one thing changed."),
            caution=KNIFE,
            fields=(
                Field(
                    name="test",
                    label=mark("Name of the test"),
                    kind="line",
                    hint=mark("As the page of the earlier batch names it, such as tip/seen."),
                    needed=True,
                ),
                Field(
                    name="made",
                    label=mark("Made"),
                    kind="choice",
                    choices=(("usual", mark("as usual")), ("changed", mark("with the change"))),
                    needed=True,
                ),
                Field(name="remark", label=mark("What was changed"), kind="text"),
            ),
        ),
    }
)
