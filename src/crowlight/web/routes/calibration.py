"""What was measured of a reed beyond its thickness, and what that teaches of cane and tie."""

from __future__ import annotations

from importlib.resources import files
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.errors import CrowlightError
from crowlight.report.calibration import DATA_WORDS, belief_rows, datum_said, together_said
from crowlight.report.words import mark
from crowlight.web.looking import as_kept
from crowlight.web.routes.blades import waiting
from crowlight.web.running import Running, UnderWay
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import UseBench, status_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/reeds/{reed}/calibration")
def calibration_page(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show questions first, then every quantity before and after the data."""
    running: Running = request.app.state.running
    sheet = as_kept(bench.desk, reed)
    title = bench.words(mark("What was learned of this reed"))
    found, why, status = None, "", 200
    try:
        state = running.ask(
            ("calibration", reed, sheet.reed.seq), bench.desk, lambda d: d.models.calibrated(reed)
        )
        if isinstance(state, UnderWay):
            return waiting(request, bench, sheet, state, title=title, back=f"/reeds/{reed}")
        found = state.value
    except CrowlightError as error:
        why, status = str(error), status_of(error)
    words = bench.words
    together, unseen = together_said(found, words) if found else ([], [])
    return bench.pages.render(
        request,
        "calibration.html",
        status=422 if status == 500 else status,
        sheet=sheet,
        title=title,
        found=found,
        why=why,
        rows=belief_rows(found, words=words) if found else [],
        data=[(d, words(DATA_WORDS[d.kind]), datum_said(d, words)) for d in found.data]
        if found
        else [],
        level=next(iter(found.prior.values())).level if found else 0.0,
        together=together,
        unseen=unseen,
    )


@router.get("/reeds/{reed}/calibration/force-test.svg")
def force_test_drawing(reed: UUID) -> Response:
    """Return the drawing of the force test."""
    del reed
    svg = files("crowlight.report") / "pictures" / "force-test.svg"
    headers = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=3600"}
    return Response(svg.read_bytes(), media_type="image/svg+xml", headers=headers)
