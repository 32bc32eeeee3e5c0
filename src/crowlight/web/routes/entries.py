"""Writing down, correcting and withdrawing entries of every kind but readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.kinds import Clip, Cut, ForceTest, Lengths, Opening, Withdrawn
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.workshop_kinds import Consent
from crowlight.errors import CrowlightError, NotFound
from crowlight.report.posted_words import CONSENT_TO
from crowlight.report.words import mark
from crowlight.web.consent import consent_of
from crowlight.web.field import Form
from crowlight.web.fields import FORMS
from crowlight.web.log import lines
from crowlight.web.looking import as_kept
from crowlight.web.onward import back_to
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble, Typed, payload_of, typed_of

__all__ = ["entry_of", "router"]

router = APIRouter(include_in_schema=False)


def entry_of(sheet: Sheet, entry: UUID, bench: Bench) -> Entry:
    """Return an entry of a reed.

    Raises
    ------
    NotFound
        If the reed has no such entry.
    """
    for e in sheet.entries:
        if e.uuid == entry:
            return e
    raise NotFound(bench.words(mark("This reed has no such entry; look at its log.")))


def _known(kind: str, bench: Bench) -> None:
    if kind not in FORMS:
        raise NotFound(bench.words(mark("There is no form of that name; go back to the reed.")))


def _page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    kind: str,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
    corrects: Entry | None = None,
) -> Response:
    return bench.pages.render(
        request,
        "entry.html",
        status=status,
        sheet=sheet,
        kind=kind,
        form=_offering(kind, sheet, bench),
        typed=typed,
        troubles=troubles,
        uuid=uuid,
        corrects=corrects,
        news=lines(sheet, bench.words)[:5] if status == 409 else [],
        asks=corrects is None and _asks(bench, sheet.reed.uuid, kind),
        back=back_to(request, sheet.reed.uuid),
    )


def _asks(bench: Bench, reed: UUID, kind: str) -> bool:
    """Tell whether the form asks what the player of a posted reed said about cutting."""
    return kind in {Cut.kind, Clip.kind} and not bench.desk.posted.may_cut(reed)


def _offering(kind: str, sheet: Sheet, bench: Bench) -> Form:
    """Return a form with what it offers beside its own choices."""
    more = _more(kind, sheet, bench)
    fields = tuple(
        replace(f, choices=(*f.choices, *more)) if f.more else f for f in FORMS[kind].fields
    )
    return replace(FORMS[kind], fields=fields)


def _more(kind: str, sheet: Sheet, bench: Bench) -> tuple[tuple[str, str], ...]:
    """Return what the records offer as choices: own styles, loved reeds, places."""
    if kind == "described":
        return tuple((style.name, style.name) for style in bench.desk.styles())
    if kind == "wish":
        return tuple((str(row.uuid), row.name) for row in bench.desk.liked(sheet.reed))
    if kind == "intake":
        return tuple((str(place.uuid), place.name) for place in bench.desk.people.places())
    return ()


def _start(sheet: Sheet, kind: str) -> dict[str, list[str]]:
    """Return what an empty form starts with: what is known and rarely changes."""
    if kind == "after-check":
        done = [e for e in sheet.state.entries if isinstance(e.payload, Followed)]
        return {"follows": [str(done[-1].uuid)]} if done else {}
    if kind == "described":
        return typed_of(kind, sheet.state.described)
    if kind == "lengths":
        usual = typed_of(kind, sheet.state.lengths or Lengths(overall=0.07))
        return {k: v for k, v in usual.items() if k != "overall"}
    if kind == "opening":
        return {"uncertainty": typed_of(kind, Opening(height=0.0))["uncertainty"]}
    if kind == "force-test":
        usual = typed_of(kind, ForceTest(force=1.0))
        # to two figures: nobody means more of what is only usual
        return {k: [f"{float(v[0]):.2g}"] for k, v in usual.items() if k != "force"}
    return {}


@router.get("/reeds/{reed}/write/{kind}")
def form(request: Request, reed: UUID, kind: str, bench: UseBench, to: str = "") -> Response:
    """Show the form for one kind of entry; `to` is what a player is asked for."""
    _known(kind, bench)
    sheet = as_kept(bench.desk, reed)
    asked = kind == Consent.kind and to in CONSENT_TO
    return _page(request, bench, sheet, kind, {"to": [to]} if asked else _start(sheet, kind))


@router.post("/reeds/{reed}/write/{kind}")
async def write(request: Request, reed: UUID, kind: str, bench: UseBench) -> Response:
    """Write an entry down."""
    _known(kind, bench)
    sent = await read_form(request, bench)
    return await run_in_threadpool(_write, request, bench, reed, kind, sent, None)


@router.get("/reeds/{reed}/entries/{entry}/correct")
def correction(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Show the form for correcting an entry, as it was written."""
    sheet = as_kept(bench.desk, reed)
    old = entry_of(sheet, entry, bench)
    kind = old.payload.kind
    if kind == "readings":
        return RedirectResponse(f"/reeds/{reed}/readings?corrects={entry}", 303)
    _known(kind, bench)
    return _page(request, bench, sheet, kind, typed_of(kind, old.payload), corrects=old)


@router.post("/reeds/{reed}/entries/{entry}/correct")
async def correct(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Write a correction down."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_write, request, bench, reed, "", sent, entry)


def _write(
    request: Request, bench: Bench, reed: UUID, kind: str, sent: Sent, entry: UUID | None
) -> Response:
    sheet = as_kept(bench.desk, reed)
    old = entry_of(sheet, entry, bench) if entry is not None else None
    if old is not None:
        kind = old.payload.kind
        _known(kind, bench)
    more = [value for value, _ in _more(kind, sheet, bench)]
    payload, found = payload_of(kind, sent.typed, words=bench.words, more=more)
    troubles, status, uuid = [*sent.troubles, *found], 422, sent.uuid
    if sent.troubles:
        status = 403
    consent = None
    if old is None and _asks(bench, reed, kind):
        consent, missing = consent_of(sent, bench.words)
        troubles += missing
    if payload is not None and not troubles:
        try:
            if consent is not None and isinstance(payload, Cut | Clip):
                bench.desk.posted.write_with_consent(
                    reed, payload, consent, uuid=sent.uuid, expected_seq=sent.seen
                )
            else:
                write_once(bench.desk, reed, payload, sent, replaces=entry)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            if status == 409:
                sheet = as_kept(bench.desk, reed)
                uuid = None  # what is sent next is something new
        else:
            done = "corrected" if entry else "written"
            return RedirectResponse(back_to(request, reed, done, kind), 303)
    return _page(
        request,
        bench,
        sheet,
        kind,
        sent.typed,
        troubles=troubles,
        status=status,
        uuid=uuid,
        corrects=old,
    )


@router.get("/reeds/{reed}/entries/{entry}/withdraw")
def withdrawal(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Ask whether an entry is to be withdrawn."""
    sheet = as_kept(bench.desk, reed)
    return _withdrawal_page(request, bench, sheet, entry_of(sheet, entry, bench), {})


@router.post("/reeds/{reed}/entries/{entry}/withdraw")
async def withdraw(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Withdraw an entry."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_withdraw, request, bench, reed, entry, sent)


def _withdraw(request: Request, bench: Bench, reed: UUID, entry: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    old = entry_of(sheet, entry, bench)
    troubles, status, uuid = list(sent.troubles), 403, sent.uuid
    if not troubles:
        try:
            reason = Withdrawn.model_validate({"reason": sent.one("reason")})
            write_once(bench.desk, reed, reason, sent, replaces=entry)
        except ValueError as error:
            # pydantic's and our own errors of a value are both ValueErrors
            cause = next(iter(getattr(error, "errors", list)()), {}).get("ctx", {}).get("error")
            troubles, status = [Trouble("reason", str(cause or error))], 422
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            sheet = as_kept(bench.desk, reed)
            uuid = None
        else:
            return RedirectResponse(f"/reeds/{reed}?done=withdrawn&form=withdraw", 303)
    return _withdrawal_page(
        request, bench, sheet, old, sent.typed, troubles=troubles, status=status, uuid=uuid
    )


def _withdrawal_page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    old: Entry,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    line = next(x for x in lines(sheet, bench.words) if x.uuid == old.uuid)
    return bench.pages.render(
        request,
        "withdraw.html",
        status=status,
        sheet=sheet,
        line=line,
        typed=typed,
        troubles=troubles,
        uuid=uuid,
    )
