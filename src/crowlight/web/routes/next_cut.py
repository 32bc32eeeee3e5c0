"""What is wrong with a reed and what to do next: the one screen, and the guess before it."""

from __future__ import annotations

from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.advice_kinds import Guess
from crowlight.errors import CrowlightError
from crowlight.report.words import mark
from crowlight.web.looking import as_kept
from crowlight.web.next_page import guess_page, next_screen, who_sits
from crowlight.web.routes.blades import waiting
from crowlight.web.running import Running, UnderWay
from crowlight.web.sending import Bench, Sent, UseBench, read_form, status_of, trouble_of
from crowlight.web.typing_in import Trouble, payload_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/reeds/{reed}/next")
def next_page(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show what to do next; ask for a hunch first, where that is wished."""
    return next_screen(request, bench, reed)


@router.post("/reeds/{reed}/next/guess")
async def guess(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write a hunch down; the advice is shown after it."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_guess, request, bench, reed, sent)


def _guess(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    does, troubles, status = sent.one("does"), list(sent.troubles), 403
    typed = sent.typed if does == "scrape" else {"does": [does], "who": [sent.one("who")]}
    if not troubles:
        status = 422
        if does == "scrape" and not (sent.one("zone") and sent.typed.get("blades")):
            text = mark("Where would you scrape? Choose a place and a blade, or leave it.")
            troubles.append(Trouble("zone", bench.words(text)))
        payload, found = payload_of("guess", typed, words=bench.words)
        troubles += found
        if isinstance(payload, Guess) and not troubles:
            if any(e.uuid == sent.uuid for e in sheet.entries):
                return RedirectResponse(f"/reeds/{reed}/next", 303)
            running: Running = request.app.state.running
            who = who_sits(request, bench)
            own = payload.model_copy(update={"who": payload.who or (who.name if who else "")})
            try:
                running.ask(
                    ("guess", sent.uuid),
                    bench.desk,
                    lambda d: d.advice.guess(
                        reed,
                        own,
                        uuid=sent.uuid,
                        expected_seq=sent.seen,
                        by=who.uuid if who else None,
                    ),
                )
            except CrowlightError as error:
                troubles, status = [trouble_of(error, bench.words)], status_of(error)
                sheet = as_kept(bench.desk, reed)
            else:
                return RedirectResponse(f"/reeds/{reed}/next/guess/{sent.uuid}", 303)
    return guess_page(request, bench, sheet, typed=sent.typed, troubles=troubles, status=status)


@router.get("/reeds/{reed}/next/guess/{sent}")
def guessed(request: Request, reed: UUID, sent: UUID, bench: UseBench) -> Response:
    """Wait until the tool has spoken as well, so that both stand in the log."""
    running: Running = request.app.state.running
    state = running.ask(("guess", sent), bench.desk, lambda _: None)
    if isinstance(state, UnderWay):
        sheet = as_kept(bench.desk, reed)
        title = bench.words(mark("Your guess is written down; now the tool"))
        return waiting(request, bench, sheet, state, title=title, back=f"/reeds/{reed}")
    return RedirectResponse(f"/reeds/{reed}/next?done=written", 303)
