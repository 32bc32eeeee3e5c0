"""``crowlight style`` and ``crowlight styles``: scrape styles."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["style", "styles"]


def style(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="Name of the new style.")],
    reeds: Annotated[
        list[str], typer.Option("--from", help="A reed of yours; give it once for each reed.")
    ],
) -> None:
    """Make a scrape style from these reeds of yours."""
    from crowlight.bench.styles import known_style
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        made = desk.make_style(name, reeds)
    figures = known_style(made.name, made.text).profile
    own = sum(figure.source == "own" for figure in figures.values())
    typer.echo(
        f"style {made.name!r}: {own} of {len(figures)} figures are your own, the others are those "
        f"of the style it started from"
    )


def styles(context: typer.Context) -> None:
    """List the scrape styles."""
    from crowlight.reed.styles import STYLE_CODES
    from crowlight.wiring import open_desk

    for code in STYLE_CODES:
        typer.echo(f"{code}\tcomes with crowlight")
    with open_desk(context.obj) as desk:
        names = {person.uuid: person.name for person in desk.people.all()}
        for own in desk.styles():
            maker = names.get(own.maker, "-") if own.maker else "-"
            typer.echo(f"{own.name}\t{maker}\t{own.created_at:%Y-%m-%d}")
