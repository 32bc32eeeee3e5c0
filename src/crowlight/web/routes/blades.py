"""What the thickness map of a reed means: stiffness, closing, and where the knife matters."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Literal
from uuid import UUID

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from crowlight.bench.cuts import (
    LIMITS,
    STROKE_RADIUS,
    Cut,
    Foreseen,
    Leverage,
    foresee,
    foresee_stroke,
)
from crowlight.bench.desk import Desk, Sheet
from crowlight.bench.mechanics import CUT, BladesShown, CaneLeft
from crowlight.bench.warm import Warmed
from crowlight.bench.whatif import Outcome
from crowlight.errors import CrowlightError, InputError
from crowlight.reed import Blade, Side
from crowlight.report.blade_charts import opening_chart, profile_chart
from crowlight.report.blade_maps import effect_picture, flexibility_picture
from crowlight.report.blade_rows import SIGNED, cane_warnings, cut_rows, decimals_of, output_rows
from crowlight.report.blades import OUTPUT_WORDS, SHOWN_UNITS
from crowlight.report.charts import chart_svg
from crowlight.report.counting import Counting
from crowlight.report.finding import zone_name
from crowlight.report.next_why import basis_said
from crowlight.report.words import Words, mark
from crowlight.web.asking import Question
from crowlight.web.counted import counting_for
from crowlight.web.looking import as_kept
from crowlight.web.running import Running, UnderWay
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import Bench, UseBench, status_of

__all__ = ["router", "waiting"]

router = APIRouter()

_BLADES = {"both": None, "marked": Blade.MARKED, "plain": Blade.PLAIN}
_SIDES = {"both": None, "left": Side.LEFT, "right": Side.RIGHT}
#: Fields of the what-if form: name, field of `Cut`, unit, metres to a unit.
_LENGTHS = (
    ("depth", "depth", "hundredths", 1e-5),
    ("back", "back", "mm", 1e-3),
    ("clip", "clip", "mm", 1e-3),
)


def waiting(
    request: Request, bench: Bench, sheet: Sheet, state: UnderWay, *, title: str, back: str
) -> Response:
    """Return a page that says how far a computation is and looks again by itself."""
    page = bench.pages.render(
        request,
        "waiting.html",
        status=202,
        sheet=sheet,
        title=title,
        fraction=state.fraction,
        back=back,
    )
    page.headers["Progress"] = f"{state.fraction:.2f}"
    return page


@router.get("/reeds/{reed}/blades", include_in_schema=False)
def blades_page(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show what the blade model says of a reed, and of a cut one thinks of."""
    running: Running = request.app.state.running
    sheet = as_kept(bench.desk, reed)
    about = (reed, sheet.reed.seq)
    title = bench.words(mark("What the blades do"))
    try:
        state = running.ask(
            ("blades", about),
            bench.desk,
            lambda d: (d.models.blades(reed), d.models.leverage(reed)),
        )
    except CrowlightError as error:
        return _refused(request, bench, sheet, error)
    if isinstance(state, UnderWay):
        return waiting(request, bench, sheet, state, title=title, back=f"/reeds/{reed}")
    found, levers = state.value
    question = Question.of(request.query_params, bench.words)
    cut = _cut(question, levers, found) if question.typed.get("ask") else None
    solved: Outcome | None = None
    rows = cut_rows(found, foresee(levers, Cut()), words=bench.words)
    if cut is not None:
        try:
            if question.one("ask") == "full":
                again = running.ask(
                    ("what-if", about, cut),
                    bench.desk,
                    lambda d: d.models.what_if(reed, cut),
                    lane=("what-if", reed),
                )
                if isinstance(again, UnderWay):
                    return waiting(
                        request,
                        bench,
                        sheet,
                        again,
                        title=bench.words(mark("Solving the reed after the cut")),
                        back=f"/reeds/{reed}/blades",
                    )
                solved = again.value
            told = solved.outputs if solved else _foreseen(found, levers, cut)
            rows = cut_rows(found, told, words=bench.words)
        except CrowlightError as error:
            question.trouble("", str(error))
    # without the length only the distance from the tip is known
    known = sheet.state.length is not None
    counting = counting_for(request, sheet.state) if known else None
    return bench.pages.render(
        request,
        "blades.html",
        status=422 if question.troubles else 200,
        sheet=sheet,
        found=found,
        outputs=output_rows(found, words=bench.words),
        effects=_pictures(found, bench.words, counting),
        flexibility=[
            flexibility_picture(
                found, b, words=bench.words, name=f"flex-{b.value}", counting=counting
            )
            for b in Blade
        ],
        counting=counting,
        zones=[(z, zone_name(z, bench.words)) for z in _zones(levers)],
        cane=_cane(found, bench.words),
        typed={"depth": ["1"], **question.typed},
        troubles=question.troubles,
        cut=cut,
        cut_rows=rows,
        solved=solved,
        warnings=[_too_deep(c, bench.words) for c in cane_warnings(found, cut)] if cut else [],
        can_move=bool(levers.moves),
        limits=LIMITS,
        live=_live(found, levers, bench.words),
        cut_mm=CUT * 1e3,
        radius_mm=STROKE_RADIUS * 1e3,
        stroke_mm=found.stroke * 1e3,
        stroke_basis=basis_said([found.stroke_basis], bench.words),
    )


@router.get("/reeds/{reed}/blades/{picture}.svg", include_in_schema=False)
def blades_chart(
    reed: UUID, picture: Literal["opening", "profile"], bench: UseBench, dark: bool = False
) -> Response:
    """Return the opening curve, or the opening across the tip, as a picture."""
    draw = opening_chart if picture == "opening" else profile_chart
    svg = chart_svg(draw(bench.desk.models.blades(reed), words=bench.words, dark=dark))
    headers = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=60"}
    return Response(svg, media_type="image/svg+xml", headers=headers)


@router.get("/reeds/{reed}/blades/what-if.json", include_in_schema=False)
def blades_what_if(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Solve a cut in full for the panel: 202 while under way, then its lines."""
    return _panel(request, reed, bench, "what-if", lambda d, cut: d.models.what_if(reed, cut))


@router.get("/reeds/{reed}/blades/warm.json", include_in_schema=False)
def blades_warm(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Solve a cut from the reed as it is, for the panel at rest: quickly, and how exactly."""
    return _panel(request, reed, bench, "warm", lambda d, cut: d.models.warmed(reed, cut))


def _panel(
    request: Request,
    reed: UUID,
    bench: Bench,
    what: str,
    solve: Callable[[Desk, Cut], Outcome | Warmed],
) -> Response:
    running: Running = request.app.state.running
    sheet = as_kept(bench.desk, reed)
    about = (reed, sheet.reed.seq)
    found, levers = bench.desk.models.blades(reed), bench.desk.models.leverage(reed)
    question = Question.of(request.query_params, bench.words)
    cut = _cut(question, levers, found)
    if cut is None:
        return JSONResponse({"troubles": [t.text for t in question.troubles]}, 422)
    try:
        state = running.ask(
            (what, about, cut), bench.desk, lambda d: solve(d, cut), lane=("what-if", reed)
        )
    except CrowlightError as error:
        return JSONResponse({"troubles": [str(error)]}, status_of(error))
    if isinstance(state, UnderWay):
        return JSONResponse({"fraction": state.fraction}, 202)
    told = state.value
    curved = told.curved if isinstance(told, Warmed) else tuple(told.outputs)
    return JSONResponse(
        {
            "rows": [
                {
                    "name": r.name,
                    "after": r.after,
                    "after_interval": r.after_interval,
                    "change": r.change if r.name in curved else f"\N{ALMOST EQUAL TO} {r.change}",
                    "change_interval": r.change_interval,
                    "open_sign": r.open_sign,
                }
                for r in cut_rows(found, told.outputs, words=bench.words)
            ],
            "how": _how_exactly(told, bench.words),
            "notes": [bench.words(n) for n in told.notes if n not in found.notes],
        }
    )


def _how_exactly(told: Outcome | Warmed, words: Words) -> str:
    if not isinstance(told, Warmed):
        return words(mark("Solved in full, before and after."))
    area = words.number(told.area_error * 1e6, decimals_of(told.area_error * 1e6, 2))
    if not math.isfinite(told.closing_error):
        text = mark(
            "Opening curve solved: areas within %(area)s mm²; it snaps shut, so when is seen only "
            "in full. ≈ marks estimates, effects times change."
        )
        return words.say(text, area=area)
    text = mark(
        "Opening curve solved: areas within %(area)s mm², closing pressure within %(closing)s %%. "
        "≈ marks estimates, effects times change."
    )
    closing = words.number(told.closing_error * 1e2, 1)
    return words.say(text, area=area, closing=closing)


def _refused(request: Request, bench: Bench, sheet: Sheet, error: CrowlightError) -> Response:
    status = status_of(error)
    return bench.pages.render(
        request,
        "no-blades.html",
        status=422 if status == 500 else status,
        sheet=sheet,
        why=str(error),
    )


def _foreseen(found: BladesShown, levers: Leverage, cut: Cut) -> dict[str, Foreseen]:
    if cut.from_tip is None:
        return foresee(levers, cut)
    return foresee_stroke(
        levers,
        cut,
        from_tip=found.from_tip,
        fraction=found.fraction,
        effects=found.effects,
        cane=CUT,
    )


def _place(question: Question, found: BladesShown) -> tuple[float, float] | None:
    """Read where one stroke is to be: from the tip [m], and -1 to 1 across; None for nowhere."""
    if not question.one("from_tip"):
        return None
    down = question.number("from_tip", unit="mm")
    right = question.number("across", unit="mm", usual=0.0)
    if down is None or right is None:
        return None
    words, longest = question.words, found.from_tip[-1]
    if not 0.0 <= down * 1e-3 <= longest:
        text = mark("%(typed)s is outside 0 to %(most)s %(unit)s; what should it be?")
        most = words.number(longest * 1e3, 1)
        typed = question.one("from_tip")
        question.trouble("from_tip", words.say(text, typed=typed, most=most, unit="mm"))
        return None
    half = float(np.interp(down * 1e-3, found.from_tip, found.half_width))
    if abs(right * 1e-3) > half:
        text = mark(
            "%(typed)s mm is beside the blade: there it is %(half)s mm from middle to edge."
        )
        said = words.say(text, typed=question.one("across"), half=words.number(half * 1e3, 1))
        question.trouble("across", said)
        return None
    return down * 1e-3, right * 1e-3 / half


def _cut(question: Question, levers: Leverage, found: BladesShown) -> Cut | None:
    """Read the what-if form; None with troubles if anything is wrong."""
    values: dict[str, Any] = {}
    for name, part, unit, factor in _LENGTHS:
        value = question.number(name, unit=unit, usual=0.0)
        if value is None:
            continue
        values[part] = metres = round(value * factor, 9)
        most = LIMITS[part]
        if not 0.0 <= metres <= most:
            question.trouble(
                name,
                question.words.say(
                    mark("%(typed)s is outside 0 to %(most)s %(unit)s; what should it be?"),
                    typed=question.one(name),
                    most=question.words.number(most / factor, 0),
                    unit=unit,
                ),
            )
    zones = {z: z for z in _zones(levers)}
    zone = question.choice("zone", zones, "")
    if question.one("zone") and not zone:
        text = question.words(mark("This reed has no such zone; choose one of the list."))
        question.trouble("zone", text)
    place = _place(question, found)
    if zone and place is not None:
        text = question.words(mark("Choose a zone or one place for a stroke, not both."))
        question.trouble("from_tip", text)
    if place is not None:
        values["from_tip"], values["across"] = place
    elif not zone:
        values["depth"] = 0.0
    if question.troubles:
        return None
    if not any(values.get(part) for _, part, _, _ in _LENGTHS):
        text = question.words(mark("Nothing would be cut: choose a zone and a depth, or a length."))
        question.trouble("zone", text)
        return None
    try:
        return Cut(
            zone=zone,
            blade=_BLADES[question.choice("blade", _BLADES, "both")],
            side=_SIDES[question.choice("side", _SIDES, "both")],
            **values,
        )
    except InputError as error:
        question.trouble("", str(error))
        return None


def _zones(levers: Leverage) -> list[str]:
    return list(dict.fromkeys(lever.zone for lever in levers.levers))


def _pictures(
    found: BladesShown, words: Words, counting: Counting | None
) -> list[tuple[str, str, list[str]]]:
    """Return the effect maps: output, what it is called, the pictures of both blades."""
    return [
        (
            output,
            words(OUTPUT_WORDS[output]),
            [
                effect_picture(
                    found,
                    output,
                    b,
                    words=words,
                    name=f"eff-{output}-{b.value}",
                    counting=counting,
                )
                for b in Blade
            ],
        )
        for output in found.effects
    ]


def _cane(found: BladesShown, words: Words) -> list[tuple[str, list[tuple[str, int]]]]:
    """Return cane left: zone, and for each blade what is least and the strokes."""
    zones: dict[str, list[tuple[str, int]]] = {}
    for c in found.cane_left:
        told = words.mm(c.least, 3, signed=True)
        zones.setdefault(c.zone, []).append((told, c.strokes))
    return [(zone_name(z, words), left) for z, left in zones.items()]


def _too_deep(c: CaneLeft, words: Words) -> str:
    text = mark(
        "Too deep: on the %(blade)s a tenth of this zone has %(spare)s or less above its floor "
        "(common practice)."
    )
    if c.least <= 0.0:
        text = mark(
            "Too deep: on the %(blade)s a tenth of this zone may already be %(spare)s or more "
            "below its floor (common practice)."
        )
    return words.say(text, blade=words.blade(c.blade), spare=words.mm(abs(c.least), 3))


def _live(found: BladesShown, levers: Leverage, words: Words) -> dict[str, Any]:
    """Return what the panel needs to foresee cuts by itself; lengths in metres."""
    now = {o.name: o for o in found.outputs}
    return _finite(
        {
            "locale": str(words.numbers).replace("_", "-"),
            "between": words(mark("%(low)s to %(high)s")),
            "unknown": words(mark("not known")),
            "outputs": [
                {
                    "name": n,
                    "value": v,
                    "low": now[n].low,
                    "high": now[n].high,
                    "factor": SHOWN_UNITS[n][1],
                    "decimals": 1 if n in SIGNED else decimals_of(v * SHOWN_UNITS[n][1]),
                    "signed": n in SIGNED,
                }
                for n, v in zip(levers.names, levers.values, strict=True)
            ],
            "levers": [
                {"zone": x.zone, "blade": x.blade.value, "side": x.side.value, "slopes": x.slopes}
                for x in levers.levers
            ],
            "strokes": {
                "cane": CUT,
                "radius": STROKE_RADIUS,
                "from_tip": found.from_tip,
                "fraction": found.fraction,
                "half_width": found.half_width,
                "effects": {
                    name: {b.value: rows for b, rows in blades.items()}
                    for name, blades in found.effects.items()
                },
            },
            "moves": levers.moves,
            "moved": {b.value: rows for b, rows in levers.moved.items()},
            "clip": levers.clip,
            "floors": [
                {
                    "zone": c.zone,
                    "blade": c.blade.value,
                    "least": c.least,
                    "text": _too_deep(c, words),
                }
                for c in found.cane_left
            ],
        }
    )


def _finite(value: Any) -> Any:
    """Return plain values with None for what is no number: JSON has no word for it."""
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
