"""How the opening closes under pressure, and both blades side by side with their difference."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.errors import CrowlightError
from crowlight.report.closing import STRETCHED, closing_picture, closing_steps
from crowlight.report.counting import Counting
from crowlight.report.words import mark
from crowlight.web.counted import counted_from
from crowlight.web.looking import judged
from crowlight.web.routes.blades import waiting
from crowlight.web.running import Running, UnderWay
from crowlight.web.sending import UseBench, status_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Stills on the page, and steps of the moving picture.
_STILLS, _STEPS = 6, 41


@router.get("/reeds/{reed}/closing")
def closing_page(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show the opening at rest, on its way, and shut."""
    running: Running = request.app.state.running
    sheet, _ = judged(bench.desk, reed)
    title = bench.words(mark("How it closes"))
    try:
        state = running.ask(
            ("closing", reed, sheet.reed.seq), bench.desk, lambda d: d.models.blades(reed)
        )
    except CrowlightError as error:
        status = status_of(error)
        return bench.pages.render(
            request,
            "no-blades.html",
            status=422 if status == 500 else status,
            sheet=sheet,
            why=str(error),
        )
    if isinstance(state, UnderWay):
        return waiting(request, bench, sheet, state, title=title, back=f"/reeds/{reed}")
    found, words = state.value, bench.words
    groups = sheet.assessment.groups if sheet.assessment else ()
    stills = closing_steps(found, _STILLS)
    moving: list[dict[str, Any]] = [
        {
            "marked": s.marked,
            "plain": s.plain,
            "pressure": words.number(s.pressure * 1e-3, 1),
            "height": words.number(s.height * 1e3, 2),
            "area": words.number(s.area * 1e6, 2),
        }
        for s in closing_steps(found, _STEPS)
    ]
    return bench.pages.render(
        request,
        "closing.html",
        sheet=sheet,
        title=title,
        found=found,
        stretched=words.number(STRETCHED, 1),
        stills=[
            (s, closing_picture(s, words=words, name=f"still-{n}")) for n, s in enumerate(stills)
        ],
        first=closing_picture(stills[0], words=words, name="moving"),
        moving=moving,
        group=next((g for g in groups if g.mapped is not None), None),
        counting=Counting.of(sheet.assessment, counted_from(request)) if sheet.assessment else None,
    )
