"""Writing down what was really done, how it turned out, and taking it back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.advice_kinds import AfterCheck
from crowlight.bench.desk import Sheet
from crowlight.bench.done import Deed
from crowlight.bench.kinds import Clip, Cut, Recording, Withdrawn
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.sittings import gauge_asked
from crowlight.errors import CrowlightError, InputError, NotFound
from crowlight.plan.cut import Act, Part
from crowlight.plan.cut.said import after_checks, sentences
from crowlight.reed import Blade
from crowlight.report.next_history import deed_said
from crowlight.report.words import Words, mark
from crowlight.web.advice_forms import ADVICE_FORMS
from crowlight.web.field import BLOWING
from crowlight.web.held import held
from crowlight.web.log import lines
from crowlight.web.looking import as_kept
from crowlight.web.next_page import next_screen, pick_choices, who_sits
from crowlight.web.numbers import typed_number
from crowlight.web.routes.entries import entry_of
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble, Typed, payload_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Kinds of entry the form "did something else" writes.
_OTHERS = ("cut", "clip", "treated")
#: No clip is this small: it was typed in another unit [mm].
_LEAST_CLIP = 0.01


# --- what was done -------------------------------------------------------------------------------


@router.post("/reeds/{reed}/next/did")
async def did(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write down that an option of the plan was done, perhaps with another amount."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_did, request, bench, reed, sent)


def _did(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    troubles, status, deed = list(sent.troubles), 403, None
    if not troubles:
        deed, troubles = _deed(sent, bench.words)
        status = 422
    if deed is not None:
        try:
            bench.desk.advice.did(
                reed,
                int(sent.one("option")),
                deed=deed,
                digest=sent.one("digest"),
                uuid=sent.uuid,
                expected_seq=sent.seen,
                by=_by(request, bench),
            )
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return _afterwards(reed, sent.uuid, "next")
    return next_screen(request, bench, reed, typed=sent.typed, troubles=troubles, status=status)


def _by(request: Request, bench: Bench) -> UUID | None:
    who = who_sits(request, bench)
    return who.uuid if who is not None else None


def _deed(sent: Sent, words: Words) -> tuple[Deed | None, list[Trouble]]:
    """Return what was done otherwise than offered, as typed beside the button."""
    found: dict[str, Any] = {}
    troubles: list[Trouble] = []
    if not sent.one("option").isdecimal():
        text = mark("This was sent without saying what was done; look at the page again.")
        return None, [Trouble("", words(text))]
    for name, unit, least, most in (("strokes", "", 1.0, 30.0), ("amount", "mm", _LEAST_CLIP, 3.0)):
        if name not in sent.typed:
            continue
        try:
            value = typed_number(sent.one(name), unit=unit, words=words)
        except InputError as error:
            troubles.append(Trouble(name, str(error)))
            continue
        if not least <= value <= most or (name == "strokes" and value != int(value)):
            text = mark("%(typed)s is outside %(least)s to %(most)s %(unit)s; what should it be?")
            said = words.say(
                text,
                typed=sent.one(name),
                least=words.number(least, 0 if least == 1.0 else 2),
                most=words.number(most, 0),
                unit=unit,
            )
            troubles.append(Trouble(name, said.replace(" ;", ";")))
            continue
        if name == "strokes":
            found["strokes"] = int(value)
        else:
            found["clip"] = round(value * 1e-3, 9)
    return (None if troubles else Deed(**found)), troubles


@router.post("/reeds/{reed}/next/rest")
async def rest(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write down that the reed was laid aside."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_rest, request, bench, reed, sent)


def _rest(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            bench.desk.advice.rest(
                reed,
                digest=sent.one("digest"),
                uuid=sent.uuid,
                expected_seq=sent.seen,
                by=_by(request, bench),
            )
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse(f"/reeds/{reed}/next?done=written", 303)
    return next_screen(request, bench, reed, troubles=troubles, status=status)


# --- something else ------------------------------------------------------------------------------


@router.get("/reeds/{reed}/next/other")
def other(request: Request, reed: UUID, bench: UseBench, digest: str = "") -> Response:
    """Ask what was done instead; `digest` is that of the advice that was shown."""
    typed = {"digest": [digest[:100]]}
    return _other_page(request, bench, as_kept(bench.desk, reed), "", typed)


@router.post("/reeds/{reed}/next/other")
async def did_other(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write down what was done instead."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_did_other, request, bench, reed, sent)


def _did_other(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    kind = sent.one("did")
    if kind not in _OTHERS:
        text = mark("There is no form of that name; go back to the reed.")
        raise NotFound(bench.words(text))
    typed, troubles = _in_mm(sent.typed, bench.words)
    payload, found = payload_of(kind, typed, words=bench.words)
    troubles, status, uuid = [*sent.troubles, *troubles, *found], 422, sent.uuid
    if sent.troubles:
        status = 403
    if kind == "cut" and not troubles and not (sent.one("strokes") or sent.one("depth")):
        text = mark("How much came off? Give the strokes, or the cane off; a guess will do.")
        troubles.append(Trouble("strokes", bench.words(text)))
    if payload is not None and not troubles:
        try:
            bench.desk.advice.something_else(
                reed,
                payload,
                digest=sent.one("digest"),
                uuid=sent.uuid,
                expected_seq=sent.seen,
                by=_by(request, bench),
            )
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            if status == 409:
                sheet, uuid = as_kept(bench.desk, reed), None
        else:
            return _afterwards(reed, sent.uuid, f"other-{kind}")
    return _other_page(
        request, bench, sheet, kind, sent.typed, troubles=troubles, status=status, uuid=uuid
    )


def _in_mm(typed: Typed, words: Words) -> tuple[dict[str, Sequence[str]], list[Trouble]]:
    """Return what was typed, with the depth in millimetres as the entry has it."""
    out: dict[str, Sequence[str]] = dict(typed)
    text = next(iter(typed.get("depth", ())), "").strip()
    if not text:
        return out, []
    try:
        out["depth"] = [f"{typed_number(text, unit='µm', words=words) * 1e-3:.6g}"]
    except InputError as error:
        del out["depth"]
        return out, [Trouble("depth", str(error))]
    return out, []


def _other_page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    kind: str,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    what = next(f for f in ADVICE_FORMS["treated"].fields if f.name == "what")
    return bench.pages.render(
        request,
        "next-other.html",
        status=status,
        sheet=sheet,
        did=kind,
        typed=typed,
        digest=next(iter(typed.get("digest", ())), ""),
        treatments=[(code, bench.words(said)) for code, said in what.choices],
        troubles=troubles,
        uuid=uuid,
        news=lines(sheet, bench.words)[:5] if status == 409 else [],
        owed=bench.desk.posted.owed(sheet.reed.uuid),
        **pick_choices(request, bench, sheet),
    )


# --- how it turned out ---------------------------------------------------------------------------


def _afterwards(reed: UUID, entry: UUID, form: str) -> Response:
    return RedirectResponse(
        f"/reeds/{reed}/next/after?follows={entry}&done=written&form={form}", 303
    )


@router.get("/reeds/{reed}/next/after")
def after(request: Request, reed: UUID, bench: UseBench, follows: str = "") -> Response:
    """Ask for one slow swell: better, the same or worse."""
    return _after_page(request, bench, as_kept(bench.desk, reed), follows)


@router.post("/reeds/{reed}/next/after")
async def checked(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write down how it turned out."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_checked, request, bench, reed, sent)


def _checked(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    payload, troubles = payload_of("after-check", sent.typed, words=bench.words)
    troubles, status, uuid = [*sent.troubles, *troubles], 422, sent.uuid
    if sent.troubles:
        status = 403
    if isinstance(payload, AfterCheck) and not troubles:
        _refuse_taken_back(as_kept(bench.desk, reed), payload.follows, bench.words)
        try:
            write_once(bench.desk, reed, payload, sent)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            if status == 409:
                uuid = None
        else:
            return RedirectResponse(f"/reeds/{reed}/next?done=written", 303)
    sheet = as_kept(bench.desk, reed)
    follows = sent.one("follows")
    return _after_page(request, bench, sheet, follows, troubles=troubles, status=status, uuid=uuid)


def _after_page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    follows: str,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    entry = None
    with suppress(ValueError, NotFound):
        entry = entry_of(sheet, UUID(follows), bench)
    if entry is None or not isinstance(entry.payload, Followed):
        text = mark("This reed has no such entry; look at its log.")
        raise NotFound(bench.words(text))
    _refuse_taken_back(sheet, entry.uuid, bench.words)
    codes = _checks_after(entry.payload, sheet)
    texts: Mapping[str, str] = sentences()["check"]
    return bench.pages.render(
        request,
        "next-after.html",
        status=status,
        sheet=sheet,
        entry=entry,
        recording=_recorded_since(sheet, entry),
        deed=deed_said(entry.payload, held(request), bench.words),
        checks=[bench.words(texts[c]) for c in codes if c != "swell"],
        points="three-points" in codes,
        caution=bench.words(BLOWING),
        troubles=troubles,
        uuid=uuid,
        news=lines(sheet, bench.words)[:5] if status == 409 else [],
    )


def _refuse_taken_back(sheet: Sheet, deed: UUID | None, words: Words) -> None:
    """Refuse to ask what came of something that was taken back."""
    if any(isinstance(e.payload, Withdrawn) and e.replaces == deed for e in sheet.entries):
        raise NotFound(words(mark("That was taken back; there is nothing to check.")))


def _recorded_since(sheet: Sheet, deed: Entry) -> Entry | None:
    """Return the latest crow recorded after something was done."""
    entries = sheet.state.entries
    for e in reversed(entries[entries.index(deed) + 1 :] if deed in entries else ()):
        if isinstance(e.payload, Recording) and e.payload.sound_of == "crow":
            return e
    return None


def _checks_after(payload: Followed, sheet: Sheet) -> tuple[str, ...]:
    """Return the codes of what to look at after something was done."""
    due = gauge_asked(sheet.state) == "three-cuts"
    match payload:
        case Cut():
            part = Part(payload.part or (payload.sides[0] if len(payload.sides) == 1 else "whole"))
            act = Act("scrape", "", payload.zone, part, payload.blades)
        case Clip():
            act = Act("clip", "clip", "length", Part.WHOLE, tuple(Blade))
        case _:
            act = Act("act", "")
    return after_checks(act, gauge_due=due)


# --- taken back ----------------------------------------------------------------------------------


@router.post("/reeds/{reed}/next/undo")
async def undo(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Take an entry back; it stays in the log, struck out."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_undo, bench, reed, sent)


def _undo(bench: Bench, reed: UUID, sent: Sent) -> Response:
    if sent.troubles:
        raise InputError(sent.troubles[0].text)
    sheet = as_kept(bench.desk, reed)
    try:
        old = entry_of(sheet, UUID(sent.one("entry")), bench)
    except ValueError:
        raise NotFound(bench.words(mark("This reed has no such entry; look at its log."))) from None
    write_once(bench.desk, reed, Withdrawn(), sent, replaces=old.uuid)
    return RedirectResponse(f"/reeds/{reed}/next?done=withdrawn", 303)
