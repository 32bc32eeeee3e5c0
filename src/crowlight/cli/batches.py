"""``crowlight batch`` and ``figures``: what reeds have in common, what the work yields."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["batch", "figures"]


def batch(
    context: typer.Context,
    batch: Annotated[str, typer.Argument(help="Name or uuid of the batch.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say what a batch has in common: the steady difference, its spread, reeds that stand out."""
    import json

    from crowlight.report.batch_plain import batch_plain, batch_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    words = in_locale("en")
    with open_desk(context.obj) as desk:
        shown = desk.batches.of(batch)
    if as_json:
        typer.echo(json.dumps(batch_plain(shown, words), indent=1, allow_nan=False))
    else:
        typer.echo(batch_text(shown, words))


def figures(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say what the workshop yields: shares per stage, minutes and cost per sellable reed, life."""
    import json

    from crowlight.report.figures import figures_plain, figures_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.batches.figures()
    if as_json:
        typer.echo(json.dumps(figures_plain(found), indent=1, allow_nan=False))
    else:
        typer.echo(figures_text(found, in_locale("en")))
