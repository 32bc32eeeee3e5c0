"""``crowlight compare``: two moments of a reed."""

from __future__ import annotations

import json
from typing import Annotated

import typer

__all__ = ["compare"]


def compare(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    before: Annotated[int, typer.Argument(metavar="A", help="Number of an entry; 0 for none.")],
    after: Annotated[int, typer.Argument(metavar="B", help="Number of a later entry.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, lengths in mm.")] = False,
) -> None:
    """Compare a reed after two of its entries."""
    from crowlight.report.moments import compared_in_mm, compared_text
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.compare(reed, before, after)
    typer.echo(
        json.dumps(compared_in_mm(found), indent=1, ensure_ascii=False)
        if as_json
        else compared_text(found)
    )
