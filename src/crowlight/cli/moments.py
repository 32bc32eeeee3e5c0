"""``crowlight compare``: two moments of a reed."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from crowlight.reed import Origin

__all__ = ["compare"]


def compare(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    before: Annotated[int, typer.Argument(metavar="A", help="Number of an entry; 0 for none.")],
    after: Annotated[int, typer.Argument(metavar="B", help="Number of a later entry.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, lengths in mm.")] = False,
    counted_from: Annotated[
        Origin, typer.Option("--from", help="What positions are counted from, if it is known.")
    ] = Origin.TIP,
) -> None:
    """Compare a reed after two of its entries."""
    from crowlight.report.counting import counting_of_state
    from crowlight.report.moments import compared_in_mm, compared_text
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.compare(reed, before, after)
    counting = counting_of_state(found.after, counted_from)
    typer.echo(
        json.dumps(compared_in_mm(found), indent=1, ensure_ascii=False)
        if as_json
        else compared_text(found, counting=counting)
    )
