"""From a log to findings and a plan: invented cases of common practice, end to end without blades.

Each case is what a maker would have written down; the reasoning stands with it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

import pytest
from tests.kept_entries import later, log, named

from crowlight.bench.advice_kinds import AfterCheck, Trials, Wish
from crowlight.bench.climate_known import pressure_altitude
from crowlight.bench.crow_known import crow_known
from crowlight.bench.extras import extras_of
from crowlight.bench.kinds import (
    Climate,
    Clip,
    Cut,
    Described,
    Lengths,
    Opening,
    PlayingTest,
    Rest,
    Verdict,
    Wetting,
)
from crowlight.bench.known import asked_again, known_of
from crowlight.bench.shape import merged
from crowlight.bench.state import state_of
from crowlight.bench.workshop_kinds import Consent, Intake, Played
from crowlight.judge.findings import Crow, Findings, Geometry, Known, Measured, rank
from crowlight.plan.cut import Plan, next_act
from crowlight.reed.styles import style

DAY = 24 * 60.0


@dataclass(frozen=True)
class Case:
    """A log, and what must come of it."""

    lines: tuple
    first: str
    reason: str
    stops: frozenset[str] = frozenset()
    offered: tuple[str, ...] = ()
    among: tuple[str, ...] = ()
    asked: str = ""
    at: datetime = field(default_factory=lambda: later(days=3))
    crow: Crow = field(default_factory=Crow)


def judged(case: Case) -> tuple[Known, Findings, Plan]:
    state = state_of(log(*case.lines))
    laid = (
        style(state.described.style).placed(state.length or 0.07) if state.described.style else None
    )
    known = known_of(state, at=case.at, crow=case.crow)
    known = replace(known, geometry=merged(known.geometry, extras_of(state, laid)))
    findings = rank(known)
    return known, findings, next_act(findings)


CASES = {
    "low notes dead on three good reeds": Case(
        lines=(
            (0, Verdict(words="Low notes dead on three good reeds.")),
            (5, Trials(control_reed="fails", other_instrument="fine")),
        ),
        first="oboe-leaks",
        reason="Reeds do not fail together; the oboe leaks. Touch no reed.",
        stops=frozenset({"not-the-reed"}),
        offered=("compare",),
    ),
    "a hissing blank": Case(
        lines=(
            (0, Described(style="long", overlap=0.5e-3)),
            (1, Trials(leaks="yes", bubbles="side", looked=True)),
        ),
        first="side-leak",
        reason="Bubbles at the sides above the thread: seal a finished reed, tie a blank anew.",
        offered=("seal",),
    ),
    "perfect crow, poor octaves": Case(
        lines=(
            (0, PlayingTest(slurred_octaves="no", low_soft_attack="yes")),
            (3, Trials(other_instrument="fine", control_reed="fine", crow_speaks="yes")),
        ),
        first="fit-of-the-staple",
        reason="It crows and plays well in the other oboe: cork and seat, not the knife.",
        crow=Crow(clean=0.9, mixed=0.08, rattling=0.02),
        stops=frozenset({"not-the-reed"}),
        offered=("compare", "fit"),
    ),
    "swollen overnight": Case(
        lines=(
            (0, Wetting(how="soaked", duration=20 * 60.0)),
            (1, Verdict(words="Stuffy, and tonguing is slow to speak.")),
        ),
        first="water-logged",
        reason="Twenty minutes of soaking swell a tip; never cut wet-swollen cane.",
        at=later(minutes=30),
        stops=frozenset({"not-now"}),
        offered=("dry",),
    ),
    "concert tomorrow": Case(
        lines=(
            (0, Verdict(words="A little stuffy, but stable.")),
            (1, Trials(looked=True, look=("film",))),
            (2, Wish(concert_in=20 * 3600.0)),
        ),
        first="dirty",
        reason="Within a day only what can be undone: clean, soak, leave it.",
        at=later(hours=1),
        stops=frozenset({"concert-soon"}),
        offered=("clean",),
    ),
    "an old favourite": Case(
        lines=(
            (0, Played(duration=28 * 3600.0)),
            (1, Trials(looked=True, look=("film",))),
            (2, Verdict(words="It sags; it used to be my best.")),
            (3, PlayingTest(sags_when_lip_loosens="yes")),
        ),
        first="worn",
        reason="28 hours and a film: clean it, expect days, copy its measures.",
        offered=("clean", "copy"),
    ),
    "a cracked rail in dry air": Case(
        lines=(
            (0, Climate(humidity=0.55)),
            (DAY, Climate(humidity=0.18)),
            (DAY + 1, Trials(looked=True, look=("crack-scrape",), leaks="no")),
        ),
        first="drier-air",
        among=("crack-in-scrape",),
        reason="A knife would open the crack; damper air, and a record of how it dried.",
        stops=frozenset({"crack-in-scrape"}),
    ),
    "flat, says the player": Case(
        lines=((0, Verdict(words="It plays flat.")),),
        first="",
        reason="The recording lies above the A: ask which A, how cold, how loose; cut nothing.",
        crow=crow_known(
            notes=(
                {
                    "usable": True,
                    "reference_given": True,
                    "notes": [{"pitch_cents": c} for c in (18.0, 20.0, 16.0)],
                },
            )
        ),
        stops=frozenset({"disagreement"}),
        asked="flat-or-sharp",
    ),
    "better after scrape and night": Case(
        lines=(
            (0, Cut(zone="heart", blades=("marked", "plain"), strokes=2)),
            (10, Rest(duration=7 * 24 * 3600.0)),
            (7 * DAY, AfterCheck(follows=named(2), result="better")),
        ),
        first="cannot-credit",
        reason="It was cut and it rested: which of them helped cannot be told from it.",
        at=later(days=8),
        stops=frozenset({"not-the-reed"}),
    ),
    "mailed to a high place": Case(
        lines=(
            (0, Climate(pressure=100_800.0, humidity=0.55)),
            (3 * DAY, Climate(pressure=78_500.0, humidity=0.50)),
            (3 * DAY + 10, Opening(height=0.35e-3)),
            (3 * DAY + 20, Verdict(words="Hard, and closed.")),
        ),
        first="higher-place",
        reason="Thinner air raises the threshold and it closed on the way: settle, open, no knife.",
        at=later(days=3, hours=2),
        stops=frozenset({"not-the-reed"}),
        offered=("acclimatise",),
    ),
    "clipped thrice": Case(
        lines=(
            (0, Described(style="long")),
            (1, Lengths(overall=69.2e-3, overall_uncertainty=0.1e-3, thread_top=47e-3)),
            *((m, Clip(amount=0.3e-3, against="stop")) for m in (5.0, 9.0, 14.0)),
            (20, Verdict(words="Sharp and bright.")),
        ),
        first="too-short",
        reason="Past the stop: nothing brings length back; retire it, balance first next time.",
        stops=frozenset({"no-more-clips"}),
        offered=("retire",),
    ),
    "somebody else's reed": Case(
        lines=(
            (0, Intake(complaint="Low soft attacks are late; it is stuffy.", may_cut="ask")),
            (1, Trials(leaks="no", control_reed="fine")),
        ),
        first="",
        reason="Hygiene first, and nothing that lasts before the owner agrees.",
        stops=frozenset({"ask-owner"}),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_log_comes_to_what_common_practice_says(name: str) -> None:
    case = CASES[name]
    _, findings, plan = judged(case)
    supported = [r.finding.code for r in findings.ranked if r.support.value in ("fair", "strong")]
    if case.first:
        assert supported, case.reason
        assert supported[0] == case.first, case.reason
    assert set(case.among) <= set(supported), case.reason
    assert case.stops <= {s.code for s in findings.stops}, case.reason
    assert [q.code for q in findings.questions] == ([case.asked] if case.asked else [])
    offered = [o.act.code for o in plan.options]
    for code in case.offered:
        assert code in offered, (case.reason, offered)
    # no map: whatever is said, nothing takes cane, and leaving and resting are weighed
    assert not any(o.act.cuts for o in plan.options)
    assert offered[-2:] == ["leave", "rest"]


def test_nothing_at_all_is_known_and_measuring_comes_first() -> None:
    known = known_of(state_of(()), at=later())
    assert known == Known(history=known.history)
    plan = next_act(rank(known))
    assert [o.act.code for o in plan.options] == ["record", "leave", "rest"]
    assert plan.advised == 0
    assert plan.notes == ("measure-first", "no-finding")
    assert plan.source == "none"


# --- what holds until when ------------------------------------------------------------------------


def words_of(*lines: tuple) -> frozenset[str]:
    return known_of(state_of(log(*lines)), at=later(days=1)).playing.words


def test_words_hold_until_something_helped() -> None:
    said = (0, Verdict(words="It chirps."))
    cut = (5, Cut(zone="tip", blades=("marked",), part="left-corner", strokes=2))
    assert words_of(said, cut) == {"chirps"}
    same = AfterCheck(follows=named(2), result="same")
    assert words_of(said, cut, (6, same)) == {"chirps"}
    better = AfterCheck(follows=named(2), result="better")
    assert words_of(said, cut, (6, better)) == frozenset()
    assert asked_again(state_of(log(said, cut, (6, better))))
    assert words_of(said, cut, (6, better), (9, Verdict(words="Now it is stuffy."))) == {"stuffy"}
    # a new grade without words complains of nothing
    assert words_of(said, (9, Verdict(grade=5))) == frozenset()


def test_counts_begin_anew_with_a_measurement_and_with_a_gain() -> None:
    cut = Cut(zone="tip", blades=("marked",), strokes=2)
    lines = [(0.0, cut), (2.0, AfterCheck(follows=named(1), result="same"))]
    lines += [(4.0, cut), (6.0, AfterCheck(follows=named(3), result="worse"))]
    history = known_of(state_of(log(*lines)), at=later(hours=1)).history
    assert history.tests_without_gain == 2
    assert history.last_cut == "worse"
    assert history.cuts_since_measured is None  # it was never measured
    # the next day is another sitting
    assert known_of(state_of(log(*lines)), at=later(days=2)).history.tests_without_gain == 0
    lines.append((8.0, AfterCheck(follows=named(3), result="better")))
    assert known_of(state_of(log(*lines)), at=later(hours=1)).history.tests_without_gain == 0


def test_the_crow_that_went_with_a_cut_is_noticed() -> None:
    lines = (
        (0, Trials(crow_speaks="yes")),
        (5, Cut(zone="heart", blades=("plain",), strokes=3)),
        (6, Trials(crow_speaks="no")),
    )
    known = known_of(state_of(log(*lines)), at=later(hours=1))
    assert known.history.crow_lost == "yes"
    assert "crow-lost" in {s.code for s in rank(known).stops}


def test_consent_and_deadline_are_heeded() -> None:
    refused = (
        (0, Intake(may_cut="ask", deadline=later(days=1).date())),
        (9, Consent(to="cut", answer="no")),
    )
    agreement = known_of(state_of(log(*refused)), at=later(hours=2)).agreement
    assert agreement.others_reed
    assert agreement.may_cut == "no"
    assert agreement.concert_in == 32 * 3600.0  # the evening of the day after, 19 h
    given = (*refused, (20, Consent(to="cut", answer="yes")))
    assert known_of(state_of(log(*given)), at=later(hours=2)).agreement.may_cut == "yes"
    past = known_of(state_of(log((0, Wish(concert_in=3600.0)))), at=later(days=1)).agreement
    assert past.concert_in is None


def test_asking_again_within_minutes_asks_the_same() -> None:
    state = state_of(
        log((0, Cut(zone="tip", blades=("plain",), strokes=1)), (1, Wish(concert_in=9.3e4)))
    )
    one, two = (known_of(state, at=later(hours=3, minutes=m)) for m in (1, 9))
    assert one == two


def test_pressure_tells_the_altitude_as_the_standard_atmosphere_does() -> None:
    """ISO 2533:1975 / ICAO tables: 1000 m 898.7 hPa, 2000 m 795.0 hPa, 3000 m 701.1 hPa."""
    for height, hectopascals in ((1000.0, 898.746), (2000.0, 794.952), (3000.0, 701.085)):
        # geopotential heights; half a unit of the last printed digit is 0.005 m or less
        assert pressure_altitude(hectopascals * 100) == pytest.approx(height, abs=0.2)


# --- sounds ---------------------------------------------------------------------------------------


def swell(**more: object) -> dict:
    return {"usable": True, "pitch_cents_folded": -20.0, "steadiness_cents": 22.0, **more}


def test_a_recorded_crow_tells_class_pitch_wobble_and_order() -> None:
    start, joins, rattles = ({"time_s": t} for t in (1.0, 2.0, 1.1))
    heard = swell(
        class_probability={"clean": 0.2, "mixed": 0.3, "rattling": 0.5},
        swell={"first_octave": "upper", "start": start, "octave_joins": joins, "rattles": None},
    )
    crow = crow_known([heard])
    assert (crow.clean, crow.mixed, crow.rattling) == pytest.approx((0.2, 0.3, 0.5))
    assert crow.cents is not None
    assert crow.cents.value == -20.0
    assert crow.unsteadiness is not None
    assert crow.unsteadiness.value == pytest.approx(18.0)
    assert (crow.speaks, crow.first) == ("yes", "both")  # the lower octave joined later
    alone = {"first_octave": "upper", "start": start, "octave_joins": None, "rattles": None}
    assert crow_known([swell(swell=alone)]).first == "high"
    rough = {"first_octave": "lower", "start": start, "octave_joins": joins, "rattles": rattles}
    assert crow_known([swell(swell=rough)]).first == "rattle"
    assert crow_known([{"usable": False}]) == Crow()


def test_a_pitch_against_a_guessed_a_says_nothing() -> None:
    take = {"usable": True, "reference_given": False, "notes": [{"pitch_cents": 30.0}]}
    assert crow_known(notes=[take]).played_cents is None


# --- shape besides thickness ----------------------------------------------------------------------


def test_what_is_measured_besides_thickness_is_against_what_is_wanted() -> None:
    lines = (
        (0, Described(style="long", overlap=0.8e-3, cane={"diameter": 11.0e-3})),
        (1, Opening(height=0.45e-3, uncertainty=0.02e-3, profile=((-2e-3, 3e-4), (2e-3, 1e-4)))),
    )
    state = state_of(log(*lines))
    usual = extras_of(state, None)
    loved = extras_of(state, None, wanted=0.40e-3)
    assert usual.opening is not None
    assert loved.opening is not None
    assert usual.opening.value < 0 < loved.opening.value
    assert loved.opening.uncertainty < usual.opening.uncertainty  # tastes no longer count
    assert usual.opening_lopsided is not None
    assert usual.opening_lopsided.value == pytest.approx(2e-4)
    assert usual.diameter is not None
    assert usual.diameter.value == pytest.approx(1.0e-3)
    assert usual.overlap is not None
    assert usual.overlap.value == pytest.approx(0.5e-3)
    cut = extras_of(state_of(log(*lines, (5, Clip(amount=1e-4, against="stop")))), None)
    assert cut.opening is not None
    assert cut.opening.uncertainty > usual.opening.uncertainty  # the clip may have moved it
    assert cut.opening_lopsided is None


def test_what_the_map_tells_is_not_overwritten() -> None:
    mapped = Geometry(length=Measured(1e-3, 1e-5))
    both = merged(mapped, Geometry(length=Measured(5e-3, 1e-5), opening=Measured(0.0, 1e-5)))
    assert both.length == Measured(1e-3, 1e-5)
    assert both.opening == Measured(0.0, 1e-5)
