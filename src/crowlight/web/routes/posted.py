"""Reeds that were sent in: the queue, taking one in, what is due as a calendar."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import groupby
from uuid import UUID, uuid5

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.ports import PersonPlace, Player
from crowlight.bench.workshop_kinds import Intake
from crowlight.errors import CrowlightError
from crowlight.report.paper import paper_of
from crowlight.report.posted import WORK, asked_said, paid_said, reason_said
from crowlight.report.posted_words import STAGES
from crowlight.report.prints import print_of
from crowlight.report.reminders import MEDIA_TYPE, calendar, reminder_said
from crowlight.report.words import mark
from crowlight.web.field import Field
from crowlight.web.fields import FORMS
from crowlight.web.sending import Bench, Sent, UseBench, read_form, status_of, trouble_of
from crowlight.web.typing_in import Trouble, payload_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_KNIFE = {"yes": True, "no": False, "": None}


@router.get("/posted")
def queue(request: Request, bench: UseBench, gone: bool = False) -> Response:
    """List posted reeds, those due first."""
    found = bench.desk.posted.queue(gone=gone)
    return bench.pages.render(
        request,
        "posted.html",
        queue=found,
        gone=gone,
        work=WORK,
        stages=STAGES,
        reason_said=reason_said,
        asked_said=asked_said,
        paid_said=paid_said,
        reminder_said=reminder_said,
        due=any(q.posting.reminders for q in found),
    )


@router.get("/posted.ics")
def due(bench: UseBench) -> Response:
    """Return what is due as a file for calendars."""
    found = bench.desk.posted.queue()
    data = calendar(found, now=bench.desk.clock.now(), words=bench.words)
    headers = {"Content-Disposition": 'attachment; filename="reeds.ics"'}
    return Response(data, media_type=MEDIA_TYPE, headers=headers)


@router.get("/posted/labels.pdf")
def labels(bench: UseBench, paper: str = "a4") -> Response:
    """Return tube labels of all posted reeds that are here."""
    here = [q.reed.uuid for q in bench.desk.posted.queue() if q.posting.here]
    made = print_of(bench.desk, "labels", here, words=bench.words, paper=paper_of(paper))
    headers = {"Content-Disposition": 'inline; filename="labels.pdf"'}
    return Response(made.pdf, media_type="application/pdf", headers=headers)


# --- taking one in --------------------------------------------------------------------------------


def _players(bench: Bench) -> dict[str, Player]:
    return {str(p.uuid): p for p in bench.desk.people.all() if isinstance(p, Player)}


def _places(bench: Bench) -> dict[str, PersonPlace]:
    return {str(p.uuid): p for p in bench.desk.people.places()}


def _sections(bench: Bench) -> list[tuple[str, list[Field]]]:
    """Return the fields of the intake by section, with the places there are."""
    more = tuple((key, place.name) for key, place in _places(bench).items())
    fields = [
        replace(f, choices=(*f.choices, *more)) if f.more else f for f in FORMS["intake"].fields
    ]
    return [(section, list(of)) for section, of in groupby(fields, key=lambda f: f.section)]


def _page(
    request: Request,
    bench: Bench,
    typed: Mapping[str, list[str]],
    *,
    troubles: list[Trouble] | None = None,
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    players = [(key, p.name) for key, p in _players(bench).items()]
    return bench.pages.render(
        request,
        "posted-new.html",
        status=status,
        form=FORMS["intake"],
        sections=_sections(bench),
        players=players,
        typed=typed,
        troubles=troubles or [],
        uuid=uuid,
    )


@router.get("/posted/new")
def new(request: Request, bench: UseBench) -> Response:
    """Show the form for a reed that came in."""
    return _page(request, bench, {})


@router.post("/posted/new")
async def take_in(request: Request, bench: UseBench) -> Response:
    """Take a reed in."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_take_in, request, bench, sent)


def _take_in(request: Request, bench: Bench, sent: Sent) -> Response:
    payload, found = payload_of("intake", sent.typed, words=bench.words, more=list(_places(bench)))
    troubles, status = [*sent.troubles, *_more_troubles(bench, sent), *found], 422
    if sent.troubles:
        status = 403
    if isinstance(payload, Intake) and not troubles:
        try:
            where = _write(bench, sent, payload)
        except CrowlightError as error:
            trouble = trouble_of(error, bench.words)
            status = status_of(error)
            troubles = [Trouble("name", str(error)) if status == 409 else trouble]
        else:
            return RedirectResponse(f"/reeds/{where}/arrival?done=taken-in", 303)
    return _page(request, bench, sent.typed, troubles=troubles, status=status, uuid=sent.uuid)


def _more_troubles(bench: Bench, sent: Sent) -> list[Trouble]:
    words = bench.words
    troubles: list[Trouble] = []
    if not sent.one("name"):
        text = words.say(mark("%(field)s is empty; fill it in"), field=words(mark("Name")))
        troubles.append(Trouble("name", text))
    chosen, named = sent.one("player"), sent.one("player_name")
    if chosen and chosen not in _players(bench):
        text = mark("“%(value)s” is not one of the choices; choose again")
        troubles.append(Trouble("player", words.say(text, value=chosen[:40])))
    if chosen and named:
        text = mark("Choose a player who is known, or name a new one: not both.")
        troubles.append(Trouble("player_name", words(text)))
    if sent.one("place_name") and not (chosen or named):
        text = mark("A new place is somebody's: choose or name the player.")
        troubles.append(Trouble("place_name", words(text)))
    if sent.one("place_name") and sent.one("place"):
        text = mark("Choose a place that is known, or name a new one: not both.")
        troubles.append(Trouble("place_name", words(text)))
    return troubles


def _write(bench: Bench, sent: Sent, intake: Intake) -> UUID:
    """Write player, place, reed and intake down; sending the form again changes nothing."""
    desk, player = bench.desk, None
    if sent.one("player"):
        player = UUID(sent.one("player"))
    elif sent.one("player_name"):
        player = uuid5(sent.uuid, "player")
        desk.people.add_player(
            sent.one("player_name"),
            contact=sent.one("player_contact"),
            uses_knife=_KNIFE.get(sent.one("uses_knife")),
            uuid=player,
        )
    if sent.one("place_name") and player is not None:
        place = desk.people.add_place(
            player,
            sent.one("place_name"),
            altitude=intake.altitude,
            temperature=intake.hall_temperature,
            humidity=intake.hall_humidity,
            uuid=uuid5(sent.uuid, "place"),
        )
        intake = intake.model_copy(update={"place": place.uuid})
    reed = desk.posted.take_in(
        sent.one("name"),
        intake,
        player=player,
        uuid=uuid5(sent.uuid, "reed"),
        entry=sent.uuid,
    )
    return reed.uuid
