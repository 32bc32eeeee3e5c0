"""The command tree."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import crowlight
from crowlight.cli import (
    batches,
    blades,
    calibrating,
    climate,
    hearing,
    judging,
    keeping,
    light,
    moments,
    people,
    planning,
    posting,
    scores,
    serving,
    styles,
    trials,
    verifying,
)
from crowlight.cli.demo import demo

__all__ = ["app"]

app = typer.Typer(
    name="crowlight",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Measure oboe reeds, find what is wrong, and weigh the next cut before any cane goes.",
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"crowlight {crowlight.__version__}")
        raise typer.Exit


@app.callback()
def _common(
    context: typer.Context,
    folder: Annotated[
        Path | None,
        typer.Option(
            help="Folder of your records; a folder of yours alone by default.",
            envvar="CROWLIGHT_FOLDER",
        ),
    ] = None,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    context.obj = folder


app.command()(judging.assess)
app.command("import")(keeping.import_table)
app.command()(keeping.reeds)
app.command()(people.people)
app.command()(people.places)
app.command()(people.assign)
app.command()(people.erase)
app.command()(styles.style)
app.command()(styles.styles)
app.command()(batches.batch)
app.command()(batches.figures)
app.command()(batches.gauge)
app.command()(moments.compare)
app.command()(keeping.report)
app.command()(posting.posted)
app.command()(posting.letter)
app.command("print")(posting.print_out)
app.command()(keeping.export)
app.command()(keeping.backup)
app.command()(keeping.restore)
app.command()(planning.plan)
app.command()(planning.did)
app.command()(planning.after)
app.command()(planning.wish)
app.command()(blades.blade)
app.command()(calibrating.calibrate)
app.command()(hearing.listen)
app.command()(light.light)
app.command()(blades.crow)
app.command()(blades.travel)
app.command()(climate.air)
app.command()(scores.scores)
app.command()(trials.trials)
app.command()(serving.serve)
app.command()(demo)
app.command()(verifying.verify)
