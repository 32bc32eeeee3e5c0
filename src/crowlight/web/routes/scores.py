"""How the predictions have done."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.report.scores import (
    beside_said,
    credit_said,
    left_out_said,
    reasons_said,
    score_rows,
    scores_plain,
    told_said,
)
from crowlight.web.sending import UseBench

__all__ = ["router"]

router = APIRouter()


@router.get("/scores", include_in_schema=False)
def scores_page(request: Request, bench: UseBench) -> Response:
    """Show scores by quantity, what is put right by them, and what may not be credited."""
    found, words = bench.desk.learning.scores(), bench.words
    several = len(found.corrections) > 1
    names = {p.uuid: p.name for p in bench.desk.records.people()} if several else {}
    return bench.pages.render(
        request,
        "scores.html",
        found=found,
        rows=score_rows(found, words),
        told=[
            told_said(t, words, names.get(t.maker, "") if t.maker else "")
            for t in found.corrections
        ],
        beside=[beside_said(b, words) for b in found.beside],
        reasons=reasons_said(found, words),
        left_out=left_out_said(found, words),
        credits=[credit_said(c, words) for c in found.credits],
    )


@router.get("/scores.json")
def scores_data(bench: UseBench) -> dict[str, Any]:
    """Return the scores in SI units."""
    return scores_plain(bench.desk.learning.scores())
