"""The kind of entry that says where a reed lies in a photograph against the light."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from pydantic import Field

from crowlight.bench.payload import Line, Payload

__all__ = ["LIGHT_KINDS", "LightMarks"]

Share = Annotated[float, Field(ge=0, le=1)]
Point = tuple[Share, Share]


class LightMarks(Payload):
    """Four points of a reed in one of its photographs, from which the light is worked out anew.

    Each is (from the left, from the top) as shares of the width and the height of the upright
    picture. Left and right are as seen with the tip up. `facing` is the blade that faces the
    camera, `passed` how many blades the light went through, `reach` the distance from the tip to
    the lower two points [m] where these are not where the thread ends.
    """

    kind: ClassVar[str] = "light"
    photo: UUID
    tip_left: Point
    tip_right: Point
    foot_left: Point
    foot_right: Point
    facing: Literal["marked", "plain", "unsure"] = "unsure"
    passed: Literal["both", "one"] = "both"
    reach: Annotated[float, Field(ge=5e-3, le=40e-3)] | None = None
    remark: Line = ""


LIGHT_KINDS: tuple[type[Payload], ...] = (LightMarks,)
