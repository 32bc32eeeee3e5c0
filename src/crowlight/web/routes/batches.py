"""Batches: what their reeds have in common and what differs; the workshop's figures."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.bench.batch_found import Charted, difference_code
from crowlight.bench.batches import BatchShown
from crowlight.errors import CrowlightError, NotFound
from crowlight.report.batch_pictures import control_chart_spec, map_key, small_map
from crowlight.report.batch_plain import batch_plain
from crowlight.report.batch_words import (
    contrast_said,
    direction_said,
    mean_said,
    quantity_name,
    shown_value,
    span_said,
    unit_name,
)
from crowlight.report.batches import (
    apart_said,
    candidates_said,
    consistency_rows,
    split_said,
    steady_said,
    steps_out,
    tracked_said,
)
from crowlight.report.charts import chart_svg
from crowlight.report.figures import (
    figures_plain,
    life_said,
    question_said,
    rate_said,
    share_said,
    stages_said,
)
from crowlight.report.finding import not_mapped
from crowlight.report.words import Words, mark
from crowlight.web.running import Running, UnderWay
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import Bench, UseBench, status_of

__all__ = ["router"]

router = APIRouter()


@router.get("/batches", include_in_schema=False)
def batches_page(request: Request, bench: UseBench) -> Response:
    """List the batches."""
    return bench.pages.render(request, "batches.html", batches=bench.desk.batches.all())


def _ask(request: Request, bench: Bench, batch: UUID) -> BatchShown | UnderWay:
    """Return what a batch tells, or how far it is; what is kept is never waited for."""
    batches = bench.desk.batches
    if (known := batches.kept(batch)) is not None:
        return known
    running: Running = request.app.state.running
    seen = tuple((r.uuid, r.seq) for r in batches.reeds_of(bench.desk.people.batch(batch)))
    state = running.ask(("batch", batch, seen), bench.desk, lambda d: d.batches.of(batch))
    # the whole takes as long as its reeds; the job at hand is but one of them
    return (
        UnderWay(batches.done(batch), state.seconds) if isinstance(state, UnderWay) else state.value
    )


@router.get("/batches/{batch}", include_in_schema=False)
def batch_page(request: Request, batch: UUID, bench: UseBench, chart: str = "") -> Response:
    """Show what a batch tells."""
    words, kept = bench.words, bench.desk.people.batch(batch)
    if not bench.desk.batches.reeds_of(kept):
        why = words(mark("No reed is of this batch yet."))
        return bench.pages.render(request, "batch.html", batch=kept, shown=None, why=why)
    try:
        shown = _ask(request, bench, batch)
    except CrowlightError as error:
        return bench.pages.render(
            request,
            "batch.html",
            status=422 if status_of(error) == 500 else status_of(error),
            batch=kept,
            shown=None,
            why=str(error),
        )
    if isinstance(shown, UnderWay):
        page = bench.pages.render(
            request, "batch-waiting.html", status=202, batch=kept, fraction=shown.fraction
        )
        page.headers["Progress"] = f"{shown.fraction:.2f}"
        return page
    found = shown.found
    rows = consistency_rows(shown, words)
    charted = [r for r in rows if r.charted]
    chosen = next((r for r in charted if r.code == chart), None)
    # unasked, the first quantity with a signal, else the first
    chosen = chosen or next((r for r in charted if r.signals), charted[0] if charted else None)
    return bench.pages.render(
        request,
        "batch.html",
        batch=kept,
        shown=shown,
        why="",
        reeds=_reeds(shown, words),
        key=map_key(words),
        rows=rows,
        chosen=chosen,
        steady=steady_said(shown, words),
        first=found.steady.first,
        plan=found.plan,
        test=difference_code(found.steady.first.quantity, found.steady.first.contrast)
        if found.steady.first
        else "",
        others=[
            (quantity_name(t.quantity, words), direction_said(t, words), mean_said(t, words))
            for t in found.steady.consistent[1:]
        ],
        tested=[
            {
                "what": quantity_name(t.quantity, words),
                "between": contrast_said(t.contrast, words),
                "mean": shown_value(t.quantity, t.mean, words, signed=True),
                "span": span_said(t.quantity, t.low, t.high, words, signed=True),
                "unit": unit_name(t.quantity, words),
                "gauge": shown_value(t.quantity, t.repeatability, words),
                "reeds": t.count,
                "q": words.number(t.q, 3),
            }
            for t in found.steady.tested
        ],
        splits=[split_said(s, words) for s in found.splits],
        apart=apart_said(shown, words),
        candidates=candidates_said(shown, words),
        out=steps_out(shown, words),
        tracked=tracked_said(shown, words),
    )


def _reeds(shown: BatchShown, words: Words) -> list[dict[str, Any]]:
    """Return the reeds with their pictures, in the order of their making."""
    return [
        {
            "uuid": r.uuid,
            "name": shown.names[r.uuid],
            "grade": r.facts.grade,
            "picture": small_map(r, shown.names[r.uuid], words) if r.measured.map else "",
            "why": ""
            if r.measured.map
            else words(mark("no readings"))
            if r.measured.not_mapped == "none"
            else not_mapped(r.measured.not_mapped, words),
        }
        for r in shown.found.reeds
    ]


@router.get("/batches/{batch}/chart/{code}.svg", include_in_schema=False)
def chart(
    request: Request, batch: UUID, code: str, bench: UseBench, dark: bool = False
) -> Response:
    """Return the control chart of one quantity."""
    shown = _ask(request, bench, batch)
    charted: Charted | None = None
    if not isinstance(shown, UnderWay):
        charted = next((c for c in shown.found.charted if c.code == code and c.chart), None)
    if isinstance(shown, UnderWay) or charted is None:
        raise NotFound(bench.words(mark("There is no chart of this quantity.")))
    svg = chart_svg(control_chart_spec(charted, words=bench.words, dark=dark))
    headers = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=60"}
    return Response(svg, media_type="image/svg+xml", headers=headers)


@router.get("/batches/{batch}/batch.json")
def batch_json(batch: UUID, bench: UseBench) -> dict[str, Any]:
    """Return what a batch tells, lengths in millimetres."""
    return batch_plain(bench.desk.batches.of(batch), bench.words)


@router.get("/figures", include_in_schema=False)
def figures_page(request: Request, bench: UseBench) -> Response:
    """Show the workshop's figures."""
    figures, words = bench.desk.batches.figures(), bench.words
    return bench.pages.render(
        request,
        "figures.html",
        figures=figures,
        stages=stages_said(figures, words),
        sellable=share_said(figures.sellable, words),
        reasons=[(reason, share_said(s, words)) for reason, s in figures.reasons],
        minutes=rate_said(figures.seconds, words, unit=words(mark("minutes")), scale=60.0),
        cost=[rate_said(r, words, unit=c) for c, r in figures.cost],
        life=life_said(figures, words),
        groups=[
            (
                title,
                [(g.name, share_said(g.good, words), share_said(g.sellable, words)) for g in of],
            )
            for title, of in (
                (words(mark("By cane")), figures.canes),
                (words(mark("By shape")), figures.shapes),
            )
        ],
        questions=[question_said(q, words) for q in figures.questions],
    )


@router.get("/figures.json")
def figures_json(bench: UseBench) -> dict[str, Any]:
    """Return the workshop's figures as numbers."""
    return figures_plain(bench.desk.batches.figures())
