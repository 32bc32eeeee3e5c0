"""The list of reeds, and adding one."""

from __future__ import annotations

from typing import Any, Literal, get_args
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.ports import ReedQuery
from crowlight.errors import CrowlightError
from crowlight.web.sending import Bench, Sent, UseBench, read_form, status_of, trouble_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

Sort = Literal["last", "name", "batch", "style", "grade", "length"]
_SORTS: tuple[Sort, ...] = get_args(Sort)
_PER_PAGE = 50


@router.get("/")
def listing(request: Request, bench: UseBench) -> Response:
    """List reeds."""
    asked = request.query_params
    chosen = asked.get("sort")
    sort = _SORTS[_SORTS.index(chosen) if chosen in _SORTS else 0]
    # names rise, dates and grades fall, unless asked otherwise
    falls = {"up": False, "down": True}.get(asked.get("order", ""), sort in {"last", "grade"})
    number = asked.get("page", "1")
    page = int(number) if number.isascii() and number.isdecimal() and len(number) < 7 else 1
    query = ReedQuery(
        text=asked.get("q", "")[:200].strip(),
        batch=asked.get("batch", "")[:200],
        sort=sort,
        descending=falls,
        offset=(max(page, 1) - 1) * _PER_PAGE,
        limit=_PER_PAGE,
    )
    found = bench.desk.reeds(query)
    pages = max(1, -(-found.total // _PER_PAGE))

    def address(**changes: Any) -> str:
        values = {
            "q": query.text,
            "batch": query.batch,
            "sort": sort,
            "order": "down" if falls else "up",
            "page": page,
        } | changes
        return "/?" + urlencode({k: v for k, v in values.items() if v not in ("", None)})

    return bench.pages.render(
        request,
        "listing.html",
        query=query,
        found=found,
        batches=bench.desk.records.batches(),
        page=page,
        pages=pages,
        address=address,
        filtered=bool(query.text or query.batch),
    )


@router.get("/reeds/new")
def new_reed(request: Request, bench: UseBench) -> Response:
    """Show the form for a new reed."""
    return bench.pages.render(request, "new.html", typed={}, troubles=[], uuid=None)


@router.post("/reeds/new")
async def add_reed(request: Request, bench: UseBench) -> Response:
    """Add a reed."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_add, request, bench, sent)


def _add(request: Request, bench: Bench, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            reed = bench.desk.add_reed(sent.one("name"), uuid=sent.uuid)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            if status == 409:
                troubles = [type(troubles[0])("name", str(error))]
        else:
            return RedirectResponse(f"/reeds/{reed.uuid}?done=added", 303)
    return bench.pages.render(
        request, "new.html", status=status, typed=sent.typed, troubles=troubles, uuid=sent.uuid
    )
