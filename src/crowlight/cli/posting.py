"""Commands about posted reeds: the queue, the letter, prints at true scale."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

__all__ = ["letter", "posted", "print_out"]

_PAPER = "Paper: a4 or letter."


def posted(
    context: typer.Context,
    everything: Annotated[
        bool, typer.Option("--all", help="With those that left the workshop.")
    ] = False,
    calendar: Annotated[
        Path | None, typer.Option(help="Write what is due into a calendar file (iCalendar).")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """List posted reeds: what may be done, and what is due."""
    from crowlight.cli.reading import write_bytes
    from crowlight.report.posted import queue_plain, queue_text
    from crowlight.report.reminders import calendar as written
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    words = in_locale("en")
    with open_desk(context.obj) as desk:
        queue = desk.posted.queue(gone=everything)
        now = desk.clock.now()
    if calendar is not None:
        write_bytes(calendar, written(queue, now=now, words=words))
    if as_json:
        typer.echo(json.dumps(queue_plain(queue), indent=1, ensure_ascii=False))
    else:
        typer.echo(queue_text(queue, words))


def letter(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    pdf: Annotated[Path | None, typer.Option(help="Write a PDF.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write an HTML file.")] = None,
    paper: Annotated[str, typer.Option(help=_PAPER)] = "a4",
    student: Annotated[
        bool, typer.Option("--student", help="One observation and one exercise.")
    ] = False,
    journey: Annotated[
        bool,
        typer.Option(help="Say what to expect at the player's altitude; slow the first time."),
    ] = True,
) -> None:
    """Write the letter about a reed to its player: as edited, else drafted."""
    from crowlight.cli.reading import write_bytes, write_text
    from crowlight.errors import InputError
    from crowlight.report.letter import letter_content, letter_html, letter_pdf
    from crowlight.report.letter_text import draft
    from crowlight.report.paper import PAPERS, paper_of
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    if paper not in PAPERS:
        msg = f"--paper {paper!r} must be one of: {', '.join(PAPERS)}"
        raise InputError(msg)
    words = in_locale("en")
    with open_desk(context.obj) as desk:
        story = desk.posted.story(reed, travel=journey)
        kept = None if student else desk.posted.letter(reed)
        content = letter_content(
            story,
            words=words,
            kept=kept,
            student=student,
            photo=lambda entry: desk.posted.photo(reed, entry),
        )
    if html is not None:
        write_text(html, letter_html(content, words=words))
    if pdf is not None:
        made = letter_pdf(content, words=words, paper=paper_of(paper))
        write_bytes(pdf, made.pdf)
        if not made.accessible:
            typer.echo(
                "some characters have no font on this machine: the PDF is not PDF/UA", err=True
            )
    drafted = draft(story, words=words, student=student)
    if html is None and pdf is None:
        texts: dict[Any, str] = dict(kept.parts) if kept else dict(drafted.parts)
        typer.echo("\n\n".join(texts.values()))
    for hint in () if kept else drafted.hints:
        typer.echo(f"to add: {hint}", err=True)


def print_out(
    context: typer.Context,
    what: Annotated[str, typer.Argument(help="blades, card or labels.")],
    reeds: Annotated[list[str], typer.Argument(metavar="REED...", help="The reeds.")],
    to: Annotated[Path, typer.Option(help="The PDF.")],
    paper: Annotated[str, typer.Option(help=_PAPER)] = "a4",
) -> None:
    """Print at true scale: blades with thickness lines, a measuring card, or tube labels."""
    from crowlight.cli.reading import write_bytes
    from crowlight.errors import InputError
    from crowlight.report.paper import PAPERS, paper_of
    from crowlight.report.prints import PRINTS, print_of
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    if what not in PRINTS or paper not in PAPERS:
        msg = f"print {', '.join(PRINTS)} on {' or '.join(PAPERS)}, not {what!r} on {paper!r}"
        raise InputError(msg)
    if what != "labels" and len(reeds) > 1:
        msg = f"{what} are printed of one reed at a time; you named {len(reeds)}"
        raise InputError(msg)
    with open_desk(context.obj) as desk:
        made = print_of(desk, what, reeds, words=in_locale("en"), paper=paper_of(paper))
    write_bytes(to, made.pdf)
    typer.echo(f"{to}: print it at 100 %, and measure the ruler on it")
