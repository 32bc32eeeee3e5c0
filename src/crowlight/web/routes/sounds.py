"""The sounds of a reed: sending, measuring, labelling and comparing recordings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, get_args
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.kinds import Control, Label, Recording, clean_text
from crowlight.bench.listening import Compared, HeardRecording, Listening
from crowlight.bench.ports import Entry, SoundOf
from crowlight.bench.recordings import (
    SITTING,
    KeptRecording,
    class_probability,
    recordings_of,
    since_change,
)
from crowlight.errors import CrowlightError, InputError, MissingExtra
from crowlight.listen import CLASSES
from crowlight.report import sounds as said
from crowlight.report.sound_charts import LONGEST, spectrogram_told
from crowlight.report.words import Words, mark
from crowlight.web.looking import as_kept
from crowlight.web.numbers import typed_number
from crowlight.web.routes.sound_files import kept_recording
from crowlight.web.security import policy
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble, Typed

__all__ = ["in_short", "router"]

router = APIRouter(include_in_schema=False)

_OF: tuple[SoundOf, ...] = get_args(SoundOf)
_PER_PAGE = 8
#: Players need this, and nothing else does.
_POLICY = policy(media_src="'self'")


def _with_player(answer: Response) -> Response:
    answer.headers["Content-Security-Policy"] = _POLICY
    return answer


# --- the list ---------------------------------------------------------------------------------


@router.get("/reeds/{reed}/sounds")
def sounds(request: Request, reed: UUID, bench: UseBench, page: str = "1") -> Response:
    """Show the recordings of a reed, the latest first, and the form for one more."""
    number = int(page) if page.isascii() and page.isdecimal() and len(page) < 5 else 1
    return _list(request, bench, as_kept(bench.desk, reed), {}, page=max(number, 1))


def _list(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    typed: Typed,
    *,
    page: int = 1,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    kept = recordings_of(sheet.entries)[::-1]
    pages = max(1, -(-len(kept) // _PER_PAGE))
    page = min(page, pages)
    listening = Listening(desk=bench.desk)
    shown = kept[(page - 1) * _PER_PAGE : page * _PER_PAGE]
    heard = [listening.hear(k, sheet.reed.uuid) for k in shown]
    model = listening.learned(listening.workshop(sheet.reed)).model if shown else None
    crows = [k for k in kept if k.payload.sound_of != "notes"]
    lines = [
        {
            "kept": h.kept,
            "title": _title(h.kept, bench.words),
            "says": in_short(h, bench.words),
            "class": class_probability(h.heard, model)
            if model is not None and h.kept.payload.sound_of == "crow" and h.usable
            else None,
        }
        for h in heard
    ]
    return _with_player(
        bench.pages.render(
            request,
            "sounds.html",
            status=status,
            sheet=sheet,
            typed=typed,
            troubles=troubles,
            uuid=uuid,
            lines=lines,
            said=said,
            total=len(kept),
            page=page,
            pages=pages,
            choices=[(str(k.entry.uuid), _title(k, bench.words)) for k in crows],
            since=[of for of in _OF if of != "notes" and since_change(sheet.entries, of)],
            control=_control_now(sheet, bench),
        )
    )


def _title(kept: KeptRecording, words: Words) -> str:
    return f"{said.kind_said(kept.payload.sound_of, words)}, {words.moment(kept.entry.happened_at)}"


def in_short(heard: HeardRecording, words: Words) -> str:
    """Return the main thing about a recording in one line."""
    if heard.refused:
        return words.say(mark("Could not be measured: %(why)s"), why=heard.refused)
    if not heard.usable:
        reasons = said.reasons_said(heard.heard["reasons"], words)
        return words.say(mark("Not usable: %(why)s."), why="; ".join(text for text, _ in reasons))
    if heard.kept.payload.sound_of == "notes":
        return words.count("%(num)s note.", "%(num)s notes.", len(heard.heard["notes"]))
    return said.pitch_said(heard.heard, words)


def _control_now(sheet: Sheet, bench: Bench) -> Entry | None:
    """Return the entry that makes this reed a control reed now."""
    now = bench.desk.clock.now()
    for e in reversed(sheet.state.entries):
        if isinstance(e.payload, Control) and abs(now - e.happened_at) <= SITTING:
            return e
    return None


# --- sending ----------------------------------------------------------------------------------


@router.post("/reeds/{reed}/sounds")
async def send(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Keep a recording."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_keep, request, bench, reed, sent)


def _keep(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    troubles, status = list(sent.troubles), 403
    if not troubles:
        before = next((e for e in sheet.entries if e.uuid == sent.uuid), None)
        if before is not None and isinstance(before.payload, Recording):
            return _done(reed, before.uuid)  # the answer to the first sending was lost
        asked, troubles, status = _asked(bench, sent), [], 422
        if isinstance(asked, Trouble):
            troubles = [asked]
        else:
            try:
                done = bench.desk.keep_recording(reed, uuid=sent.uuid, **asked)
            except (InputError, MissingExtra) as error:
                troubles = [Trouble("sound", str(error))]
            except CrowlightError as error:
                troubles, status = [trouble_of(error, bench.words)], status_of(error)
            else:
                return _done(reed, done.entries[0].uuid)
    return _list(
        request, bench, sheet, sent.typed, troubles=troubles, status=status, uuid=sent.uuid
    )


def _done(reed: UUID, entry: UUID) -> Response:
    return RedirectResponse(f"/reeds/{reed}/sounds/{entry}?done=written&form=sounds", 303)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _asked(bench: Bench, sent: Sent) -> dict[str, Any] | Trouble:
    """Return what is to be kept, or what is wrong with the form."""
    words = bench.words
    name, data = sent.files.get("sound", ("", b""))
    if not name:
        return Trouble("sound", words(mark("Choose a sound file.")))
    of = sent.one("sound_of")
    if of not in _OF:
        return Trouble("sound_of", words(mark("Say what it is of: a crow, a peep or notes.")))
    try:
        device = clean_text(sent.one("device"), lines=False)
    except InputError as error:
        return Trouble("device", str(error))
    if len(device) > 200:
        return Trouble("device", words(mark("Use at most 200 characters.")))
    settings: dict[str, str | int | float | bool | None] = {"file": shown_name(name)}
    if "one_reed" in sent.typed:
        settings["one_reed"] = True
    if typed := sent.one("reference"):
        try:
            reference = typed_number(typed, unit="Hz", words=words)
        except InputError:
            reference = 0.0
        if not 400.0 <= reference <= 480.0:
            text = words(mark("The A must be a number from 400 to 480 Hz, or left empty."))
            return Trouble("reference", text)
        settings["reference_hz"] = reference
    return {
        "data": data,
        "name": settings["file"],
        "sound_of": of,
        "device": device,
        "settings": settings,
    }


def shown_name(name: str) -> str:
    """Return the last part of a file's name without what hides in names, at most 120 characters."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[-120:] or "sound"


# --- one recording ----------------------------------------------------------------------------


@router.get("/reeds/{reed}/sounds/compare")
def compare(
    request: Request,
    reed: UUID,
    bench: UseBench,
    before: str = "",
    after: str = "",
    since: str = "",
) -> Response:
    """Compare recordings before and after."""
    sheet = as_kept(bench.desk, reed)
    listening = Listening(desk=bench.desk)
    kept = {str(k.entry.uuid): k for k in recordings_of(sheet.entries)}
    status, trouble, found = 200, "", None
    sides = ([kept[u] for u in (before,) if u in kept], [kept[u] for u in (after,) if u in kept])
    if since in _OF and (groups := since_change(sheet.entries, since)):
        sides = (list(groups[0]), list(groups[1]))
    if sides[0] and sides[1] and sides[0][0].entry.happened_at > sides[1][0].entry.happened_at:
        sides = sides[::-1]
    try:
        workshop = listening.workshop(sheet.reed)
        found = listening.compare(sheet.reed, *sides, workshop=workshop)
    except InputError as error:
        status, trouble = 422, _sentence(str(error))
    return _with_player(
        bench.pages.render(
            request,
            "sounds-compared.html",
            status=status,
            sheet=sheet,
            trouble=trouble,
            rows=said.change_rows(found, bench.words) if found else [],
            found=found,
            sides=_sides(found, bench.words) if found else [],
        )
    )


def _sides(found: Compared, words: Words) -> list[dict[str, Any]]:
    return [
        {
            "name": words(name),
            "recordings": [
                {"uuid": h.kept.entry.uuid, "title": _title(h.kept, words), "blows": h.blows}
                for h in group
            ],
        }
        for name, group in ((mark("Before"), found.before), (mark("After"), found.after))
    ]


@router.get("/reeds/{reed}/sounds/{entry}")
def recording(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Show one recording: player, measures, picture, label."""
    kept_recording(bench, reed, entry)
    return _recording(request, bench, as_kept(bench.desk, reed), entry, {})


def _recording(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    entry: UUID,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    words = bench.words
    kept = kept_recording(bench, sheet.reed.uuid, entry)
    listening = Listening(desk=bench.desk)
    found = listening.hear(kept, sheet.reed.uuid)
    crow = kept.payload.sound_of == "crow" and found.usable
    learned = listening.learned(listening.workshop(sheet.reed)) if crow else None
    label = [kept.label.says] if kept.label else []
    return _with_player(
        bench.pages.render(
            request,
            "sound.html",
            status=status,
            sheet=sheet,
            kept=kept,
            title=_title(kept, words),
            found=found,
            heard=found.heard,
            said=said,
            reasons=said.reasons_said(found.heard.get("reasons", ()), words),
            probability=class_probability(found.heard, learned.model) if learned else None,
            learned=learned,
            classes=[(c, said.class_name(c, words)) for c in CLASSES],
            typed=typed or {"says": label},
            told=spectrogram_told(found.heard, words) if found.heard else "",
            longest=LONGEST,
            troubles=troubles,
            uuid=uuid,
        )
    )


@router.post("/reeds/{reed}/sounds/{entry}/label")
async def label(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Keep what the maker's ear says of a crow."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_label, request, bench, reed, entry, sent)


def _label(request: Request, bench: Bench, reed: UUID, entry: UUID, sent: Sent) -> Response:
    kept = kept_recording(bench, reed, entry)
    troubles, status, uuid = list(sent.troubles), 403, sent.uuid
    if not troubles and sent.one("says") not in CLASSES:
        text = mark("Choose one of clean, mixed and rattling.")
        troubles, status = [Trouble("says", bench.words(text))], 422
    if not troubles:
        payload = Label.model_validate({"recording": entry, "says": sent.one("says")})
        replaces = kept.label_entry if kept.label_entry != sent.uuid else None
        try:
            write_once(bench.desk, reed, payload, sent, replaces=replaces)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            uuid = None if status == 409 else uuid
        else:
            return RedirectResponse(f"/reeds/{reed}/sounds/{entry}?done=written&form=label", 303)
    sheet = as_kept(bench.desk, reed)
    return _recording(
        request, bench, sheet, entry, sent.typed, troubles=troubles, status=status, uuid=uuid
    )


@router.post("/reeds/{reed}/sounds/control")
async def control(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Name this reed the control reed of the sitting."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_control, request, bench, reed, sent)


def _control(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            write_once(bench.desk, reed, Control(), sent)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse(f"/reeds/{reed}/sounds?done=written&form=control", 303)
    return _list(request, bench, sheet, {}, troubles=troubles, status=status)
