"""The page of the next cut: the screen, its waiting, the guess before it, and what went wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any
from uuid import UUID

from fastapi import Request
from starlette.responses import Response

from crowlight.bench.advice_kinds import AfterCheck, Guess
from crowlight.bench.desk import Desk, Sheet
from crowlight.bench.guesses import Scored, scored_guesses
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry, Person
from crowlight.errors import CrowlightError
from crowlight.report.finding import zone_name
from crowlight.report.held import HANDS, TIPS, Held
from crowlight.report.next_cut import pick_picture
from crowlight.report.next_history import RESULTS, deed_said, guess_said
from crowlight.report.words import Words, mark
from crowlight.web.display import who_is
from crowlight.web.drawn import drawn_of
from crowlight.web.field import PARTS, ZONES
from crowlight.web.held import guesses_first, held, remember_held
from crowlight.web.log import lines
from crowlight.web.looking import as_kept
from crowlight.web.next_shown import NextShown, next_shown
from crowlight.web.routes.blades import waiting
from crowlight.web.running import Running, UnderWay
from crowlight.web.sending import Bench, status_of
from crowlight.web.typing_in import Trouble, Typed

__all__ = ["guess_page", "next_screen", "pick_choices", "who_sits"]

#: Kinds of entry that hunches and advice are scored by.
_SCORED = ("guess", "advised", "cut", "clip", "rest", "treated", "after-check", "withdrawn")

#: A plan after one more entry takes about a second: shorter than a page of waiting is read [s].
_PATIENCE = 1.0


def next_screen(
    request: Request,
    bench: Bench,
    reed: UUID,
    *,
    typed: Typed | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    """Return the screen of a reed, or how far its advice is.

    Parameters
    ----------
    request : Request
        What is answered.
    bench : Bench
        Desk, pages, language.
    reed : UUID
        The reed.
    typed : Typed, optional
        What was typed beside the buttons, where something is wrong with it.
    troubles : sequence of Trouble
        What is wrong.
    status : int
        HTTP status.
    """
    sheet = as_kept(bench.desk, reed)
    if guesses_first(request) and not troubles and not _guessed(sheet):
        return guess_page(request, bench, sheet)
    running: Running = request.app.state.running
    title = bench.words(mark("What is wrong, and what to do next"))
    try:
        state = running.ask(
            ("next", reed, sheet.reed.seq),
            bench.desk,
            lambda d: d.advice.plan(reed),
            patience=_PATIENCE,
        )
    except CrowlightError as error:
        code = status_of(error)
        told = [*troubles, Trouble("", str(error))]
        return _page(request, bench, sheet, troubles=told, status=422 if code == 500 else code)
    if isinstance(state, UnderWay):
        return waiting(request, bench, sheet, state, title=title, back=f"/reeds/{reed}")
    shown = next_shown(
        state.value,
        state=sheet.state,
        held=held(request),
        words=bench.words,
        now=bench.desk.clock.now(),
        typed=typed or {},
        scored=_scored(bench.desk) if guesses_first(request) else None,
        owed=bench.desk.posted.owed(reed),
    )
    return _page(request, bench, sheet, shown=shown, troubles=troubles, status=status)


def guess_page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    *,
    typed: Typed | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    """Return the page that asks for a hunch before the advice."""
    guessing = {**pick_choices(request, bench, sheet), "typed": typed or {}}
    return _page(request, bench, sheet, guessing=guessing, troubles=troubles, status=status)


def pick_choices(request: Request, bench: Bench, sheet: Sheet) -> dict[str, Any]:
    """Return a drawing to tap, and the choices of the fields that say the same."""
    words, how = bench.words, held(request)
    drawn = drawn_of(bench.desk, sheet)
    return {
        "picture": pick_picture(drawn, held=how, words=words, name="pick") if drawn else "",
        "zones": [(z, zone_name(z, words)) for z, _ in ZONES if z != "corners"],
        "parts": [(p, how.part(p, words)) for p, _ in PARTS],
    }


def _scored(desk: Desk) -> Scored:
    """Score hunches and advice over all reeds."""
    logs: dict[UUID, list[Entry]] = {}
    for e in desk.records.entries_of_kinds(_SCORED):
        logs.setdefault(e.reed, []).append(e)
    return scored_guesses(logs.values())


def who_sits(request: Request, bench: Bench) -> Person | None:
    """Return the person this device says is at the bench, if they are still kept."""
    who = who_is(request)
    with suppress(CrowlightError):
        return None if who is None else bench.desk.people.find(who)
    return None


def _guessed(sheet: Sheet) -> bool:
    """Whether somebody guessed since the last thing was done."""
    for e in reversed(sheet.state.entries):
        if isinstance(e.payload, Guess):
            return True
        if isinstance(e.payload, Followed):
            return False
    return False


def _page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    *,
    shown: NextShown | None = None,
    guessing: Mapping[str, Any] | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    log = lines(sheet, bench.words)
    page = bench.pages.render(
        request,
        "next.html",
        status=status,
        sheet=sheet,
        n=shown,
        guessing=guessing,
        held=held(request),
        tips=TIPS,
        hands=HANDS,
        guesses=guesses_first(request),
        undo=_undoable(sheet, held(request), bench.words),
        troubles=troubles,
        news=log[:5] if status == 409 else [],
    )
    remember_held(request, page)
    return page


def _undoable(sheet: Sheet, how: Held, words: Words) -> Mapping[str, Any] | None:
    """Return the latest entry in words, if it is one that this page writes and still counts."""
    last = sheet.entries[-1] if sheet.entries else None
    match last:
        case Entry(payload=Followed() as payload):
            says = deed_said(payload, how, words)
        case Entry(payload=AfterCheck() as payload):
            says = words(RESULTS[payload.result])
        case Entry(payload=Guess() as payload):
            says = guess_said(payload, how, words)
        case _:
            return None
    return {"uuid": last.uuid, "title": words.kind(last.payload.kind), "says": says}
