"""Recording at the bench: the page, and the chunks its script sends."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.listening import Listening
from crowlight.bench.ports import Appended, SoundOf
from crowlight.bench.recorder import LONGEST, Recorder
from crowlight.bench.recordings import recordings_of, summaries
from crowlight.bench.takes import Setting, Take
from crowlight.errors import CrowlightError, InputError, NotFound
from crowlight.report import sounds as said
from crowlight.report.words import mark
from crowlight.web.looking import as_kept
from crowlight.web.routes.sound_files import kept_recording
from crowlight.web.routes.sounds import in_short
from crowlight.web.security import COOKIE
from crowlight.web.sending import Bench, Sent, UseBench, read_form, status_of, trouble_of
from crowlight.web.typing_in import Trouble

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_TOKEN = "crowlight-token"  # noqa: S105  (the name of a header)


# --- the page -----------------------------------------------------------------------------------


@router.get("/reeds/{reed}/record")
def record(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show the recorder, and takes that wait to be finished."""
    return _page(request, bench, as_kept(bench.desk, reed))


def _page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    made = [k for k in recordings_of(sheet.entries) if "context_rate" in k.payload.settings]
    reference = made[-1].payload.settings.get("reference_hz") if made else None
    return bench.pages.render(
        request,
        "record.html",
        status=status,
        sheet=sheet,
        said=said,
        troubles=troubles,
        typed={
            "device": [made[-1].payload.device] if made else [""],
            "sound_of": [made[-1].payload.sound_of if made else "crow"],
            "reference": [f"{reference:g}" if isinstance(reference, int | float) else ""],
        },
        waiting=Recorder(desk=bench.desk).unfinished(sheet.reed.uuid),
        longest=LONGEST,
    )


@router.post("/reeds/{reed}/takes/{take}/keep")
async def keep(request: Request, reed: UUID, take: UUID, bench: UseBench) -> Response:
    """Keep what is here of a take that was not finished."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_keep, request, bench, reed, take, sent)


def _keep(request: Request, bench: Bench, reed: UUID, take: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            done = Recorder(desk=bench.desk).finish(reed, take)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse(f"{_address(reed, done)}?done=written&form=sounds", 303)
    return _page(request, bench, sheet, troubles=troubles, status=status)


@router.post("/reeds/{reed}/takes/{take}/drop")
async def drop(request: Request, reed: UUID, take: UUID, bench: UseBench) -> Response:
    """Forget a take that was not finished."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_drop, request, bench, reed, take, sent)


def _drop(request: Request, bench: Bench, reed: UUID, take: UUID, sent: Sent) -> Response:
    if sent.troubles:
        sheet = as_kept(bench.desk, reed)
        return _page(request, bench, sheet, troubles=sent.troubles, status=403)
    Recorder(desk=bench.desk).drop(reed, take)
    return RedirectResponse(f"/reeds/{reed}/record", 303)


def _address(reed: UUID, done: Appended) -> str:
    return f"/reeds/{reed}/sounds/{done.entries[0].uuid}"


# --- what the script sends ------------------------------------------------------------------------


Body = TypeVar("Body", bound=BaseModel)


class _Begun(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    sound_of: SoundOf
    rate: int
    channels: int
    begun_at: str
    device: str = ""
    settings: dict[str, Setting] = {}


class _Ended(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    chunks: int
    frames: int
    settings: dict[str, Setting] = {}


@router.get("/reeds/{reed}/takes/{take}")
def state(reed: UUID, take: UUID, bench: UseBench) -> Response:
    """Tell which chunks of a take are here, or where its recording is."""
    return _answered(lambda: _state(bench, reed, take))


def _state(bench: Bench, reed: UUID, take: UUID) -> dict[str, Any]:
    recorder = Recorder(desk=bench.desk)
    try:
        held = recorder.held(reed, take)
    except NotFound:
        kept = recorder.kept(reed, take)
        if kept is None:
            raise
        return {"kept": _address(reed, kept)}
    return {"chunks": list(held.chunks), "frames": held.frames}


@router.post("/reeds/{reed}/takes/{take}")
async def begin(request: Request, reed: UUID, take: UUID, bench: UseBench) -> Response:
    """Begin a take; once more is harmless."""

    def act(body: bytes) -> dict[str, Any]:
        begun = _read(_Begun, body)
        try:
            at = datetime.fromisoformat(begun.begun_at)
        except ValueError:
            msg = f"begun_at = {begun.begun_at[:40]!r} is no time as ISO 8601 writes it"
            raise InputError(msg) from None
        recorder = Recorder(desk=bench.desk)
        kept = recorder.kept(reed, take)
        if kept is None:
            recorder.begin(
                Take(
                    uuid=take,
                    reed=reed,
                    sound_of=begun.sound_of,
                    rate=begun.rate,
                    channels=begun.channels,
                    begun_at=at,
                    device=begun.device,
                    settings=begun.settings,
                )
            )
        return _state(bench, reed, take)

    return await _acted(request, bench, act)


@router.put("/reeds/{reed}/takes/{take}/{number}")
async def put(request: Request, reed: UUID, take: UUID, number: int, bench: UseBench) -> Response:
    """Keep one chunk; once more is harmless."""

    def act(body: bytes) -> dict[str, Any]:
        recorder = Recorder(desk=bench.desk)
        try:
            recorder.put(reed, take, number, body)
        except NotFound:
            kept = recorder.kept(reed, take)
            if kept is None:
                raise
            return {"kept": _address(reed, kept)}
        return {"held": number}

    return await _acted(request, bench, act)


@router.delete("/reeds/{reed}/takes/{take}")
async def forget(request: Request, reed: UUID, take: UUID, bench: UseBench) -> Response:
    """Forget a take; once more is harmless."""

    def act(_: bytes) -> dict[str, Any]:
        Recorder(desk=bench.desk).drop(reed, take)
        return {}

    return await _acted(request, bench, act)


@router.post("/reeds/{reed}/takes/{take}/finish")
async def finish(request: Request, reed: UUID, take: UUID, bench: UseBench) -> Response:
    """Keep a take as a recording; once more is harmless."""

    def act(body: bytes) -> dict[str, Any]:
        ended = _read(_Ended, body)
        done = Recorder(desk=bench.desk).finish(reed, take, **ended.model_dump())
        return {"kept": _address(reed, done)}

    return await _acted(request, bench, act)


@router.get("/reeds/{reed}/sounds/{entry}/heard.json")
def heard(reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Tell what was measured on a recording in short."""

    def found() -> dict[str, Any]:
        kept = kept_recording(bench, reed, entry)
        measured = Listening(desk=bench.desk).hear(kept, reed)
        medians = summaries([measured.heard]) if measured.heard.get("blows") else {}
        return {
            "says": in_short(measured, bench.words),
            "usable": measured.usable,
            "blows": measured.blows,
            "medians": {name: s.median for name, s in medians.items()},
        }

    return _answered(found)


def _read(kind: type[Body], body: bytes) -> Body:
    try:
        return kind.model_validate_json(body)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(map(str, first["loc"])) or "the whole"
        msg = f"what was sent cannot be read, at {where[:80]}: {first['msg']}"
        raise InputError(msg) from None


async def _acted(
    request: Request, bench: Bench, act: Callable[[bytes], dict[str, Any]]
) -> Response:
    """Do what a script asks for, if it carries the token of these pages."""
    tokens = bench.pages.tokens
    if not tokens.holds(request, request.headers.get(_TOKEN, "")):
        cookie = tokens.cookie_of(request)
        text = bench.words(mark("Crowlight was started anew since this page was opened."))
        # readable by these pages only; they send again with it
        answer = JSONResponse({"detail": text, "token": tokens.token(cookie)}, 403)
        if request.cookies.get(COOKIE) != cookie:
            answer.set_cookie(COOKIE, cookie, httponly=True, samesite="strict", path="/")
        return answer
    body = await request.body()
    return await run_in_threadpool(_answered, lambda: act(body))


def _answered(act: Callable[[], dict[str, Any]]) -> Response:
    try:
        return JSONResponse(act())
    except CrowlightError as error:
        return JSONResponse({"detail": str(error)}, status_of(error))
