"""The next cut: at most three things to do, leaving it and resting it, with what to expect of each.

Codes and numbers only; the sentences are in ``sentences.toml``.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import OutsideModel
from crowlight.judge.findings import Findings, Known, catalogue
from crowlight.judge.findings.stops import Stop
from crowlight.plan.cut.chance import USUAL_LIMITS, Chance, Limits
from crowlight.plan.cut.correcting import Correcting
from crowlight.plan.cut.expecting import Expected, expected_of, points
from crowlight.plan.cut.now import ReedNow
from crowlight.plan.cut.options import (
    LEAVE,
    REST,
    Act,
    acts,
    amounts,
    larger_amounts,
    supported,
    without_knife,
)
from crowlight.plan.cut.rules import Barred, clip_is_due, forbidden
from crowlight.plan.cut.said import Said, after_checks, listen_for, stop_when
from crowlight.plan.cut.shapes import Earlier
from crowlight.plan.cut.strokes import USUAL, StrokeSize
from crowlight.plan.cut.target import Source, Target
from crowlight.plan.cut.weigh import Harm, Scales, Tried
from crowlight.reed import Blade

__all__ = [
    "AFTER",
    "MOST",
    "CaneLeft",
    "Option",
    "Plan",
    "named_of",
    "next_cut",
    "resting",
]

Real = NDArray[np.float64]
Solve = Callable[[Real, float, float], Mapping[str, float]]

#: At most so many things to do are named.
MOST = 3
#: Weighing (our choice, in tolerances): what a sure finding adds to its remedy, what sure harm
#: costs, and each step up the ladder of what is hard to undo.
_CREDIT, _HARM, _STEP = 0.5, 3.0, 0.02
#: Without a finding, a cut must promise so much, so surely; or be the first step of a way, the same
#: cut a few times over, that promises more.
_UNASKED, _SURE = 0.1, 0.75
_WAY, _STEPS = 0.3, (2, 3, 4)
#: Remedies that do nothing for this reed: named after what does.
AFTER = frozenset({"next-batch", "copy", "retire"})
#: Another stroke must promise at least so much more.
_MORE = 0.01
#: From how many tolerances off an opening is shaped, found wrong or not (our choice).
_OFF = 1.2


@dataclass(frozen=True, slots=True)
class CaneLeft:
    """Cane above the floor of a zone after an act: 95 % sure [m], and in light strokes."""

    zone: str
    blade: Blade
    least: float
    strokes: int


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that may be done next.

    Parameters
    ----------
    act : Act
        What, where and how much.
    cane : tuple of float
        Cane taken off where it is most: 5, 50 and 95 % points [m]; zeros without a scrape.
    expected : tuple of Expected
        Change of opening, closing pressure, stiffness, flexibility and balance. Empty where nobody
        can say.
    gain : float
        How much closer to the target it is expected to bring the reed, in tolerances.
    better : float
        Probability that it comes closer at all.
    worth : float
        What the order goes by: gain, belief in the findings it answers, harm, ease of undoing.
    harm : Harm
        Probability of lasting harm, by what.
    harm_basis : tuple of str
        Where that comes from.
    listen_for, stop_when : tuple of Said
        Codes with numbers.
    after_check : tuple of str
        Codes of the checks after it.
    cane_left : tuple of CaneLeft
        After it, 95 % sure on the map and the strokes.
    cautions : tuple of str
        Codes of the catalogue of findings.
    """

    act: Act
    cane: tuple[float, float, float]
    expected: tuple[Expected, ...]
    gain: float
    better: float
    worth: float
    harm: Harm
    harm_basis: tuple[str, ...]
    listen_for: tuple[Said, ...]
    stop_when: tuple[Said, ...]
    after_check: tuple[str, ...]
    cane_left: tuple[CaneLeft, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What may be done next with a reed.

    Parameters
    ----------
    options : tuple of Option
        At most three things to do, then leaving it, then resting it.
    advised : int
        Which of them is advised.
    source : str
        Where the target comes from.
    distance : tuple of float
        How far the reed is from the target: 5, 50, 95 % points, in tolerances summed.
    named : tuple of str
        Supported findings, in order.
    barred : tuple of Barred
        What answers a finding but may not be done, and why.
    stops : tuple of Stop
        What is forbidden now, from the findings.
    notes : tuple of str
        Codes: ``cannot-tell-apart`` (the first two cuts promise alike), ``style-only`` (nothing is
        known of what this player wants), ``no-finding``, ``gauge-due``, ``measure-first`` (there is
        no thickness map, see `next_act`).
    """

    options: tuple[Option, ...]
    advised: int
    source: Source
    distance: tuple[float, float, float]
    named: tuple[str, ...]
    barred: tuple[Barred, ...]
    stops: tuple[Stop, ...]
    notes: tuple[str, ...]


def next_cut(
    reed: ReedNow,
    target: Target,
    findings: Findings,
    known: Known,
    chance: Chance,
    *,
    strokes: StrokeSize = USUAL,
    limits: Limits = USUAL_LIMITS,
    knife: bool = True,
    rough: bool = False,
    done: Collection[str] = (),
    gauge: bool = False,
    earlier: Sequence[Earlier] = (),
    solve: Solve | None = None,
    report: Callable[[float], None] | None = None,
    correcting: Correcting | None = None,
) -> Plan:
    """Plan the next cut, or none.

    Parameters
    ----------
    reed : ReedNow
        The reed.
    target : Target
        What to come close to.
    findings : Findings
        What may be wrong with it, and what forbids what.
    known : Known
        What the findings were ranked from.
    chance : Chance
        Common random numbers, from `draw_chance`.
    strokes : StrokeSize
        Cane per light stroke of this maker.
    limits : Limits
        What may be risked.
    knife : bool
        Whether whoever has the reed can use a knife.
    rough : bool
        Whether the reed is still rough.
    done : collection of str
        Remedies already tried since something else changed, ``"rest"`` among them.
    gauge : bool
        Whether a reading could change what is advised; the gauge is then due, else with every
        third cut.
    earlier : sequence of Earlier
        Cuts made since the reed came: what spilled beside them adds up.
    solve : callable, optional
        ``solve(shape, cane, clip)`` solves the reed after a cut and returns the change of its
        outputs, see `solve_after`; asked for the best few only, at their middle amounts.
    report : callable, optional
        Called with the share done; may raise `Cancelled`.
    correcting : Correcting, optional
        What the maker's own cuts put right, in what is told and in the choice.

    Returns
    -------
    Plan
        Always with leaving and resting among the options.

    Notes
    -----
    Every cut is one zone. Amounts are tried from the least; none whose probability of crossing a
    floor or the shortest length is above `limits` is offered. What can be undone comes first. A
    cut that no finding asks for is offered only against a target better than a style, and only if
    it is likely to help. The style alone is no reason to cut.
    """
    tell = report or (lambda _: None)
    scales = Scales(reed, target, strokes, chance, limits, earlier=earlier, correcting=correcting)
    barred: dict[Barred, None] = {}
    cuts: dict[tuple[object, ...], tuple[Tried, float]] = {}
    every = acts(reed, findings, rough=rough)
    for i, act in enumerate(every):
        tell(0.8 * i / len(every))
        found = _best_amount(act, scales, findings, known, knife=knife, rough=rough)
        if isinstance(found, Barred):
            if act.answers:
                barred[found] = None
        elif found is not None:
            side = act.part.value.split("-")[0] if act.part.lopsided else ""
            key = (act.code, act.blades, side)
            worth = _worth(found)
            if key not in cuts or worth > cuts[key][1]:
                cuts[key] = (found, worth)
    if any(c.act.answers for c, _ in cuts.values()):
        # what is found wrong comes first; what else might help waits until that is done
        cuts = {key: c for key, c in cuts.items() if c[0].act.answers}
    order = sorted(cuts.values(), key=lambda c: (-round(c[1], 9), c[0].act.step, c[0].act.code))
    history = known.history
    measured = history.crow_lost != "yes" and not history.cuts_since_measured
    gentle = [
        a
        for a in without_knife(findings, done, knife=knife, measured=measured)
        if forbidden(a, findings.stops, knife=True) is None
    ]
    gentle = (*_shaping(scales, done, [a.code for a in gentle], findings), *gentle)
    first = [scales.try_out(a) for a in gentle if a.code not in AFTER]
    last = [scales.try_out(a) for a in gentle if a.code in AFTER]
    room = MOST - 1 if order else MOST
    chosen = first[:room]
    chosen += [c for c, _ in order][: MOST - len(chosen)]
    chosen += last[: MOST - len(chosen)]
    if solve is not None:
        chosen = [_solved(c, scales, solve) for c in chosen]
    tell(0.95)
    tries = [*chosen, scales.try_out(LEAVE), scales.try_out(REST)]
    due = gauge or (known.history.cuts_since_measured or 0) + 1 >= 3
    options = tuple(
        _option(t, scales, strokes, gauge_due=due, correcting=correcting) for t in tries
    )
    named = named_of(findings)
    notes = {
        "cannot-tell-apart": _alike([c for c, _ in order]),
        "style-only": target.source == "style",
        "no-finding": not named,
        "gauge-due": due,
    }
    tell(1.0)
    return Plan(
        options=options,
        advised=_advised(tries, findings, done),
        source=target.source,
        distance=points(scales.distances),
        named=named,
        # what is offered elsewhere on the reed is not also said to be barred
        barred=tuple(b for b in barred if b.code not in {t.act.code for t in tries}),
        stops=findings.stops,
        notes=tuple(code for code, holds in notes.items() if holds),
    )


def _shaping(
    scales: Scales, done: Collection[str], named: Collection[str], findings: Findings
) -> tuple[Act, ...]:
    """Return how the opening may be shaped without a knife, where it is clearly not what is wanted.

    Against a target better than a style; the cane gives way and may go back overnight.
    """
    reed, goals = scales.reed, {g.name: g for g in scales.target.goals}
    goal = goals.get("rest_height")
    if goal is None or scales.target.source == "style" or "rest_height" not in reed.names:
        return ()
    off = (reed.values[reed.names.index("rest_height")] - goal.value) / goal.tolerance
    if abs(off) < _OFF:
        return ()
    codes = ("mandrel", "squeeze-sides") if off < 0 else ("squeeze-flat",)
    found = (Act("act", code) for code in codes if code not in done and code not in named)
    return tuple(a for a in found if forbidden(a, findings.stops, knife=True) is None)


def _best_amount(
    act: Act, scales: Scales, findings: Findings, known: Known, *, knife: bool, rough: bool
) -> Tried | Barred | None:
    """Return a cut by its best allowed amount, or why it is not offered."""
    asked = bool(act.answers)
    if not asked and scales.target.source == "style":
        return None
    why = forbidden(act, findings.stops, knife=knife)
    if why is not None:
        return why
    # two of the smallest clips would surely leave it longer than the loved one
    long = act.kind == "clip" and scales.target.source == "loved reed" and scales.surely_short(act)
    if act.kind == "clip" and not long and not clip_is_due(act, findings, known):
        return Barred(act.code, "clip-not-due")
    if scales.thicker(act) < scales.limits.sure:
        return Barred(act.code, "not-surely-thicker")
    best: Tried | None = None
    more = larger_amounts(act, rough=rough)
    for amount in (*amounts(act, rough=rough), *more):
        sized = act.with_amount(amount)
        if amount in more and not scales.surely_short(sized):
            break
        tried = scales.try_out(sized)
        if tried.harm.crossing > (scales.limits.harm if asked else scales.limits.unasked):
            break  # more only crosses more
        if best is None or _worth(tried) > _worth(best) + _MORE:
            best = tried
    if best is None:
        return Barred(act.code, "too-short" if act.kind == "clip" else "floor")
    if _net(best) > 0.0 and (asked or _promising(best, scales)):
        return best
    return Barred(act.code, "no-gain")


def _promising(tried: Tried, scales: Scales) -> bool:
    """Whether a cut that no finding asks for is worth making all the same."""
    if tried.better < _SURE:
        return False
    if tried.expected >= _UNASKED:
        return True
    if tried.act.kind != "scrape":
        return False
    strokes = tried.act.strokes
    way = (scales.try_out(tried.act.with_amount(n * strokes)).expected for n in _STEPS)
    return tried.expected > 0.0 and max(way) >= _WAY


def _net(tried: Tried) -> float:
    """Return what a cut is worth against leaving the reed as it is."""
    return tried.expected + _CREDIT * tried.act.belief - _HARM * tried.harm.total


def _worth(tried: Tried) -> float:
    """Return what the order goes by: of two alike, the one more easily undone."""
    return _net(tried) - _STEP * (tried.act.step if tried.act.cuts else 0)


def _solved(tried: Tried, scales: Scales, solve: Solve) -> Tried:
    if not tried.act.cuts:
        return tried
    _, _, cane, clip = scales.amount(tried.act)
    shape = np.zeros(scales.reed.mean.shape) if tried.act.shape is None else tried.act.shape
    try:
        return scales.try_out(tried.act, solve(shape, cane, clip))
    except OutsideModel:
        return tried  # no answer there: the lines stand, with their doubt


def _alike(order: list[Tried]) -> bool:
    """Whether the draws cannot tell the first two cuts apart."""
    if len(order) < 2:
        return False
    return 0.25 < float((order[0].gain > order[1].gain).mean()) < 0.75


def named_of(findings: Findings) -> tuple[str, ...]:
    """Return the supported findings, each once, in their order."""
    return tuple(dict.fromkeys(r.finding.code for r in supported(findings)))


def resting(findings: Findings, done: Collection[str]) -> bool:
    """Whether a supported finding asks for a rest that was not tried."""
    return "rest" not in done and any("rest" in r.remedies for r in supported(findings))


def _advised(tries: list[Tried], findings: Findings, done: Collection[str]) -> int:
    """Return what is advised: what can be undone first, then the best cut, else leave it."""
    leave, rest = len(tries) - 2, len(tries) - 1
    if tries[0].act.kind == "act" and tries[0].act.code not in AFTER:
        return 0
    if resting(findings, done):
        return rest
    if tries[0].act.cuts and tries[0].better >= 0.5:
        return 0
    return 0 if tries[0].act.kind == "act" else leave


def _option(
    tried: Tried,
    scales: Scales,
    strokes: StrokeSize,
    *,
    gauge_due: bool,
    correcting: Correcting | None,
) -> Option:
    act = tried.act
    cane, _, _, _ = scales.amount(act)
    remedy = act.remedy
    found = catalogue().findings
    named = [caution for code in act.answers for caution in found[code].cautions]
    expected = expected_of(tried, scales, strokes)
    return Option(
        act=act,
        cane=points(cane),
        expected=correcting.expected(act, expected) if correcting else expected,
        gain=tried.expected,
        better=tried.better,
        worth=_worth(tried),
        harm=tried.harm,
        harm_basis=("your data", "common practice") if act.cuts else ("common practice",),
        listen_for=listen_for(act),
        stop_when=stop_when(act, scales.reed.style),
        after_check=after_checks(act, gauge_due=gauge_due),
        cane_left=tuple(
            CaneLeft(zone, blade, least, max(int(least // strokes.median), 0))
            for (zone, blade), least in scales.cane_left(act).items()
        ),
        cautions=tuple(dict.fromkeys((*(remedy.cautions if remedy else ()), *named))),
    )
