"""``crowlight demo``: an invented workshop, judged."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["demo"]


def demo(
    to: Annotated[Path, typer.Option(help="Folder for the invented records and reports.")] = Path(
        "crowlight-demo"
    ),
    only: Annotated[
        bool, typer.Option("--only", help="Write the reports and stop; open no browser.")
    ] = False,
) -> None:
    """Make up a small workshop, judge its reeds, say what to do next, and open the pages."""
    from crowlight.cli.reading import write_text
    from crowlight.cli.serving import serve_folder
    from crowlight.invented.posted import fill_posted
    from crowlight.invented.workshop import REEDS, fill
    from crowlight.report.advice import advice_line
    from crowlight.report.html import report_html
    from crowlight.wiring import open_desk

    folder, finished = to / "records", {reed.name for reed in REEDS}
    typer.echo("Everything in this demo is invented: the town, the people, the reeds, the numbers.")
    with open_desk(folder) as desk:
        for name in (*fill(desk), *fill_posted(desk)):
            sheet = desk.sheet(name)
            file = to / f"{name}.html"
            write_text(file, report_html(sheet))
            found = sheet.assessment
            typer.echo(f"{name}: {found.differing if found else 0} differences; report {file}")
            if name in finished:
                typer.echo(f"  {advice_line(desk.advice.plan(name))}")
    if not only:
        serve_folder(folder)
