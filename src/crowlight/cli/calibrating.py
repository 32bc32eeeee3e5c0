"""``crowlight calibrate``: what a reed's own measurements say of its cane and tie."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["calibrate"]


def calibrate(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Learn cane stiffness and preload from force tests, pitches and the crow's start."""
    import json

    from crowlight.report.calibration import calibration_plain, calibration_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.models.calibrated(reed)
    if as_json:
        typer.echo(json.dumps(calibration_plain(found), indent=1))
    else:
        typer.echo(calibration_text(found, in_locale("en")))
