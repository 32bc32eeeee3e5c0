"""What a batch has in common and what differs in it, from the numbers of its reeds."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import numpy as np

from crowlight.batch.candidates import Candidates, good_and_poor
from crowlight.batch.control import LEAST, Capability, ControlChart, capability, control_chart
from crowlight.batch.outliers import LEAST_PER_QUANTITY, Apart, robust_distances
from crowlight.batch.split import SplitPlan, SplitResult, evaluate_split, plan_split
from crowlight.batch.spread import OneWay, Spread, one_way, spread_of
from crowlight.batch.steady import Contrast, Series, Steady, of_sides, steady_differences
from crowlight.batch.tracking import Checked, Tracked, check_steps, tracking
from crowlight.bench.batch_reed import BatchReed, Known, Sides
from crowlight.bench.ports import Report
from crowlight.errors import InputError, MissingExtra

__all__ = [
    "LEAST_BATCHES",
    "ApartFound",
    "BatchFound",
    "Charted",
    "SplitFound",
    "batch_found",
    "contrasts",
    "difference_code",
]

#: Quantities by which a reed may lie apart, the most telling first.
_HEADLINES = ("tip-thickness", "heart-thickness", "tip-length", "opening", "windows-thickness")
_MOST_TOGETHER = 5
_RISK_APART = 0.01
#: Two batches tell next to nothing of how far batches lie apart.
LEAST_BATCHES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Charted:
    """One quantity over the batch.

    Parameters
    ----------
    code : str
        Which.
    reeds : tuple of UUID
        Those it is known of, in the order of their making.
    spread : Spread
        Reeds against gauge.
    chart : ControlChart or None
        None for fewer than six reeds.
    capability : Capability or None
        Against what the style asks, if it does.
    batches : OneWay or None
        How far this maker's batches lie apart beyond what reeds within one do; None unless three of
        them have two measured reeds each.
    """

    code: str
    reeds: tuple[UUID, ...]
    spread: Spread
    chart: ControlChart | None
    capability: Capability | None
    batches: OneWay | None


@dataclass(frozen=True, slots=True)
class ApartFound:
    """Reeds that lie apart in some quantities together.

    Parameters
    ----------
    codes : tuple of str
        The quantities.
    reeds : tuple of UUID
        The reeds, in the order of the distances.
    apart : Apart
        Distances and cut.
    """

    codes: tuple[str, ...]
    reeds: tuple[UUID, ...]
    apart: Apart


@dataclass(frozen=True, slots=True)
class SplitFound:
    """A split test that some reeds of the batch were made for.

    Parameters
    ----------
    test : str
        Quantity and contrast.
    before : float
        The steady difference it is about: of the reeds made as usual.
    result : SplitResult
        What it told.
    """

    test: str
    before: float
    result: SplitResult


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFound:
    """Everything a batch tells.

    Parameters
    ----------
    reeds : tuple of BatchReed
        In the order of their making.
    charted : tuple of Charted
        Quantities known of two reeds or more.
    apart : tuple of ApartFound
        Quantities together where there are ten reeds, each alone where there are fewer.
    candidates : Candidates
        Good against poor reeds of this maker.
    compared : int
        Reeds of this maker looked at for that, these among them, all of the batch's styles.
    steady : Steady
        The steady difference.
    plan : SplitPlan or None
        A split test for it.
    splits : tuple of SplitFound
        Split tests done.
    steps : mapping of str to tuple of Checked
        From cane to blank, by the reed's uuid.
    tracked : tuple of Tracked
        How the grade goes with each of the steps, over the reeds of this maker.
    tracking : str
        ``done``, ``few`` reeds, or ``study`` where the extra is not installed.
    """

    reeds: tuple[BatchReed, ...]
    charted: tuple[Charted, ...]
    apart: tuple[ApartFound, ...]
    candidates: Candidates
    compared: int
    steady: Steady
    plan: SplitPlan | None
    splits: tuple[SplitFound, ...]
    steps: Mapping[str, tuple[Checked, ...]]
    tracked: tuple[Tracked, ...]
    tracking: str


def difference_code(quantity: str, contrast: str) -> str:
    """Return the name of a steady difference, as a split test keeps it."""
    return f"{quantity}/{contrast}"


def batch_found(inputs: Mapping[str, Any], report: Report = lambda _: None) -> BatchFound:
    """Work out what a batch tells.

    Parameters
    ----------
    inputs : mapping
        ``batch``, its uuid; ``reeds``, its `BatchReed`; ``others``, those of the same maker
        besides; ``batches``, by reed uuid, what each was made together with.
    report : callable
        Called with the fraction done.

    Returns
    -------
    BatchFound
        The same for the same reeds: chance is drawn from a seed made of them.
    """
    reeds: list[BatchReed] = sorted(inputs["reeds"], key=_made)
    # another scrape is no measure of this one
    others: list[BatchReed] = [r for r in inputs["others"] if r.style in {x.style for x in reeds}]
    rng = _drawn_from(" ".join(f"{r.uuid}:{r.seq}" for r in reeds))
    charted = tuple(_charted(reeds, others, inputs["batches"]))
    report(0.2)
    apart = tuple(_apart(reeds, rng))
    report(0.5)
    everyone = [*reeds, *others]
    grades = [r.facts.grade for r in everyone]
    candidates = good_and_poor(_columns(everyone), grades)
    series = contrasts(reeds, others)
    steady = steady_differences(series, rng=rng, grades=grades[: len(reeds)])
    report(0.7)
    tracked, how = _tracked(everyone, grades, inputs["batches"])
    return BatchFound(
        reeds=tuple(reeds),
        charted=charted,
        apart=apart,
        candidates=candidates,
        compared=len(everyone),
        steady=steady,
        plan=_plan(steady, grades[: len(reeds)], str(inputs["batch"])),
        splits=tuple(_splits(reeds, series, rng)),
        steps={str(r.uuid): check_steps(r.facts.steps) for r in reeds if r.oboe},
        tracked=tracked,
        tracking=how,
    )


def _drawn_from(text: str) -> np.random.Generator:
    return np.random.default_rng(int.from_bytes(hashlib.sha256(text.encode()).digest()[:8]))


def _made(reed: BatchReed) -> tuple[datetime, str]:
    return reed.facts.begun or datetime.max.replace(tzinfo=UTC), str(reed.uuid)


def _codes(reeds: Sequence[BatchReed]) -> list[str]:
    return list(dict.fromkeys(code for r in reeds for code in r.measured.quantities))


def _charted(
    reeds: Sequence[BatchReed], others: Sequence[BatchReed], batches: Mapping[str, str]
) -> list[Charted]:
    found: list[Charted] = []
    for code in _codes(reeds):
        having = [(r.uuid, k) for r in reeds if _is_known(k := r.measured.quantities.get(code))]
        if len(having) < 2:
            continue
        known = [k for _, k in having if k is not None]
        values = [k.value for k in known]
        chart = None
        # a quantity that is the same on all reeds has no chart
        if len(values) >= LEAST and np.ptp(values) > 0.0:
            chart = control_chart(values)
        limits = _limits(known)
        found.append(
            Charted(
                code=code,
                reeds=tuple(uuid for uuid, _ in having),
                spread=spread_of(values, [k.uncertainty for k in known]),
                chart=chart,
                capability=capability(values, low=limits[0], high=limits[1])
                if limits and chart is not None
                else None,
                batches=_between_batches(code, [*reeds, *others], batches),
            )
        )
    return found


def _between_batches(
    code: str, reeds: Sequence[BatchReed], batches: Mapping[str, str]
) -> OneWay | None:
    groups: dict[str, list[float]] = {}
    for r in reeds:
        of, known = batches.get(str(r.uuid), ""), r.measured.quantities.get(code)
        if of and known is not None and _is_known(known):
            groups.setdefault(of, []).append(known.value)
    usable = [g for g in groups.values() if len(g) > 1]
    return one_way(usable) if len(usable) >= LEAST_BATCHES else None


def _is_known(known: Known | None) -> bool:
    return known is not None and math.isfinite(known.value)


def _limits(known: Sequence[Known]) -> tuple[float, float] | None:
    """Return what the style asks, two spreads either side, if it is one for all reeds."""
    asked = {(k.wanted, k.spread) for k in known}
    wanted, spread = next(iter(asked))
    if len(asked) > 1 or not (math.isfinite(wanted) and spread > 0.0):
        return None
    return wanted - 2.0 * spread, wanted + 2.0 * spread


def _apart(reeds: Sequence[BatchReed], rng: np.random.Generator) -> list[ApartFound]:
    """Measure distances in as many quantities together as there are reeds for."""
    codes = [
        code
        for code in _HEADLINES
        if sum(_is_known(r.measured.quantities.get(code)) for r in reeds) > 0.8 * len(reeds)
    ]
    count = min(
        (sum(_is_known(r.measured.quantities.get(c)) for r in reeds) for c in codes), default=0
    )
    together = min(count // LEAST_PER_QUANTITY, len(codes), _MOST_TOGETHER)
    if not together:
        return []
    groups = [tuple(codes[:together])] if together > 1 else [(code,) for code in codes]
    found: list[ApartFound] = []
    for group in groups:
        having = [r for r in reeds if all(_is_known(r.measured.quantities.get(c)) for c in group)]
        values = np.array([[r.measured.quantities[c].value for c in group] for r in having])
        if len(having) < LEAST_PER_QUANTITY * len(group) or not (np.ptp(values, axis=0) > 0).all():
            continue
        # half of the reeds may be the same to the digit, such as openings read off to 0.05 mm
        with suppress(InputError):
            apart = robust_distances(values, rng=rng, risk=_RISK_APART / len(groups))
            found.append(ApartFound(group, tuple(r.uuid for r in having), apart))
    return found


def _columns(reeds: Sequence[BatchReed]) -> dict[str, list[float]]:
    """Return every quantity by which good and poor reeds may differ, NaN where not known."""
    columns = {
        code: [_value(r.measured.quantities.get(code)) for r in reeds] for code in _codes(reeds)
    }
    for code in dict.fromkeys(c for r in reeds for c in r.measured.sides):
        of = [r.measured.sides.get(code) for r in reeds]
        columns[f"{code}/uneven"] = [_uneven(s) for s in of]
    for code in dict.fromkeys(c for r in reeds for c in r.measured.blades):
        columns[f"{code}/blades"] = [abs(_value(r.measured.blades.get(code))) for r in reeds]
    columns["clips"] = [_clips(r) for r in reeds]
    columns["rest-days"] = [_rest_days(r) for r in reeds]
    return columns


def _value(known: Known | None) -> float:
    return math.nan if known is None else known.value


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _clips(reed: BatchReed) -> float:
    return float(reed.facts.clips)


def _rest_days(reed: BatchReed) -> float:
    return _number(reed.facts.rest_days)


def _uneven(sides: Sides | None) -> float:
    """Return the larger of both blades' side differences, without its sign."""
    return math.nan if sides is None else max(abs(sides.marked), abs(sides.plain))


def contrasts(reeds: Sequence[BatchReed], others: Sequence[BatchReed]) -> list[Series]:
    """Return all contrasts over the reeds of the batch."""
    found: list[Series] = []
    nothing = Sides(math.nan, math.nan, math.nan, math.nan, math.nan)
    for code in dict.fromkeys(c for r in reeds for c in r.measured.sides):
        of = [r.measured.sides.get(code, nothing) for r in reeds]
        found += of_sides(
            code,
            [s.marked for s in of],
            [s.plain for s in of],
            [s.marked_uncertainty for s in of],
            [s.plain_uncertainty for s in of],
            tolerance=next(s.tolerance for s in of if s is not nothing),
        )
    for code in dict.fromkeys(c for r in reeds for c in r.measured.blades):
        known = [r.measured.blades.get(code, Known(math.nan, math.nan)) for r in reeds]
        tolerance = next(k.tolerance for k in known if math.isfinite(k.tolerance))
        values = [k.value for k in known]
        found.append(_plain(code, Contrast.BLADES, values, known, tolerance))
    for code in _codes(reeds):
        known = [r.measured.quantities.get(code, Known(math.nan, math.nan)) for r in reeds]
        spreads = [k.spread for k in known if k.spread > 0.0]
        if spreads:
            values = [k.value - k.wanted for k in known]
            found.append(_plain(code, Contrast.STYLE, values, known, 2.0 * spreads[0]))
    return found + _against_earlier(reeds, others)


def _plain(
    code: str,
    contrast: Contrast,
    values: Sequence[float],
    known: Sequence[Known],
    tolerance: float,
) -> Series:
    return Series(
        quantity=code,
        contrast=contrast,
        values=tuple(values),
        uncertainties=tuple(k.uncertainty for k in known),
        tolerance=tolerance,
    )


def _against_earlier(reeds: Sequence[BatchReed], others: Sequence[BatchReed]) -> list[Series]:
    """Compare clips and rest with the maker's reeds made before this batch."""
    start = min((r.facts.begun for r in reeds if r.facts.begun), default=None)
    before = [r for r in others if start and r.facts.begun and r.facts.begun < start]
    found: list[Series] = []
    for code, counted in (("clips", _clips), ("rest-days", _rest_days)):
        old = [v for r in before if math.isfinite(v := counted(r))]
        if len(old) < LEAST:
            continue
        found.append(
            Series(
                quantity=code,
                contrast=Contrast.EARLIER,
                values=tuple(counted(r) - float(np.mean(old)) for r in reeds),
                uncertainties=(0.0,) * len(reeds),
                tolerance=1.0,
                reference_uncertainty=float(np.std(old, ddof=1)) / math.sqrt(len(old)),
            )
        )
    return found


def _plan(steady: Steady, grades: Sequence[int | None], batch: str) -> SplitPlan | None:
    first = steady.first
    if first is None:
        return None
    # dealt out once for good: a note written later must not deal the next reeds out anew
    rng = _drawn_from(f"{batch} {difference_code(first.quantity, first.contrast)}")
    known = [g for g in grades if g is not None]
    return plan_split(
        first.mean,
        max(first.spread, first.repeatability),
        rng=rng,
        grade_spread=float(np.std(known, ddof=1)) if len(known) > 1 else None,
    )


def _splits(
    reeds: Sequence[BatchReed], series: Sequence[Series], rng: np.random.Generator
) -> list[SplitFound]:
    by_code = {difference_code(s.quantity, s.contrast): s for s in series}
    found: list[SplitFound] = []
    for test in dict.fromkeys(t for r in reeds for t in r.facts.splits):
        if test not in by_code:
            continue
        made = [(i, r.facts.splits[test]) for i, r in enumerate(reeds) if test in r.facts.splits]
        values = np.array([by_code[test].values[i] for i, _ in made])
        changed = np.array([c for _, c in made])
        usual = values[~changed & np.isfinite(values)]
        before = float(usual.mean()) if len(usual) else math.nan
        if before and math.isfinite(before):
            result = evaluate_split(values, changed, before=before, rng=rng)
            found.append(SplitFound(test, before, result))
    return found


def _tracked(
    reeds: Sequence[BatchReed], grades: Sequence[int | None], batches: Mapping[str, str]
) -> tuple[tuple[Tracked, ...], str]:
    codes = dict.fromkeys(c for r in reeds for c in r.facts.steps)
    steps = {c: [_number(r.facts.steps.get(c)) for r in reeds] for c in codes}
    try:
        found = tracking(steps, grades, [batches.get(str(r.uuid), "") for r in reeds])
    except MissingExtra:
        return (), "study"
    return found, "done" if found else "few"
