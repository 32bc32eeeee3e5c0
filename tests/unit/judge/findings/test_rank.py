"""Questions, stops, next checks and the plain data of a ranking."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from scipy.integrate import quad

from crowlight.errors import InputError
from crowlight.judge.findings import (
    Agreement,
    BladeKnown,
    Climate,
    Crow,
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
    ask,
    catalogue,
    rank,
    say,
)
from crowlight.judge.findings.foresee import next_checks
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.odds import (
    TEMPER,
    graded_information,
    graded_weight,
    probability,
    sign_weight,
)
from crowlight.judge.findings.rank import _cases, support
from crowlight.judge.findings.stops import Stop, bars
from crowlight.judge.findings.weigh import Belief, Weighed
from crowlight.reed import Blade, Side


def stop_codes(known: Known) -> set[str]:
    return {s.code for s in rank(known).stops}


@pytest.mark.parametrize(
    ("known", "stop"),
    [
        (Known(agreement=Agreement(concert_in=23.9 * 3600)), "concert-soon"),
        (Known(agreement=Agreement(others_reed=True)), "ask-owner"),
        (Known(agreement=Agreement(others_reed=True, may_cut="unsure")), "ask-owner"),
        (Known(history=History(clips=3)), "no-more-clips"),
        (Known(geometry=Geometry(clipping_room=Measured(0.5e-3, 0.25e-3))), "no-more-clips"),
        (Known(history=History(tests_without_gain=3)), "three-tests"),
        (Known(history=History(cuts_since_measured=3)), "measure-first"),
        (Known(history=History(wet_states_alike="no")), "unlike-wet-states"),
        (Known(history=History(crow_lost="yes")), "crow-lost"),
        (Known(trials=Trials(look=frozenset({"mould"}))), "mouldy"),
        (Known(trials=Trials(look=frozenset({"crack-scrape"}))), "crack-in-scrape"),
        (Known(geometry=Geometry(at_floor=frozenset({"tip"}))), "floor"),
    ],
)
def test_what_forbids(known: Known, stop: str) -> None:
    assert stop in stop_codes(known)


@pytest.mark.parametrize(
    "known",
    [
        Known(),
        Known(agreement=Agreement(concert_in=24.1 * 3600)),
        Known(agreement=Agreement(others_reed=True, may_cut="yes")),
        Known(history=History(clips=2, tests_without_gain=2, cuts_since_measured=2)),
        Known(geometry=Geometry(clipping_room=Measured(0.6e-3, 0.25e-3))),
        Known(geometry=Geometry(clipping_room=Measured(-1e-3, math.inf))),
        Known(history=History(wet_states_alike="unsure", crow_lost="no")),
    ],
)
def test_what_does_not_forbid(known: Known) -> None:
    assert stop_codes(known) == set()


def _allowed(kinds: tuple[str, ...], because: tuple[str, ...] = ()) -> set[str]:
    stop = Stop("x", "x", kinds, because)
    return {code for code, r in catalogue().remedies.items() if not bars(stop, r)}


def test_stops_forbid_what_they_say_and_no_more() -> None:
    remedies = catalogue().remedies
    everything = set(remedies)
    cuts = {c for c, r in remedies.items() if r.cuts}
    assert _allowed(("cuts",)) == everything - cuts
    assert _allowed(("clip",)) == everything - {"clip"}
    assert _allowed(("lasting",)) == everything - cuts - {"retie"}
    assert _allowed(("floor",), ("heart",)) == everything - {"heart", "equalise-heart"}
    assert _allowed(("floor",), ("rails",)) == everything - {"back", "shorten-heart"}
    left = _allowed(("loads", "cuts"))
    assert {"record", "retire", "rest", "copy"} <= left
    assert not any(remedies[c].loads for c in left)


def belief(log_odds: float, half: float, prior: float = -3.0) -> Belief:
    return Belief(log_odds, log_odds - half, log_odds + half, prior, (), ())


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (belief(2.0, 1.5), Support.STRONG),
        (belief(2.0, 2.5), Support.FAIR),
        (belief(1.0, 0.5), Support.FAIR),  # likely even at the low end, but not three to one
        (belief(-1.0, 3.0), Support.WEAK),
        (belief(-2.5, 3.0), Support.CANNOT_TELL),
        (belief(-3.0, 4.0), Support.CANNOT_TELL),
        (belief(-4.5, 5.0), Support.CANNOT_TELL),
        (belief(-4.5, 2.0), Support.UNLIKELY),
    ],
)
def test_support_in_a_word(given: Belief, word: Support) -> None:
    assert support(given) is word


def test_the_named_check_parts_a_finding_from_its_rival() -> None:
    # unequal gouge makes unequal hearts too; only the bark tells
    known = Known(
        geometry=Geometry(
            marked=BladeKnown(heart=Measured(0.03e-3, 8e-6), heart_length=Measured(0.0, 1e-4)),
            plain=BladeKnown(heart=Measured(-0.03e-3, 8e-6), heart_length=Measured(0.0, 1e-4)),
        )
    )
    parted = rank(known).parting
    assert parted is not None
    assert (parted.first, parted.second) == ("heart-heavier", "gouge-uneven")
    assert (parted.code, parted.named) == ("gauge-bark", True)
    assert parted.bits > 0.05


def test_nothing_is_parted_when_nothing_has_support() -> None:
    assert rank(Known()).parting is None


def test_a_temperature_is_read_in_degrees_celsius_and_a_length_with_fewer_decimals() -> None:
    cold = rank(Known(climate=Climate(temperature_now=284.15))).ranked
    said = [say(w, r.where) for r in cold for w in r.for_ if w.code == "room-temperature"]
    assert said[0].replace("\N{NO-BREAK SPACE}", " ") == "air in the room: 11 °C ± 1 °C"
    long = rank(Known(geometry=Geometry(length=Measured(1.2e-3, 0.2e-3)))).ranked
    said = [say(w, r.where) for r in long for w in r.for_ if w.code == "length"]
    assert said[0].replace("\N{NO-BREAK SPACE}", " ").endswith("1.20 mm ± 0.20 mm")


def test_what_was_looked_at_is_not_asked_again() -> None:
    before = {n.code: n for n in rank(Known()).next}
    after = {n.code for n in rank(Known(trials=Trials(leaks="no", looked=True))).next}
    assert {"pop-test", "look"} <= set(before)
    assert not {"pop-test", "look"} & after
    assert all(n.bits > 0 and n.minutes > 0 for n in before.values())
    rates = [n.bits / n.minutes for n in before.values()]
    assert rates == sorted(rates, reverse=True)


def test_another_look_at_the_same_recording_counts_less() -> None:
    case = next(c for c in _cases() if c.finding.code == "heart-long")
    opened = tuple(i for i in case.finding.evidence if i.code == "high-first")
    heard = (Weighed("low-octave", "measure", "crow", 0.0),)

    def bits(evidence: tuple[Weighed, ...]) -> float:
        now = Belief(0.0, -1.0, 1.0, 0.0, evidence, opened)
        (swell,) = next_checks([(case, now)], catalogue(), spare=False)
        assert swell.code == "swell"
        return swell.bits

    assert bits(heard) == pytest.approx(TEMPER * bits(()))


@pytest.mark.parametrize(("cents", "asked"), [(5.0, False), (7.0, True), (-7.0, False)])
def test_only_what_is_nine_times_in_ten_beyond_nothing_is_asked(cents: float, asked: bool) -> None:
    flat = Playing(words=frozenset({"flat"}))
    known = Known(crow=Crow(played_cents=Measured(cents, 5.0)), playing=flat)
    assert bool(rank(known).questions) is asked


def test_a_crow_as_likely_in_each_class_says_nothing() -> None:
    third = Known(crow=Crow(clean=1 / 3, mixed=1 / 3, rattling=1 / 3))
    weights = [w.weight for r in rank(third).ranked for w in (*r.for_, *r.against)]
    assert all(abs(w) < 1e-9 for w in weights)
    rattling = rank(Known(crow=Crow(clean=0.2, mixed=0.3, rattling=0.5))).ranked
    (w,) = {w for r in rattling for w in r.for_ if r.finding.code == "tip-thin"}
    assert w.code == "crow-rattles"


def test_whether_it_is_the_reed_is_asked_by_its_own_checks() -> None:
    gate = [n.code for n in rank(Known(playing=Playing(words=frozenset({"no-low"})))).gate]
    assert {"control-reed", "look", "diary"} <= set(gate[:4])
    assert not {"gauge-hearts", "gauge-back", "peep", "cane-book"} & set(gate)
    assert "control-reed" not in [
        n.code for n in rank(Known(trials=Trials(control_reed="fine"))).gate
    ]


@pytest.mark.parametrize(
    ("known", "cautions"),
    [
        (Known(), ()),
        (Known(agreement=Agreement(others_reed=True, may_cut="yes")), ("shared-mouth",)),
        (Known(trials=Trials(look=frozenset({"splinter", "mould"}))), ("splinter", "mould")),
        (Known(history=History(crowing=3600.0)), ("hearing",)),
    ],
)
def test_cautions_whatever_is_done(known: Known, cautions: tuple[str, ...]) -> None:
    assert rank(known).cautions == cautions


def test_a_leak_is_looked_for_before_the_tip_is_gauged() -> None:
    known = Known(playing=Playing(low_soft_attack="no", words=frozenset({"late"})))
    codes = [n.code for n in rank(known).next]
    assert codes.index("pop-test") < codes.index("gauge-tip")


@pytest.mark.parametrize("p", [0.05, 0.3, 0.5])
@pytest.mark.parametrize("d", [0.5, 1.5, 3.0])
def test_information_of_a_measurement_against_quadrature(p: float, d: float) -> None:
    def normal(x: float) -> float:
        return math.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)

    def part(x: float) -> float:
        mixture = p * normal(x - d) + (1 - p) * normal(x)
        return -mixture * math.log2(mixture)

    noise = 0.5 * math.log2(2 * math.pi * math.e)
    expected = quad(part, -9.0, 9.0 + d, limit=200)[0] - noise
    assert float(graded_information(p, d)) == pytest.approx(expected, abs=1e-3)


def test_everything_survives_json_and_reads_as_sentences() -> None:
    known = Known(
        geometry=Geometry(
            marked=BladeKnown(heart=Measured(0.05e-3, 8e-6), left=SideKnown()),
            plain=BladeKnown(heart=Measured(-0.02e-3, 8e-6)),
            opening=Measured(0.2e-3, 0.05e-3),
        ),
        crow=Crow(clean=0.1, mixed=0.4, rattling=0.5),
        playing=Playing(words=frozenset({"wobbles", "closed"})),
        trials=Trials(batch_alike=(2, 5)),
        climate=Climate(altitude_home=0.0, altitude_now=100.0),
    )
    data = json.loads(json.dumps(as_data(rank(known)), allow_nan=False))
    assert data["answer"] == "findings"
    first = data["findings"][0]
    assert first["name"] == "heart-heavier"
    assert first["blade"] == "marked"
    assert 0 < first["probability_low"] < first["probability"] < first["probability_high"] < 1
    text = first["for"][0]["text"].replace("\N{NO-BREAK SPACE}", " ")
    assert text == "heart of the marked blade against the other's: 0.070 mm ± 0.011 mm"
    assert first["basis"] == "common practice, no source"
    assert data["questions"][0]["text"].startswith("You say closed; the opening is 0.20 mm")
    assert data["stops"][0]["name"] == "disagreement"


def test_sentences_are_translated_and_numbers_written_by_the_caller() -> None:
    (best, *_) = rank(Known(trials=Trials(batch_alike=(6, 7)))).ranked
    said = say(
        best.for_[0],
        best.where,
        translate=lambda text: (
            text.upper().replace("%(SEEN)S", "%(seen)s").replace("%(OF)S", "%(of)s")
        ),
        number=lambda value, digits: f"<{value:.0f}>",
    )
    assert said == "<6> OF <7> REEDS OF THE BATCH SHOW THE SAME"


def test_a_question_without_a_number_is_asked_too() -> None:
    known = Known(
        crow=Crow(clean=0.97, mixed=0.02, rattling=0.01),
        playing=Playing(words=frozenset({"rattles"})),
    )
    (question,) = rank(known).questions
    assert ask(question).startswith("You say it rattles; the recorded crow is clean.")


def test_a_difference_known_better_than_its_parts_is_used() -> None:
    blunt = BladeKnown(heart=Measured(0.0, 0.05e-3))
    both = Geometry(marked=blunt, plain=blunt)
    sharp = replace(both, blades={"heart": Measured(-0.07e-3, 5e-6)})
    first = rank(Known(geometry=sharp)).ranked[0]
    assert (first.finding.code, first.where) == ("heart-heavier", Where(Blade.PLAIN))
    assert rank(Known(geometry=both)).ranked[0].support is Support.CANNOT_TELL


def test_sides_are_named_as_seen() -> None:
    thick = Geometry(
        marked=BladeKnown(
            left=SideKnown(corner=Measured(0.0, 6e-6)), right=SideKnown(corner=Measured(0.0, 6e-6))
        ),
        plain=BladeKnown(
            left=SideKnown(corner=Measured(0.0, 6e-6)),
            right=SideKnown(corner=Measured(0.035e-3, 6e-6)),
        ),
    )
    first = rank(Known(geometry=thick)).ranked[0]
    assert (first.finding.code, first.where) == ("thick-corner", Where(Blade.PLAIN, Side.RIGHT))


def test_the_prior_of_a_finding_is_shared_among_its_places() -> None:
    total: dict[str, float] = {}
    for r in rank(Known()).ranked:
        total[r.finding.code] = total.get(r.finding.code, 0.0) + probability(r.prior)
    for code, finding in catalogue().findings.items():
        odds = total[code] / (1 - total[code])
        assert odds == pytest.approx(finding.prior_odds), code


def test_a_mean_keeps_the_uncertainty_of_one_value() -> None:
    both = BladeKnown(heart=Measured(0.05e-3, 8e-6))
    ranked = rank(Known(geometry=Geometry(marked=both, plain=both))).ranked
    (weighed,) = {w for r in ranked for w in r.for_ if w.code == "heart-thickness" and w.weight > 2}
    assert (weighed.value, weighed.uncertainty) == pytest.approx((0.05, 0.008))


def test_weights_by_hand() -> None:
    # 0.05 with u = 0.01 for a finding that shifts by 0.04 with spread 0.02:
    # (0.04 x 0.05 - 0.0008) / (0.0004 + 0.0001) = 2.4
    assert graded_weight(0.05, 0.01, 0.04, 0.02, 100.0) == pytest.approx(2.4)
    assert graded_weight(-1.0, 0.01, 0.04, 0.02, 100.0) == pytest.approx(-math.log(100))
    assert sign_weight(0.5, 0.9, 0.1) == 0.0
    assert math.exp(sign_weight(0.9, 0.8, 0.2)) == pytest.approx((0.74) / (0.26))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Measured(math.nan, 1.0), "leave out what was not measured"),
        (lambda: Measured(1.0, -0.1), "standard uncertainty -0.1"),
        (lambda: Measured(1.0, math.nan), "not usable"),
        (lambda: Crow(clean=0.5), "three numbers"),
        (lambda: Crow(clean=0.5, mixed=0.5, rattling=0.5), "sum to 1"),
        (lambda: Trials(batch_alike=(3, 2)), "count it is out of"),
    ],
)
def test_what_cannot_be_is_refused(make: object, message: str) -> None:
    assert callable(make)
    with pytest.raises(InputError, match=message):
        make()


def test_what_the_model_makes_of_a_thickness_counts_little_beside_it() -> None:
    """A gauged thin heart stays one on a reed that a wide opening makes hard to close."""
    thin = BladeKnown(heart=Measured(-0.05e-3, 0.007e-3))
    geometry = Geometry(marked=thin, plain=thin)
    hard = Model(closing_pressure=Measured(0.4, 0.1))

    def odds(known: Known) -> float:
        return next(r.log_odds for r in rank(known).ranked if r.finding.code == "heart-thin")

    alone, both, model = (
        odds(Known(geometry=geometry)),
        odds(Known(geometry=geometry, model=hard)),
        odds(Known(model=hard)),
    )
    nothing = odds(Known())
    assert model < nothing  # by itself it speaks in full
    assert both - alone == pytest.approx(0.25 * (model - nothing))


def test_what_was_looked_at_and_speaks_for_comes_before_what_nobody_looked_at() -> None:
    corner = BladeKnown(left=SideKnown(corner_excess=Measured(0.011e-3, 0.005e-3)))
    ranked = rank(Known(geometry=Geometry(marked=corner))).ranked
    first = ranked[0]
    assert (first.finding.code, first.where) == ("thick-corner", Where(Blade.MARKED, Side.LEFT))
    assert first.support is Support.CANNOT_TELL
    # a film of dirt is likelier on any reed, but nobody has looked
    dirty = next(r for r in ranked if r.finding.code == "dirty")
    assert dirty.log_odds > first.log_odds


def test_two_like_differences_are_not_made_smaller_by_chance() -> None:
    def thin(side: float, blade: float) -> float:
        known = Known(
            geometry=Geometry(
                marked=BladeKnown(sides={"tip": Measured(-side, 4e-6)}),
                blades={"tip": Measured(-blade + 0.5 * side, 4e-6)},
            )
        )
        found = MEASURES["thin-side-of-tip"].of(known, Where(Blade.MARKED, Side.LEFT))
        assert found is not None
        return found.value

    assert thin(15e-6, 15e-6) == pytest.approx(15e-6)
    assert 10e-6 < thin(18e-6, 12e-6) < 15e-6
    assert thin(15e-6, 0.0) < 3e-6  # one of them alone makes no thin side
