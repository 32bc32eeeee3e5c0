"""Commands that keep, list and hand out records."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crowlight.reed import Origin

__all__ = ["backup", "export", "import_table", "reeds", "report", "restore"]


def import_table(
    context: typer.Context,
    files: Annotated[list[Path], typer.Argument(help="CSV or TSV tables.", dir_okay=False)],
    reed: Annotated[str, typer.Option(help="The reed, if the table does not say.")] = "",
) -> None:
    """Keep tables of readings. The same table twice changes nothing."""
    from crowlight.cli.reading import read_bytes
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        for file in files:
            done = desk.import_table(read_bytes(file), name=file.name, reed=reed)
            what = f"{done.readings} readings" if done.added else "nothing new (imported before)"
            new = " (a new reed)" if done.new_reed else ""
            typer.echo(f"{file.name}: {what} for reed {done.reed.name}{new}")


def reeds(
    context: typer.Context,
    search: Annotated[str, typer.Argument(help="Part of a name, person, colour, style.")] = "",
    limit: Annotated[int, typer.Option(min=1, max=10_000)] = 50,
) -> None:
    """List reeds, the latest first."""
    from crowlight.bench.ports import ReedQuery
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        page = desk.reeds(ReedQuery(text=search, limit=limit))
    for row in page.rows:
        seen = f"{row.last_at:%Y-%m-%d}" if row.last_at else "-"
        typer.echo(f"{row.name}\t{row.batch or '-'}\t{row.style or '-'}\t{row.readings}\t{seen}")
    if page.total > len(page.rows):
        typer.echo(f"{len(page.rows)} of {page.total}; raise --limit to see more", err=True)


def report(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    to: Annotated[Path, typer.Option("--to", help="The HTML file to write.", dir_okay=False)],
    prefer: Annotated[
        Origin, typer.Option("--from", help="What positions are counted from, if it is known.")
    ] = Origin.TIP,
) -> None:
    """Write a report on a reed: one HTML file with its pictures inside."""
    from crowlight.cli.reading import write_text
    from crowlight.report.html import report_html
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        write_text(to, report_html(desk.sheet(reed), prefer=prefer))
    typer.echo(f"wrote {to}")


def export(
    context: typer.Context,
    to: Annotated[Path, typer.Argument(help="A new or empty folder, or a name ending in .zip.")],
) -> None:
    """Write out everything you own as CSV and JSON, with sounds and pictures."""
    from crowlight.wiring import export_everything

    done = export_everything(context.obj, to)
    for table, count in done.rows.items():
        typer.echo(f"{table}: {count}")
    typer.echo(f"sounds and pictures: {done.blobs}; all of it is in {done.path}")
    for digest in done.missing:
        typer.echo(f"missing or damaged, left out: {digest}", err=True)


def backup(
    context: typer.Context,
    to: Annotated[Path, typer.Argument(help="The backup file to write.", dir_okay=False)],
) -> None:
    """Write all records into one file with checksums."""
    from crowlight.wiring import back_up

    done = back_up(context.obj, to)
    typer.echo(f"wrote {done.path}, {done.size} bytes, with {done.blobs} sounds and pictures")
    for digest in done.damaged:
        typer.echo(f"damaged, left out: {digest}", err=True)
    for digest in done.absent:
        typer.echo(f"named by an entry, but not there: {digest}", err=True)


def restore(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="A backup.", dir_okay=False)],
    replace: Annotated[
        bool, typer.Option("--replace", help="Put it in the place of records that are there.")
    ] = False,
) -> None:
    """Bring records back from a backup; every checksum is compared first."""
    from crowlight.wiring import bring_back

    done = bring_back(context.obj, file, replace=replace)
    typer.echo(f"restored what was backed up at {done.made_at}")
    if done.set_aside is not None:
        typer.echo(f"the records that were there before are kept as {done.set_aside}")
