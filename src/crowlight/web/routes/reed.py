"""One reed: its page, its report, its judgement as JSON."""

from __future__ import annotations

import re
import unicodedata
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.bench.desk import Sheet
from crowlight.errors import NotFound
from crowlight.reed import Blade, CaneState
from crowlight.report.charts import chart_svg, sections_chart
from crowlight.report.counting import ORIGINS, Counting
from crowlight.report.html import facts, making, report_html
from crowlight.report.plain import assessment_in_mm
from crowlight.report.svg import frame_of
from crowlight.report.words import mark
from crowlight.web.counted import counted_from, remember
from crowlight.web.held import held
from crowlight.web.log import lines, runs
from crowlight.web.looking import judged
from crowlight.web.next_kept import next_known
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import UseBench

__all__ = ["router"]

router = APIRouter()


@router.get("/reeds/{reed}", include_in_schema=False)
def reed_page(request: Request, reed: UUID, bench: UseBench, at: str = "") -> Response:
    """Show a reed, as it is or as it was after entry number `at`."""
    up_to = _moment(at)
    sheet, unjudged = judged(bench.desk, reed, up_to=up_to)
    found = sheet.assessment
    counting = Counting.of(found, counted_from(request)) if found else None
    past = up_to is not None and up_to < sheet.reed.seq
    how = held(request)
    response = bench.pages.render(
        request,
        "reed.html",
        sheet=sheet,
        past=past,
        known=None if past else next_known(bench.desk, sheet, held=how, words=bench.words),
        facts=facts(sheet.state, bench.words),
        making=making(sheet.state, bench.words),
        assessment=found,
        counting=counting,
        origins=ORIGINS,
        frame=frame_of(found, counting) if found else None,
        unjudged=unjudged,
        log=runs(lines(sheet, bench.words)),
    )
    remember(request, response)
    return response


@router.get("/reeds/{reed}/report", include_in_schema=False)
def report(request: Request, reed: UUID, bench: UseBench, save: bool = False) -> Response:
    """Return the report on a reed: one file, to look at or to keep."""
    sheet, unjudged = judged(bench.desk, reed)
    headers = {"Content-Security-Policy": POLICY_REPORT}
    if save:
        headers["Content-Disposition"] = f'attachment; filename="{_file_name(sheet)}.html"'
    prefer = counted_from(request)
    text = report_html(sheet, words=bench.words, unjudged=unjudged, prefer=prefer)
    return Response(text, media_type="text/html; charset=utf-8", headers=headers)


@router.get("/reeds/{reed}/sections/{state}/{blade}.svg", include_in_schema=False)
def sections(
    request: Request,
    reed: UUID,
    state: CaneState,
    blade: Blade,
    bench: UseBench,
    at: str = "",
    dark: bool = False,
) -> Response:
    """Return the sections of one blade as a picture."""
    sheet, _ = judged(bench.desk, reed, up_to=_moment(at))
    found = sheet.assessment
    groups = found.groups if found else ()
    group = next((g for g in groups if g.state is state and g.mapped is not None), None)
    if found is None or group is None:
        raise NotFound(bench.words(mark("There is no thickness map of these readings.")))
    counting = Counting.of(found, counted_from(request))
    chart = sections_chart(group, blade, words=bench.words, dark=dark, counting=counting)
    svg = chart_svg(chart)
    headers = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=60"}
    return Response(svg, media_type="image/svg+xml", headers=headers)


def _moment(at: str) -> int | None:
    """Return an entry number from an address; what is none means now."""
    return int(at) if at.isascii() and at.isdecimal() and len(at) < 10 else None


def _file_name(sheet: Sheet) -> str:
    """Return a name any file system takes."""
    plain = unicodedata.normalize("NFKD", sheet.reed.name).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:60] or "reed"


@router.get("/reeds/{reed}/assessment.json")
def assessment(reed: UUID, bench: UseBench) -> dict[str, Any]:
    """Return the judgement of a reed, lengths in millimetres."""
    sheet = bench.desk.sheet(reed)
    if sheet.assessment is None:
        raise NotFound(bench.words(mark("This reed has no thickness readings yet.")))
    return assessment_in_mm(sheet.assessment)
