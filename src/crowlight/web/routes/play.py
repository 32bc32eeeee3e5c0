"""The playing test as six taps."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.errors import CrowlightError
from crowlight.web.fields import FORMS
from crowlight.web.log import lines
from crowlight.web.looking import as_kept
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

_KIND = "playing-test"


@router.get("/reeds/{reed}/play")
def play(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Ask the six questions of the playing test."""
    return _page(request, bench, as_kept(bench.desk, reed), {})


@router.post("/reeds/{reed}/play")
async def played(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write the answers down."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_write, request, bench, reed, sent)


def _write(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    sheet = as_kept(bench.desk, reed)
    payload, found = payload_of(_KIND, sent.typed, words=bench.words)
    troubles, status, uuid = [*sent.troubles, *found], 422, sent.uuid
    if sent.troubles:
        status = 403
    if payload is not None and not troubles:
        try:
            write_once(bench.desk, reed, payload, sent)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            if status == 409:
                sheet, uuid = as_kept(bench.desk, reed), None
        else:
            return RedirectResponse(f"/reeds/{reed}/next?done=written&form={_KIND}", 303)
    return _page(request, bench, sheet, sent.typed, troubles=troubles, status=status, uuid=uuid)


def _page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    return bench.pages.render(
        request,
        "play.html",
        status=status,
        sheet=sheet,
        form=FORMS[_KIND],
        typed=typed,
        troubles=troubles,
        uuid=uuid,
        news=lines(sheet, bench.words)[:5] if status == 409 else [],
    )
