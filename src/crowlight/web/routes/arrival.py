"""A posted reed as it came: what the player said, photographs and measures before any touch."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.workshop_kinds import Intake
from crowlight.report.photographs import THUMB, smaller
from crowlight.report.posted import WORK, asked_said, hall_said, paid_said, reason_said
from crowlight.report.posted_words import AFTERWARDS, ALLOWED, CONSENT_TO, SHOWS, STAGES
from crowlight.report.reminders import reminder_said
from crowlight.report.words import Words, mark
from crowlight.web.looking import as_kept
from crowlight.web.onward import FROM_ARRIVAL
from crowlight.web.photographs import PICTURE_HEADERS, keep_sent
from crowlight.web.sending import Bench, Sent, UseBench, read_form
from crowlight.web.typing_in import Trouble
from crowlight.web.workshop_fields import HYGIENE

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class _Step:
    """Something to be done before the reed is touched."""

    title: str
    href: str
    done: bool


def _steps(sheet: Sheet, words: Words) -> list[_Step]:
    """Return what is to be measured before any touch, and whether it was."""
    base = f"/reeds/{sheet.reed.uuid}"
    before: list[str] = []
    for e in sheet.state.entries:
        if isinstance(e.payload, Cut | Clip):
            break
        before.append(e.payload.kind)
    steps = (
        (mark("Photographs"), f"{base}/arrival#photos", "photo"),
        (mark("Air of the room"), f"{base}/write/climate{FROM_ARRIVAL}", "climate"),
        (
            mark("Description: thread, style, staple"),
            f"{base}/write/described{FROM_ARRIVAL}",
            "described",
        ),
        (mark("Lengths"), f"{base}/write/lengths{FROM_ARRIVAL}", "lengths"),
        (mark("Opening, wet and at rest"), f"{base}/write/opening{FROM_ARRIVAL}", "opening"),
        (mark("Readings of both blades"), f"{base}/measure", "readings"),
        (mark("Its crow, if it may be played"), f"{base}/sounds", "recording"),
    )
    return [_Step(words(title), href, kind in before) for title, href, kind in steps]


def _page(
    request: Request,
    bench: Bench,
    reed: UUID,
    *,
    troubles: list[Trouble] | None = None,
    status: int = 200,
    sent: Sent | None = None,
) -> Response:
    sheet = as_kept(bench.desk, reed)
    people = {p.uuid: p for p in bench.desk.people.all()}
    return bench.pages.render(
        request,
        "arrival.html",
        status=status,
        sheet=sheet,
        posting=bench.desk.posted.posting(reed),
        player=people.get(sheet.reed.player) if sheet.reed.player else None,
        to=bench.desk.posted.destination(sheet.reed, _intake(bench, reed)),
        photos=bench.desk.posted.photos(reed),
        steps=_steps(sheet, bench.words),
        shows=SHOWS,
        stages=STAGES,
        work=WORK,
        allowed=ALLOWED,
        afterwards=AFTERWARDS,
        consent_to=CONSENT_TO,
        reason_said=reason_said,
        asked_said=asked_said,
        hall_said=hall_said,
        paid_said=paid_said,
        reminder_said=reminder_said,
        hygiene=bench.words(HYGIENE),
        typed=sent.typed if sent else {},
        uuid=sent.uuid if sent and status != 409 else None,
        troubles=troubles or [],
    )


def _intake(bench: Bench, reed: UUID) -> Intake | None:
    posting = bench.desk.posted.posting(reed)
    return posting.intake if posting else None


@router.get("/reeds/{reed}/arrival")
def arrival(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show a posted reed as it came."""
    return _page(request, bench, reed)


@router.post("/reeds/{reed}/photos")
async def send_photo(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Keep a photograph."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_keep, request, bench, reed, sent)


def _keep(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    _, data = sent.files.get("photo", ("", b""))
    shows = sent.one("shows")
    if not troubles:
        status = 422
        if not data:
            text = mark("No photograph was chosen; choose one.")
            troubles.append(Trouble("photo", bench.words(text)))
        if shows not in SHOWS:
            troubles.append(Trouble("shows", bench.words(mark("Say what it shows."))))
    if not troubles:
        status, troubles = keep_sent(bench, reed, shows, sent)
    if not troubles:
        return RedirectResponse(f"/reeds/{reed}/arrival?done=photo#photos", status)
    return _page(request, bench, reed, troubles=troubles, status=status, sent=sent)


@router.get("/reeds/{reed}/photos/{entry}")
def photo(reed: UUID, entry: UUID, bench: UseBench, small: bool = False) -> Response:
    """Return a photograph, perhaps a small one, without what the camera wrote about the place."""
    found = bench.desk.posted.photo(reed, entry)
    if small:
        found = smaller(found, THUMB)
    return Response(found.shown, media_type=found.media_type, headers=PICTURE_HEADERS)
