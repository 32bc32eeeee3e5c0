"""Receiving a form and writing it down, without losing what was typed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Annotated
from uuid import UUID, uuid4

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Payload
from crowlight.errors import CannotWrite, Conflict, CrowlightError, InputError, NotFound
from crowlight.reed import Reading
from crowlight.report.words import Words, mark
from crowlight.web.pages import Pages, words_for
from crowlight.web.typing_in import Trouble

__all__ = ["Bench", "Sent", "UseBench", "read_form", "status_of", "trouble_of", "write_once"]

_MOST_FIELDS = 2_000
#: Clocks of browser and server may differ by this.
_AHEAD = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class Bench:
    """What a route needs: the desk, the pages, the language of this request."""

    desk: Desk
    pages: Pages
    words: Words


def _bench(request: Request) -> Bench:
    state = request.app.state
    return Bench(state.desk, state.pages, words_for(request))


UseBench = Annotated[Bench, Depends(_bench)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A form as it came in.

    Parameters
    ----------
    typed : dict
        Name of each field and what was typed.
    files : dict
        Name of each file field, and the file's name and content.
    uuid : UUID
        Of the entry to be, made with the form: sending twice writes once.
    seen : int or None
        Number of the latest entry when the form was made.
    made_at : datetime or None
        When it was sent first, if it had to wait in the browser.
    troubles : list of Trouble
        What is wrong with the form as a whole, such as a token that no longer holds.
    """

    typed: dict[str, list[str]]
    uuid: UUID
    seen: int | None
    made_at: datetime | None = None
    files: dict[str, tuple[str, bytes]] = field(default_factory=dict[str, tuple[str, bytes]])
    troubles: list[Trouble] = field(default_factory=list[Trouble])

    def one(self, name: str) -> str:
        """Return the first value of a field, without blanks around it."""
        return (self.typed.get(name) or [""])[0].strip()


async def read_form(request: Request, bench: Bench) -> Sent:
    """Read a form and check its token."""
    try:
        form = await request.form(max_files=1, max_fields=_MOST_FIELDS)
    except (MultiPartException, HTTPException) as error:
        why = error.detail if isinstance(error, HTTPException) else error.message
        text = mark("The form could not be read (%(why)s); nothing was changed. Send less at once.")
        raise InputError(bench.words.say(text, why=why.rstrip("."))) from None
    sent = await _sort(form)
    if not bench.pages.tokens.holds(request, sent.one("token")):
        text = mark(
            "Crowlight was started anew since this page was opened, or this browser keeps no "
            "cookies. Nothing was written down; what you typed is still here: send it again."
        )
        sent.troubles.append(Trouble("", bench.words(text)))
    return sent


async def _sort(form: FormData) -> Sent:
    typed: dict[str, list[str]] = {}
    files: dict[str, tuple[str, bytes]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            files[name] = (value.filename or "", await value.read())
        else:
            typed.setdefault(name, []).append(value)
    await form.close()
    seen = (typed.get("seen") or [""])[0]
    try:
        uuid = UUID((typed.get("uuid") or [""])[0])
    except ValueError:
        uuid = uuid4()
    return Sent(
        typed=typed,
        files=files,
        uuid=uuid,
        seen=int(seen) if seen.isascii() and seen.isdecimal() and len(seen) < 10 else None,
        made_at=_moment((typed.get("made_at") or [""])[0]),
    )


def _moment(text: str) -> datetime | None:
    """Return a time as a browser writes it; None if it is none."""
    try:
        found = datetime.fromisoformat(text[:40])
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


def write_once(
    desk: Desk,
    reed: UUID,
    payload: Payload,
    sent: Sent,
    *,
    readings: tuple[Reading, ...] = (),
    replaces: UUID | None = None,
) -> None:
    """Write an entry down; sending the same form again is harmless.

    What waited in the browser happened when it was typed, unless that would lie ahead.

    Raises
    ------
    Conflict
        If somebody wrote in between, or the form was sent before with other content.
    """
    at = sent.made_at
    if at is not None and at > desk.clock.now() + _AHEAD:
        at = None
    try:
        desk.write(
            reed,
            payload,
            readings=readings,
            uuid=sent.uuid,
            expected_seq=sent.seen,
            replaces=replaces,
            at=at,
        )
    except Conflict:
        # the reply to the first sending may have been lost: then this is what was kept
        kept = next((e for e in desk.records.entries(reed) if e.uuid == sent.uuid), None)
        if kept is None:
            raise
        if (kept.payload, kept.readings, kept.replaces) != (payload, readings, replaces):
            msg = (
                "this page was sent before with something else in it, which is kept; nothing was "
                "written now: look at the log before you write it anew"
            )
            raise Conflict(msg) from None


def trouble_of(error: CrowlightError, words: Words) -> Trouble:
    """Return what to say of an error, and what becomes of what was typed."""
    match error:
        case Conflict():
            text = words.say(
                mark(
                    "Something else was written down about this reed since this page was opened, "
                    "perhaps in another window. Nothing of this form is kept yet. Look at the log "
                    "below; if what you typed still holds, send it again. (%(why)s)"
                ),
                why=str(error),
            )
        case CannotWrite():
            text = words.say(
                mark(
                    "It could not be written down: %(why)s. What you typed is still here; send it "
                    "again when that is mended."
                ),
                why=str(error).rstrip("."),
            )
        case _:
            text = str(error)
    return Trouble("", text)


def status_of(error: CrowlightError) -> int:
    """Return the HTTP status of an error."""
    match error:
        case NotFound():
            return 404
        case Conflict():
            return 409
        case CannotWrite():
            return 503
        case InputError():
            return 422
        case _:
            return 500
