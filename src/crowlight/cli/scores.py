"""``crowlight scores``: how the predictions have done."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["scores"]


def scores(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, in SI units.")] = False,
) -> None:
    """Score predictions by what was measured after their advice was followed."""
    import json

    from crowlight.report.scores import scores_plain, scores_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.learning.scores()
    if as_json:
        typer.echo(json.dumps(scores_plain(found), indent=1))
    else:
        typer.echo(scores_text(found, in_locale("en")))
