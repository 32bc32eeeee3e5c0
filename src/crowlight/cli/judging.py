"""``crowlight assess``: judge a reed or a table."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from crowlight.reed import Origin

__all__ = ["assess"]


def assess(
    context: typer.Context,
    target: Annotated[str, typer.Argument(metavar="REED|FILE", help="A kept reed, or a table.")],
    prefer: Annotated[
        Origin, typer.Option("--from", help="What positions are counted from, if it is known.")
    ] = Origin.TIP,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, lengths in mm.")] = False,
) -> None:
    """Say what differs between sides and blades beyond what the gauge can tell."""
    from crowlight.cli.reading import read_bytes
    from crowlight.report.counting import Counting
    from crowlight.report.plain import assessment_in_mm
    from crowlight.report.text import assessment_text
    from crowlight.wiring import assess_file, open_desk

    path = Path(target)
    if path.is_file():
        found = assess_file(read_bytes(path), name=path.name)
    else:
        with open_desk(context.obj) as desk:
            found = desk.assess(target)
    typer.echo(
        json.dumps(assessment_in_mm(found), indent=1, ensure_ascii=False)
        if as_json
        else assessment_text(found, counting=Counting.of(found, prefer))
    )
