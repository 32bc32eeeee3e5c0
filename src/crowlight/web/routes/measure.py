"""Readings on a drawn blade: one point after the other, each sent as soon as it is read.

Every reading is an entry of its own, with a UUID made before it is sent, and shares a `burst` with
those taken with it. There is therefore nothing that must still be confirmed at the end: a tab that
dies loses at most the digits of the number under way, a reload finds what is kept and goes on at
the next point, a reply that was lost is answered again, and what cannot be sent waits in the
browser's outbox like any other entry. A reading taken back is an entry withdrawn. What belongs
together (repeats, mountings, drift) is told by the burst, as if one entry held it.
"""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID, uuid4

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.kinds import ReadingsTaken, Withdrawn
from crowlight.bench.mapping import placed_style
from crowlight.bench.measuring import ROUNDS, SAME, Round, Rounds, doubtful, measuring_round
from crowlight.bench.state import TimedReading
from crowlight.errors import CrowlightError, InputError
from crowlight.reed import (
    Blade,
    CaneState,
    Origin,
    Place,
    Reading,
    check_reading,
    instrument,
    instruments,
)
from crowlight.reed.styles import Style
from crowlight.report.counting import RULER, Counting
from crowlight.report.held import Held
from crowlight.report.measure_picture import Drawing, measure_picture, place_said
from crowlight.report.words import Words, in_locale, mark
from crowlight.web.counted import counting_for, remember
from crowlight.web.held import held, remember_held
from crowlight.web.looking import as_kept, judged
from crowlight.web.numbers import typed_number
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Metres to a unit that thicknesses are typed in.
_UNITS = {"mm": 1e-3, "hundredths": 1e-5, "um": 1e-6}
_MOST = 2**31
_OLD_PAGE = mark("This page is out of date; open it from the reed again.")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What the address of the page says."""

    kind: Rounds
    seed: int
    burst: UUID

    @property
    def query(self) -> str:
        return urlencode({"round": self.kind, "seed": self.seed, "burst": self.burst})


def _asked(params: Mapping[str, str]) -> _Asked | None:
    """Read the address; None if it names no round yet."""
    kind, seed = params.get("round", "quick"), params.get("seed", "")
    try:
        burst = UUID(params.get("burst", ""))
    except ValueError:
        return None
    if kind not in ROUNDS or not (seed.isascii() and seed.isdecimal() and len(seed) < 11):
        return None
    return _Asked(kind=cast("Rounds", kind), seed=int(seed), burst=burst)


@router.get("/reeds/{reed}/measure")
def measure_page(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Show the blades with the points to read, and the one that comes next."""
    asked = _asked(request.query_params)
    if asked is None:
        as_kept(bench.desk, reed)
        kind = request.query_params.get("round", "")
        new = _Asked(
            kind=cast("Rounds", kind) if kind in ROUNDS else "quick",
            seed=secrets.randbelow(_MOST),
            burst=uuid4(),
        )
        begun = RedirectResponse(f"/reeds/{reed}/measure?{new.query}", 303)
        remember(request, begun)
        remember_held(request, begun)
        return begun
    return _page(request, bench, reed, asked)


def _page(
    request: Request,
    bench: Bench,
    reed: UUID,
    asked: _Asked,
    *,
    typed: Mapping[str, Sequence[str]] | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    sheet = as_kept(bench.desk, reed)
    style, why = _style(bench, sheet)
    if style is None:
        return bench.pages.render(
            request, "measure-first.html", status=status, sheet=sheet, why=why, troubles=troubles
        )
    matters: Sequence[Place] = ()
    if asked.kind == "next":
        found, _ = judged(bench.desk, reed)
        groups = found.assessment.groups if found.assessment else ()
        matters = next((g.mapped.next_places for g in groups if g.mapped), ())
    turn = measuring_round(style, asked.kind, seed=asked.seed, matters=matters)
    taken = [t for t in sheet.state.readings if t.together == asked.burst]
    counting = counting_for(request, sheet.state)
    how = held(request)
    shown = _shown(turn, taken, Drawing.of(style, how), how, counting, bench.words)
    last = sheet.state.readings[-1].reading if sheet.state.readings else None
    return bench.pages.render(
        request,
        "measure.html",
        status=status,
        sheet=sheet,
        asked=asked,
        turn=turn,
        shown=shown,
        taken=len(taken),
        latest=taken[-1] if taken else None,
        held_said=how.said(bench.words),
        across=how.sideways,
        counting=counting,
        gauges=list(instruments()),
        typed=typed
        or {
            "gauge": [last.instrument if last else "dial"],
            "state": [_wet_or(last)],
        },
        troubles=troubles,
        unit_said=bench.words.thickness_unit,
        unit=bench.words.shown.unit,
        doubts=_doubts(bench, sheet, style, taken, how, counting),
        live=_live(sheet, counting, how, bench.words),
    )


def _wet_or(last: Reading | None) -> str:
    """Return the state that is offered: a reed on the bench is wet."""
    return "dry" if last is not None and last.state is CaneState.DRY else "wet"


def _style(bench: Bench, sheet: Sheet) -> tuple[Style | None, str]:
    """Return the style laid on the reed, or why its points cannot be found."""
    inputs = bench.desk.reed_inputs(sheet.reed, sheet.state)
    if not inputs["style"]:
        return None, "style"
    if inputs["length"] is None:
        return None, "length"
    try:
        return placed_style(inputs["style"], inputs["length"], inputs["style_text"]), ""
    except CrowlightError as error:
        return None, str(error)


def _key(place: Place) -> tuple[Blade, int, int]:
    return place.blade, round(place.along / SAME), round(place.across / SAME)


def _shown(
    turn: Round,
    taken: Sequence[TimedReading],
    drawing: Drawing,
    how: Held,
    counting: Counting,
    words: Words,
) -> dict[str, Any]:
    """Return pictures, visits and where to go on."""
    by_place: dict[tuple[Blade, int, int], list[float]] = {}
    for t in taken:
        by_place.setdefault(_key(t.reading.place), []).append(t.reading.thickness)
    planned = {_key(p) for p in turn.places}
    extra = {
        _key(t.reading.place): t.reading.place
        for t in taken
        if _key(t.reading.place) not in planned
    }
    places = [*dict.fromkeys(turn.places), *extra.values()]
    said = {p: place_said(p, held=how, counting=counting, words=words) for p in places}
    values = {p: words.thin(by_place[_key(p)][-1], 2) for p in places if _key(p) in by_place}
    labels = {p: f"{said[p]}: {values[p]}" if p in values else said[p] for p in places}
    names: dict[Place, str] = {}
    pictures: list[tuple[str, str]] = []
    for blade in Blade:
        own = [p for p in places if p.blade is blade]
        if not own and turn.kind != "next":
            continue
        names |= {p: f"{blade.value}-{n}" for n, p in enumerate(own)}
        svg = measure_picture(
            drawing, blade, own, labels=labels, values=values, counting=counting, words=words
        )
        pictures.append((words.blade(blade), svg))
    visits: list[dict[str, Any]] = []
    seen: Counter[Place] = Counter()
    now = None
    for n, p in enumerate(turn.places):
        done = len(by_place.get(_key(p), ())) > seen[p]
        if not done and now is None:
            now = n
        visits.append(
            {
                "place": names[p],
                "value": f"{p.blade.value},{p.along!r},{p.across!r},{seen[p]}",
                "said": said[p],
                "again": n in turn.repeats,
                "done": done,
            }
        )
        seen[p] += 1
    return {"pictures": pictures, "visits": visits, "now": now}


def _doubts(
    bench: Bench,
    sheet: Sheet,
    style: Style,
    taken: Sequence[TimedReading],
    how: Held,
    counting: Counting,
) -> list[tuple[str, str, str]]:
    """Return places whose repeats lie too far apart: where, what was read, how far they may."""
    words = bench.words
    own = bench.desk.gauges(sheet.reed.maker)
    return [
        (
            place_said(d.place, held=how, counting=counting, words=words),
            " · ".join(words.thick(v, 3) for v in d.values),
            words.thick(d.limit, 3),
        )
        for d in doubtful([t.reading for t in taken], style=style, own=own)
    ]


def _live(sheet: Sheet, counting: Counting, how: Held, words: Words) -> dict[str, Any]:
    """Return what the script needs to name a place that was tapped."""
    zero = {Origin.TIP: counting.length, Origin.RIM: 0.0, Origin.THREAD: counting.thread_top}
    return {
        "zero": zero[counting.origin],
        "towards": counting.towards_tip,
        "from": counting.origin_of(words),
        "locale": str(words.numbers).replace("_", "-"),
        "blades": {b.value: words.blade(b) for b in Blade},
        "sides": {s: how.side(s, words) for s in ("left", "right")},
        "centre": words(mark("centreline")),
        "reed": str(sheet.reed.uuid),
    }


@router.get("/reeds/{reed}/measure/live")
def live(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Return map, sections and questions about repeats, as a piece of the page."""
    sheet, unjudged = judged(bench.desk, reed)
    asked = _asked(request.query_params)
    style, _ = _style(bench, sheet)
    doubts: list[tuple[str, str, str]] = []
    counting = counting_for(request, sheet.state) if sheet.state.length is not None else None
    if asked is not None and style is not None and counting is not None:
        taken = [t for t in sheet.state.readings if t.together == asked.burst]
        doubts = _doubts(bench, sheet, style, taken, held(request), counting)
    groups = sheet.assessment.groups if sheet.assessment else ()
    group = next((g for g in groups if g.mapped is not None), None)
    return bench.pages.render(
        request,
        "measure-live.html",
        sheet=sheet,
        group=group,
        counting=counting,
        doubts=doubts,
        unjudged=unjudged or (groups[0].not_mapped if groups and group is None else ""),
    )


# --- writing --------------------------------------------------------------------------------------


@router.post("/reeds/{reed}/measure")
async def take(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write one reading down."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_take, request, bench, reed, sent)


def _take(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    asked = _asked({k: sent.one(k) for k in ("round", "seed", "burst")})
    if asked is None:
        raise InputError(
            bench.words(mark("This page is out of date; open it from the reed again."))
        )
    sheet = as_kept(bench.desk, reed)
    back = RedirectResponse(f"/reeds/{reed}/measure?{asked.query}", 303)
    troubles, status = list(sent.troubles), 403
    if not troubles and any(e.uuid == sent.uuid for e in sheet.entries):
        return back  # the reply to the first sending was lost
    if not troubles:
        try:
            reading = _reading(sent, sheet, bench.words)
            counting = counting_for(request, sheet.state)
            rim = counting.origin is Origin.RIM or counting.length is None
            zero = counting.thread_top if counting.origin is Origin.THREAD else counting.length
            payload = ReadingsTaken(
                origin="rim" if rim else counting.origin.value,
                origin_length=None if rim else zero,
                origin_uncertainty=0.0 if rim else RULER,
                source=f"{asked.kind} round {asked.seed}",
                burst=asked.burst,
            )
            write_once(bench.desk, reed, payload, sent, readings=(reading,))
        except CrowlightError as error:
            trouble = trouble_of(error, bench.words)
            troubles, status = [Trouble("thickness", trouble.text)], status_of(error)
        else:
            return back
    return _page(request, bench, reed, asked, typed=sent.typed, troubles=troubles, status=status)


def _reading(sent: Sent, sheet: Sheet, words: Words) -> Reading:
    """Read one reading; the place is one of the page's own, or one that was tapped."""
    try:
        blade, along, across, seating = sent.one("visit").split(",")
        place = Place(Blade(blade), round(float(along), 7), round(float(across), 7))
        mounting = min(int(seating), 1000)
    except ValueError:
        raise InputError(words(mark("Choose the point that was read."))) from None
    unit = sent.one("unit") if sent.one("unit") in _UNITS else "mm"
    said = in_locale("en", words.shown).thickness_unit if unit == words.shown.unit else unit
    value = typed_number(sent.one("thickness"), unit=said, words=words)
    state = sent.one("state")
    model = Reading(
        place,
        round(value * _UNITS[unit], 8),
        instrument=instrument(sent.one("gauge") or "dial").code,
        seating=max(mounting, 0),
        state=CaneState(state) if state in set(CaneState) else CaneState.UNKNOWN,
    )
    check_reading(model)
    before = sum(
        _key(t.reading.place) == _key(place) and t.reading.state is model.state
        for t in sheet.state.readings
        if t.entry != sent.uuid
    )
    return Reading(
        model.place,
        model.thickness,
        instrument=model.instrument,
        seating=model.seating,
        repeat=before,
        state=model.state,
    )


@router.post("/reeds/{reed}/measure/undo")
async def undo(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Take a reading back, by an entry that withdraws it."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_undo, request, bench, reed, sent)


def _undo(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    asked = _asked({k: sent.one(k) for k in ("round", "seed", "burst")})
    if asked is None:
        raise InputError(
            bench.words(mark("This page is out of date; open it from the reed again."))
        )
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            entry = UUID(sent.one("entry"))
            reason = Withdrawn(reason=bench.words(mark("read again")))
            write_once(bench.desk, reed, reason, sent, replaces=entry)
        except ValueError as error:  # also ours of a value
            troubles, status = [Trouble("", str(error))], 422
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse(f"/reeds/{reed}/measure?{asked.query}", 303)
    return _page(request, bench, reed, asked, troubles=troubles, status=status)
