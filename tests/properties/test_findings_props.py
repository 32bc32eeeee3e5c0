"""What must hold for every reed, however it was measured."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crowlight.judge.findings import (
    Agreement,
    BladeKnown,
    Climate,
    Crow,
    Findings,
    Geometry,
    History,
    Known,
    Measured,
    Model,
    Playing,
    SideKnown,
    Support,
    Trials,
    Where,
    as_data,
    catalogue,
    rank,
)
from crowlight.judge.findings.finding import Catalogue, Item
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.odds import TEMPER, combined, graded_information, graded_weight
from crowlight.judge.findings.rank import _cases, support
from crowlight.judge.findings.signs import LOOKS, WORDS
from crowlight.judge.findings.weigh import Case, Looked, Witnesses

ORDER = list(Support)


def measured(scale: float) -> st.SearchStrategy[Measured | None]:
    """Draw a value of that order, or none."""
    value = st.floats(-3, 3).map(lambda x: round(x, 3) * scale)
    u = st.floats(0.05, 1).map(lambda x: round(x, 3) * scale)
    return st.one_of(st.none(), st.builds(Measured, value, u))


THIN = measured(0.03e-3)
LONG = measured(1e-3)
RATIO = measured(0.3)
CENT = measured(25.0)
YES = st.sampled_from([None, "yes", "no", "unsure"])


def mapping(*names: str) -> st.SearchStrategy[dict[str, Measured]]:
    value = st.builds(Measured, st.floats(-0.05e-3, 0.05e-3), st.floats(0.003e-3, 0.02e-3))
    return st.dictionaries(st.sampled_from(names), value, max_size=2)


sides = st.builds(
    SideKnown,
    tip=THIN,
    corner=THIN,
    heart=THIN,
    window=THIN,
    rail=THIN,
    tip_slope=THIN,
    transition=LONG,
    steepness=measured(0.08),
)
blades = st.builds(
    BladeKnown,
    left=sides,
    right=sides,
    tip=THIN,
    heart=THIN,
    spine=THIN,
    gouge=THIN,
    heart_length=LONG,
    lump=THIN,
    sides=mapping("corner", "tip", "heart"),
)
geometries = st.builds(
    Geometry,
    marked=blades,
    plain=blades,
    blades=mapping("heart", "gouge"),
    length=LONG,
    tip_length=LONG,
    tip_width=measured(0.2e-3),
    opening=measured(0.2e-3),
    opening_lopsided=measured(0.1e-3),
    clipping_room=LONG,
    diameter=LONG,
    hardness=measured(1.0),
    tie_beyond=LONG,
    overlap=measured(0.3e-3),
    at_floor=st.frozensets(st.sampled_from(["tip", "heart", "rails"])),
)


def time(longest: float) -> st.SearchStrategy[float | None]:
    return st.one_of(st.none(), st.floats(0, longest).map(round))


@st.composite
def crows(draw: st.DrawFn) -> Crow:
    classes: dict[str, float] = {}
    if draw(st.booleans()):
        a, b = sorted(draw(st.tuples(st.floats(0, 1), st.floats(0, 1))))
        classes = {"clean": a, "mixed": b - a, "rattling": 1 - b}
    return Crow(
        **classes,
        speaks=draw(YES),
        first=draw(st.sampled_from([None, "high", "low", "both", "rattle"])),
        cents=draw(CENT),
        peep_cents=draw(CENT),
        played_cents=draw(CENT),
        pitched_share=draw(RATIO),
        low_octave=draw(measured(5.0)),
        unsteadiness=draw(CENT),
        threshold=draw(RATIO),
    )


knowns = st.builds(
    Known,
    geometry=geometries,
    model=st.builds(Model, closing_pressure=RATIO, separation=RATIO, unevenness=RATIO),
    crow=crows(),
    playing=st.builds(
        Playing,
        low_soft_attack=YES,
        slurred_octaves=YES,
        high_notes_hold=YES,
        sags_when_lip_loosens=YES,
        tongues_cleanly=YES,
        soft_to_loud=YES,
        words=st.frozensets(st.sampled_from(sorted(WORDS)), max_size=3),
    ),
    trials=st.builds(
        Trials,
        leaks=YES,
        bubbles=st.sampled_from([None, "side", "thread", "cork", "none"]),
        look=st.frozensets(st.sampled_from(LOOKS), max_size=2),
        looked=st.booleans(),
        control_reed=st.sampled_from([None, "fine", "fails"]),
        other_instrument=st.sampled_from([None, "fine", "fails"]),
        pinched_sides=st.sampled_from([None, "better", "same"]),
        batch_alike=st.sampled_from([None, (0, 4), (5, 6), (8, 8)]),
    ),
    climate=st.builds(
        Climate,
        altitude_home=st.sampled_from([None, 0.0, 1500.0]),
        altitude_now=st.sampled_from([None, 50.0, 2100.0]),
        temperature_now=st.sampled_from([None, 285.0, 295.0]),
    ),
    history=st.builds(
        History,
        played=time(1e5),
        since_tied=time(1e6),
        soaked=time(1500),
        clips=st.sampled_from([None, 0, 2, 4]),
        crow_lost=YES,
        last_cut=st.sampled_from([None, "better", "worse"]),
    ),
    agreement=st.builds(Agreement, concert_in=st.sampled_from([None, 3600.0, 1e6])),
)


def outcome(found: Findings, turn: Callable[[Where, str], Where]) -> dict[tuple[str, Where], Any]:
    """Return what is said of each finding, by where it would lie after a turn."""
    return {
        (r.finding.code, turn(r.where, r.finding.places)): (
            r.support,
            round(r.log_odds, 9),
            round(r.low, 9),
            round(r.high, 9),
            r.remedies,
            sorted((w.code, round(w.weight, 9)) for w in (*r.for_, *r.against)),
        )
        for r in found.ranked
    }


def stay(where: Where, places: str) -> Where:
    return where


def negative(value: Measured | None) -> Measured | None:
    return None if value is None else Measured(-value.value, value.uncertainty)


def negatives(of: Any) -> dict[str, Measured]:
    return {k: Measured(-v.value, v.uncertainty) for k, v in of.items()}


def mirrored(known: Known) -> Known:
    """Return the reed as its mirror image: left and right as seen change places."""

    def turn(blade: BladeKnown) -> BladeKnown:
        return replace(blade, left=blade.right, right=blade.left, sides=negatives(blade.sides))

    g = known.geometry
    return replace(
        known,
        geometry=replace(
            g,
            marked=turn(g.marked),
            plain=turn(g.plain),
            opening_lopsided=negative(g.opening_lopsided),
        ),
    )


def exchanged(known: Known) -> Known:
    """Return the same reed with the mark on the other blade."""
    g = known.geometry
    return replace(
        known,
        geometry=replace(
            g,
            marked=g.plain,
            plain=g.marked,
            blades=negatives(g.blades),
            opening_lopsided=negative(g.opening_lopsided),
        ),
        model=replace(known.model, unevenness=negative(known.model.unevenness)),
    )


def swap_blades(where: Where, places: str) -> Where:
    # an edge is named by its side on the marked blade, which is now the other one
    return where.mirrored() if places == "edge" else where.exchanged()


@settings(max_examples=60)
@given(knowns)
def test_a_mirrored_reed_has_mirrored_findings(known: Known) -> None:
    there = outcome(rank(known), lambda where, _: where.mirrored())
    assert outcome(rank(mirrored(known)), stay) == there


@settings(max_examples=60)
@given(knowns)
def test_findings_follow_the_blades_when_the_mark_is_on_the_other(known: Known) -> None:
    assert outcome(rank(exchanged(known)), stay) == outcome(rank(known), swap_blades)


def filled(value: Any, rng: random.Random) -> Any:
    """Put something that says nothing wherever nothing is known."""
    if is_dataclass(value) and not isinstance(value, (type, Measured)):
        changed = {f.name: filled_field(value, f.name, rng) for f in fields(value)}
        return replace(value, **changed)
    return value


ANSWERS = {f.name for c in (Playing,) for f in fields(c)} - {"words"}
ANSWERS |= {"speaks", "leaks", "crow_lost", "changed_together"}
PLAIN = {"clean", "mixed", "rattling", "first", "bubbles"}


def filled_field(owner: Any, name: str, rng: random.Random) -> Any:
    value = getattr(owner, name)
    if value is not None:
        return filled(value, rng)
    if name in ANSWERS:
        return "unsure"
    if isinstance(owner, (Geometry, BladeKnown, SideKnown, Model)) or (
        isinstance(owner, Crow) and name not in PLAIN
    ):
        return Measured(rng.uniform(-1, 1), math.inf)
    return None


@settings(max_examples=60)
@given(knowns, st.randoms(use_true_random=False))
def test_what_says_nothing_changes_nothing(known: Known, rng: random.Random) -> None:
    more = filled(known, rng)
    assert more != known
    assert as_data(rank(more)) == as_data(rank(known))


def shuffled(of: Catalogue, rng: random.Random) -> Catalogue:
    def mixed(values: Any) -> list[Any]:
        values = list(values)
        rng.shuffle(values)
        return values

    findings = {
        f.code: replace(f, evidence=tuple(mixed(f.evidence))) for f in mixed(of.findings.values())
    }
    return replace(of, findings=findings, checks={c.code: c for c in mixed(of.checks.values())})


@settings(max_examples=25)
@given(knowns, st.randoms(use_true_random=False))
def test_the_order_of_evidence_does_not_matter(known: Known, rng: random.Random) -> None:
    there, again = rank(known), rank(known, of=shuffled(catalogue(), rng))
    assert outcome(again, stay) == outcome(there, stay)
    assert [(r.finding.code, r.where) for r in again.ranked] == [
        (r.finding.code, r.where) for r in there.ranked
    ]
    assert (again.answer, again.stops) == (there.answer, there.stops)
    assert [n.code for n in again.next] == [n.code for n in there.next]


class Told(Witnesses):
    """Answers from a table."""

    def __init__(self, answers: dict[str, Looked]) -> None:
        super().__init__(Known())
        self._answers = answers

    def ask(self, item: Item, where: Where) -> Looked | None:
        return self._answers.get(item.code)


def some_answer(item: Item, draw: st.DrawFn) -> Looked:
    if item.kind == "measure":
        centre = MEASURES[item.code].centre * MEASURES[item.code].scale
        z = draw(st.floats(-3, 3))
        return Looked(measured=Measured(centre + z * abs(item.shift), 0.3 * abs(item.shift)))
    if item.kind == "sign":
        return Looked(q=draw(st.floats(0.02, 0.98)))
    of = draw(st.integers(1, 8))
    return Looked(count=(draw(st.integers(0, of)), of))


def stronger(item: Item, looked: Looked, by: float) -> Looked:
    """Return the same answer, further in the finding's direction."""
    if looked.measured is not None:
        m = looked.measured
        return Looked(measured=Measured(m.value + by * item.shift, m.uncertainty))
    if looked.q is not None:
        way = 1.0 if item.if_so > item.otherwise else 0.0
        return Looked(q=looked.q + min(by, 1.0) * (way - looked.q))
    seen, of = looked.count or (0, 1)
    return Looked(count=(min(of, seen + 1), of))


@settings(max_examples=200)
@given(st.data())
def test_support_never_falls_when_evidence_for_grows(data: st.DataObject) -> None:
    case = data.draw(st.sampled_from(_cases()))
    answers: dict[str, Looked] = {}
    for item in case.finding.evidence:
        if data.draw(st.booleans()):
            answers[item.code] = data.draw(
                st.composite(lambda draw, item=item: some_answer(item, draw))()
            )
    chosen = data.draw(st.sampled_from(case.finding.evidence))
    answers.setdefault(
        chosen.code, data.draw(st.composite(lambda draw: some_answer(chosen, draw))())
    )
    before = case.weigh(Told(answers))
    by = data.draw(st.floats(0, 2))
    after = case.weigh(Told({**answers, chosen.code: stronger(chosen, answers[chosen.code], by)}))
    tiny = 1e-9
    assert after.log_odds >= before.log_odds - tiny
    assert after.low >= before.low - tiny
    assert after.high >= before.high - tiny
    if after.log_odds > before.log_odds + tiny:
        assert ORDER.index(support(after)) >= ORDER.index(support(before))


@settings(max_examples=100)
@given(st.data())
def test_not_knowing_widens_and_does_not_count_against(data: st.DataObject) -> None:
    case = data.draw(st.sampled_from([c for c in _cases() if _answerable(c)]))
    nothing = case.weigh(Told({}))
    assert nothing.log_odds == pytest.approx(nothing.prior)
    item = data.draw(st.sampled_from(_answerable(case)))
    # an answer half way between for and against counts for nothing, but it is an answer
    neutral = Looked(q=0.5)
    if item.kind == "measure":
        centre = MEASURES[item.code].centre * MEASURES[item.code].scale
        neutral = Looked(measured=Measured(centre + item.shift / 2, abs(item.shift) / 4))
    one = case.weigh(Told({item.code: neutral}))
    assert one.log_odds == pytest.approx(nothing.log_odds)
    assert one.high - one.low < nothing.high - nothing.low


def _answerable(case: Case) -> list[Item]:
    return [item for item in case.finding.evidence if item.kind != "count"]


weights = st.lists(st.floats(-5, 5), max_size=6)


@given(weights, st.floats(-5, 5), st.floats(0, 3))
def test_a_family_rises_with_each_of_its_items(others: list[float], w: float, by: float) -> None:
    assert combined([*others, w + by]) >= combined([*others, w]) - 1e-12
    assert combined([*others, 0.0]) == pytest.approx(combined(others), abs=1e-12)


@given(st.floats(0.01, 5), st.integers(1, 6))
def test_the_same_thing_said_often_counts_little_more(w: float, n: int) -> None:
    assert combined([w] * n) == pytest.approx(w * (1 + TEMPER * (n - 1)))


@given(st.floats(-3, 3), st.floats(0.01, 2), st.floats(0.01, 2), st.floats(0.05, 1))
def test_less_certain_measurements_weigh_less(
    value: float, u: float, more: float, spread: float
) -> None:
    for shift in (-1.0, 1.0):
        sharp = graded_weight(value, u, shift, spread, 1e3)
        dull = graded_weight(value, u + more, shift, spread, 1e3)
        assert abs(dull) <= abs(sharp) + 1e-12
        assert sharp * dull >= 0.0


@given(st.floats(0.001, 0.999), st.floats(0, 7), st.floats(0, 1))
def test_information_is_never_negative_and_grows_with_distance(
    p: float, distance: float, more: float
) -> None:
    near = float(graded_information(p, distance))
    far = float(graded_information(p, distance + more))
    assert 0.0 <= near <= far + 2e-3
    assert far <= 1.0 + 1e-9
