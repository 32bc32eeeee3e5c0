"""The letter to a player, drafted, edited and printed; prints at true scale."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from uuid import UUID

from fastapi import APIRouter, Request
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.story import Story, style_of
from crowlight.bench.workshop_kinds import LETTER_PARTS, Letter
from crowlight.errors import CrowlightError, InputError
from crowlight.report.letter import Content, letter_content, letter_html, letter_pdf
from crowlight.report.letter_findings import mapped_group
from crowlight.report.letter_text import PARTS, draft
from crowlight.report.paper import PAPERS, paper_of
from crowlight.report.prints import PRINTS, print_of
from crowlight.report.words import mark
from crowlight.web.looking import as_kept, judged
from crowlight.web.routes.blades import waiting
from crowlight.web.running import Running, UnderWay
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Names of parts that have no heading of their own.
_NAMES = {"greeting": mark("Greeting"), "closing": mark("Closing")}


def _story(request: Request, bench: Bench, reed: UUID, *, back: str) -> Story | Response:
    """Return the story of a reed, or a page that says how far it is."""
    running: Running = request.app.state.running
    sheet = as_kept(bench.desk, reed)
    key = ("letter", reed, sheet.reed.seq)
    state = running.ask(key, bench.desk, lambda desk: desk.posted.story(reed))
    if isinstance(state, UnderWay):
        title = bench.words(mark("Gathering what the letter tells"))
        return waiting(request, bench, sheet, state, title=title, back=back)
    return state.value


@router.get("/reeds/{reed}/letter")
def letter(
    request: Request, reed: UUID, bench: UseBench, student: bool = False, fresh: bool = False
) -> Response:
    """Show the letter, to be edited."""
    story = _story(request, bench, reed, back=f"/reeds/{reed}")
    if isinstance(story, Response):
        return story
    kept = None if fresh or student else bench.desk.posted.letter(reed)
    drafted = draft(story, words=bench.words, student=student)
    texts: Mapping[str, str] = {**kept.parts} if kept else drafted.parts  # pyright: ignore[reportGeneralTypeIssues]  # a dict
    typed = {f"part-{name}": [text] for name, text in texts.items()}
    typed["student"] = ["1"] if (kept.student if kept else student) else []
    return _page(request, bench, reed, typed, hints=drafted.hints, kept=kept is not None)


def _page(
    request: Request,
    bench: Bench,
    reed: UUID,
    typed: Mapping[str, list[str]],
    *,
    hints: tuple[str, ...] = (),
    kept: bool = False,
    troubles: list[Trouble] | None = None,
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    words = bench.words
    return bench.pages.render(
        request,
        "letter-edit.html",
        status=status,
        sheet=as_kept(bench.desk, reed),
        parts=[(name, words(PARTS[name] or _NAMES[name])) for name in LETTER_PARTS],
        typed=typed,
        hints=hints,
        kept=kept,
        papers=tuple(PAPERS),
        student=bool(typed.get("student")),
        troubles=troubles or [],
        uuid=uuid,
    )


@router.post("/reeds/{reed}/letter")
async def keep_letter(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Keep the letter as it was edited."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_keep, request, bench, reed, sent)


def _keep(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    troubles, status, uuid = list(sent.troubles), 403, sent.uuid
    if not troubles:
        try:
            parts = {name: sent.one(f"part-{name}") for name in LETTER_PARTS}
            said = {name: text for name, text in parts.items() if text}
            made = Letter.model_validate({"student": bool(sent.one("student")), "parts": said})
            write_once(bench.desk, reed, made, sent)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            name = next((str(p) for p in first["loc"] if p in LETTER_PARTS), "")
            cause = first.get("ctx", {}).get("error") or first["msg"]
            troubles, status = [Trouble(f"part-{name}" if name else "", str(cause))], 422
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            uuid = None if status == 409 else uuid
        else:
            return RedirectResponse(f"/reeds/{reed}/letter?done=letter", 303)
    return _page(request, bench, reed, sent.typed, troubles=troubles, status=status, uuid=uuid)


# --- as a file ------------------------------------------------------------------------------------


def _content(request: Request, bench: Bench, reed: UUID, student: bool) -> Content | Response:
    kept = None if student else bench.desk.posted.letter(reed)
    story = (
        bench.desk.posted.story(reed, travel=False)  # its words are written already
        if kept
        else _story(request, bench, reed, back=f"/reeds/{reed}/letter")
    )
    if isinstance(story, Response):
        return story
    return letter_content(
        story,
        words=bench.words,
        kept=kept,
        student=student,
        photo=lambda entry: bench.desk.posted.photo(reed, entry),
    )


@router.get("/reeds/{reed}/letter.html")
def as_html(request: Request, reed: UUID, bench: UseBench, student: bool = False) -> Response:
    """Return the letter as one HTML file."""
    content = _content(request, bench, reed, student)
    if isinstance(content, Response):
        return content
    text = letter_html(content, words=bench.words)
    headers = {"Content-Security-Policy": POLICY_REPORT}
    return Response(text, media_type="text/html; charset=utf-8", headers=headers)


@router.get("/reeds/{reed}/letter.pdf")
def as_pdf(
    request: Request, reed: UUID, bench: UseBench, student: bool = False, paper: str = "a4"
) -> Response:
    """Return the letter as a PDF."""
    content = _content(request, bench, reed, student)
    if isinstance(content, Response):
        return content
    made = letter_pdf(content, words=bench.words, paper=paper_of(paper))
    return _pdf(made.pdf, f"letter-{bench.desk.records.reed(reed).name}")


def _pdf(data: bytes, name: str) -> Response:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    safe = re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:60] or "reed"
    headers = {"Content-Disposition": f'inline; filename="{safe}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


# --- prints ---------------------------------------------------------------------------------------


@router.get("/reeds/{reed}/prints")
def prints(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show what can be printed of a reed."""
    sheet, _ = judged(bench.desk, reed)
    can = {
        "blades": mapped_group(sheet) is not None,
        "card": style_of(bench.desk, sheet) is not None,
        "labels": True,
    }
    return bench.pages.render(request, "prints.html", sheet=sheet, prints=PRINTS, can=can)


@router.get("/reeds/{reed}/prints.pdf")
def print_out(reed: UUID, bench: UseBench, what: str = "blades", paper: str = "a4") -> Response:
    """Return a print at true scale."""
    if what not in PRINTS:
        msg = f"{what[:40]!r} cannot be printed; choose one of: {', '.join(PRINTS)}"
        raise InputError(msg)
    made = print_of(bench.desk, what, [reed], words=bench.words, paper=paper_of(paper))
    return _pdf(made.pdf, f"{what}-{bench.desk.records.reed(reed).name}")
