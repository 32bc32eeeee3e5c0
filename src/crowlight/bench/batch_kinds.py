"""Kinds of entry about batches: how a reed was made for a split test."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from crowlight.bench.payload import Line, Payload, Text

__all__ = ["BATCH_KINDS", "SplitTest"]


class SplitTest(Payload):
    """How a reed was made for a split test: as usual, or with the one thing changed.

    `test` names the steady difference it is about, as a batch does: quantity and contrast.
    """

    kind: ClassVar[str] = "split-test"
    test: Annotated[Line, Field(pattern=r"^[a-z-]+/[a-z]+$")]
    made: Literal["usual", "changed"]
    remark: Text = ""


BATCH_KINDS: tuple[type[Payload], ...] = (SplitTest,)
