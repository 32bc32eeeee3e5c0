"""Travel: effects, targets, advice and what own reeds teach."""

from dataclasses import replace

import numpy as np
import pytest

from crowlight.crow import ReedParameters, draw_reeds
from crowlight.errors import Cancelled, InputError, OutsideModel
from crowlight.materials import Place, breath
from crowlight.plan import (
    Journey,
    ReedState,
    Site,
    TravelOutcome,
    altitude_chart,
    compensation,
    contested_claims,
    measured_climate,
    seasons,
    travel_advice,
    travel_effects,
    usual_climate,
)
from crowlight.plan.journey import travel_data
from crowlight.plan.travel_history import learn_from_travelled, slope_posterior

ROOM = measured_climate(294.15, 0.45)
SEA = Site(Place("Saltmarsh", 5.0), ROOM)
HIGH = Site(Place("Highfold", 2100.0), ROOM)
REEDS = draw_reeds(np.random.default_rng(11), 30)
UP = Journey(SEA, HIGH)
DOWN = Journey(HIGH, SEA)


def _rng() -> np.random.Generator:
    return np.random.default_rng(3)


@pytest.fixture(scope="module")
def going_up():
    return travel_effects(UP, REEDS, rng=_rng())


def test_higher_is_harder_narrower_windier_and_low_notes_suffer_most(going_up) -> None:
    threshold, low = going_up.named("threshold").altitude, going_up.named("low-threshold").altitude
    assert threshold.low > 0.0
    assert low.middle > 1.5 * threshold.middle
    assert going_up.named("range").altitude.high < 0.0
    assert going_up.named("pitch").altitude.low > 0.0
    assert going_up.named("crow-pitch").altitude.low > 0.0
    # Jet flow at the same pressure goes as one over the root of density.
    expected = going_up.density_ratio**-0.5 - 1.0
    assert going_up.named("flow").altitude.middle == pytest.approx(expected, rel=0.1)


def test_followed_draws_agree_with_fresh_ones(going_up) -> None:
    assert going_up.exact_error < 1e-6
    assert going_up.used + going_up.silent == len(REEDS)
    assert going_up.used > 0.8 * len(REEDS)


def test_equal_rooms_leave_temperature_and_moisture_open(going_up) -> None:
    for name in ("pitch", "low-pitch"):
        assert going_up.named(name).temperature.straddles_zero
    for effect in going_up.effects:
        assert effect.moisture.straddles_zero
    # The high note's threshold is a range that straddles zero, and is said to.
    assert going_up.named("high-threshold").together.straddles_zero


def test_the_way_back_undoes_the_way_up(going_up) -> None:
    back = travel_effects(DOWN, REEDS, rng=_rng())
    assert back.density_ratio * going_up.density_ratio == pytest.approx(1.0)
    assert back.named("threshold").altitude.high < 0.0
    there = going_up.named("crow-pitch").altitude.middle
    # The same draws, but one that is silent at one end may count at the other.
    assert abs(back.used - going_up.used) <= 1
    assert back.named("crow-pitch").altitude.middle == pytest.approx(-there, rel=0.05)


def test_staying_at_home_changes_nothing_but_what_is_unknown() -> None:
    stay = travel_effects(Journey(SEA, SEA), REEDS, rng=_rng())
    for effect in stay.effects:
        assert effect.altitude.low == pytest.approx(0.0, abs=1e-6)
        assert effect.altitude.high == pytest.approx(0.0, abs=1e-6)


def test_weather_on_the_barometer_counts_like_altitude() -> None:
    stormy = Site(Place("Saltmarsh", 5.0, measured_pressure=97e3), ROOM)
    found = travel_effects(Journey(SEA, stormy), REEDS, rng=_rng())
    assert found.density_ratio == pytest.approx(97e3 / 101265.0, rel=2e-3)


def test_a_dry_room_acts_through_cane_with_an_open_sign() -> None:
    dry = Site(SEA.place, measured_climate(294.15, 0.15))
    found = travel_effects(Journey(SEA, dry), REEDS, rng=_rng())
    assert found.drier_by.low > 0.02
    moisture = found.named("threshold").moisture
    assert moisture.straddles_zero
    assert moisture.high - moisture.low > 0.05  # as large as a thousand metres, and wider


def test_a_warmer_room_sharpens_played_notes_and_not_the_crow() -> None:
    warm = Site(SEA.place, measured_climate(304.15, 0.3))
    found = travel_effects(Journey(SEA, warm), REEDS, rng=_rng())
    # Ten degrees of room, half of it in the bore; a note follows the speed of sound there.
    speeds = breath(101325.0, temperature=[301.65, 306.65]).speed_of_sound
    expected = 1200.0 * np.log2(speeds[1] / speeds[0])
    assert found.named("low-pitch").temperature.middle == pytest.approx(expected, abs=3.0)
    assert found.named("crow-pitch").temperature.middle == pytest.approx(0.0, abs=1e-6)


def test_too_few_draws_and_dead_reeds_are_refused() -> None:
    with pytest.raises(OutsideModel, match="4 draws of the reed are too few"):
        travel_effects(UP, REEDS[:4], rng=_rng())
    dead = [ReedParameters(opening_area=0.06e-6, damping=3.0, frequency=200.0)] * 6
    with pytest.raises(OutsideModel, match="only 0 of 6 draws"):
        travel_effects(UP, dead, rng=_rng())
    with pytest.raises(OutsideModel, match="only 0 draws of this reed can be brought back"):
        compensation(UP, dead, rng=_rng())


def test_an_unknown_effect_lists_the_known_ones(going_up) -> None:
    with pytest.raises(OutsideModel, match="no effect 'colour'; there are threshold"):
        going_up.named("colour")


def test_progress_rises_to_one_and_can_be_cancelled() -> None:
    told: list[float] = []
    travel_advice(UP, REEDS[:10], ReedState.CANE, rng=_rng(), report=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0

    def stop(share: float) -> None:
        if share > 0.2:
            raise Cancelled("stopped by the user")

    with pytest.raises(Cancelled, match="stopped"):
        travel_advice(UP, REEDS[:10], ReedState.CANE, rng=_rng(), report=stop)


def test_the_same_seed_gives_the_same_advice(going_up) -> None:
    again = travel_effects(UP, REEDS, rng=_rng())
    np.testing.assert_array_equal(again.named("pitch").draws, going_up.named("pitch").draws)


def test_compensations_bring_the_threshold_back() -> None:
    made = compensation(UP, REEDS, rng=_rng())
    r = made.stiffness_with
    assert made.opening_with * r == pytest.approx(1.0)
    # Softer, and by less than the joint change.
    assert r < made.stiffness_alone.low < made.stiffness_alone.high < 1.0
    # The joint rule is exact while wall losses dominate: most of +3 to +8 % is gone.
    assert abs(made.left_over.middle) < 0.02
    back = compensation(DOWN, REEDS, rng=_rng())
    assert back.stiffness_alone.low > 1.0
    assert back.opening_with < 1.0


def _codes(journey: Journey, state: ReedState) -> list[str]:
    return [a.code for a in travel_advice(journey, REEDS[:12], state, rng=_rng()).advice]


def test_cane_and_blanks_get_targets_between_two_limits() -> None:
    cane = travel_advice(UP, REEDS[:12], ReedState.CANE, rng=_rng())
    by = {a.code: a.limits for a in cane.advice}
    assert by["open-more"].low == 1.0
    assert by["open-more"].high == pytest.approx(1.0 / cane.effects.density_ratio, rel=0.01)
    assert by["softer-blade"].low == pytest.approx(cane.effects.density_ratio, rel=0.01)
    assert by["softer-blade"].high < 1.0
    assert by["thinner-gouge"].low == pytest.approx(by["softer-blade"].low ** (1 / 3))
    assert {"smaller-tube", "tie-for-opening", "leave-long"} <= by.keys()
    blank = _codes(UP, ReedState.BLANK)
    assert "open-more" in blank
    assert not {"smaller-tube", "thinner-gouge", "tie-for-opening"} & set(blank)


def test_going_down_turns_the_targets_round() -> None:
    codes = _codes(DOWN, ReedState.CANE)
    assert {"open-less", "stiffer-blade", "larger-tube", "thicker-gouge"} <= set(codes)
    assert "softer-blade" not in codes


@pytest.mark.parametrize("journey", [UP, DOWN, Journey(SEA, SEA)])
def test_a_finished_reed_is_never_thinned_nor_given_a_crow_target(journey: Journey) -> None:
    told = travel_advice(journey, REEDS[:12], ReedState.FINISHED, rng=_rng())
    codes = {a.code for a in told.advice}
    assert {"no-thinning", "no-crow-target"} <= codes
    assert told.compensation is None
    thinning = {"softer-blade", "thinner-gouge", "stiffer-blade", "open-more", "open-less"}
    assert not thinning & codes


def test_a_finished_reed_going_up_is_left_long_and_settles() -> None:
    told = travel_advice(UP, REEDS[:12], ReedState.FINISHED, rng=_rng())
    by = {a.code: a.limits for a in told.advice}
    assert by["leave-long"].low == pytest.approx(0.3e-3)
    assert by["settle-there"].low == 2.0
    assert "finish-there" in by


def test_a_finished_reed_coming_down_is_played_before_any_clip() -> None:
    codes = _codes(DOWN, ReedState.FINISHED)
    assert codes.index("play-first") < codes.index("may-need-clip")
    assert "leave-long" not in codes


def test_a_short_climb_needs_nothing() -> None:
    hill = Site(Place("Mill Hill", 150.0), ROOM)
    told = travel_advice(Journey(SEA, hill), REEDS[:12], ReedState.BLANK, rng=_rng())
    assert told.direction == "level"
    assert [a.code for a in told.advice] == ["nothing-to-do"]


@pytest.mark.parametrize(("humidity", "code"), [(0.12, "dry-there"), (0.8, "damp-there")])
def test_moisture_gets_its_own_advice_even_on_the_level(humidity: float, code: str) -> None:
    other = Site(SEA.place, measured_climate(294.15, humidity))
    assert code in _codes(Journey(SEA, other), ReedState.FINISHED)


def test_every_advice_has_words_and_a_basis() -> None:
    for row in travel_data()["advice"].values():
        assert row["text"].endswith(".")
        assert row["basis"] in ("physics", "common practice")


def test_contested_claims_are_data_with_both_sides() -> None:
    claims = contested_claims()
    assert len(claims) >= 5
    assert len({c.code for c in claims}) == len(claims)
    assert all(c.claim and c.counter and c.said for c in claims)


@pytest.mark.parametrize("season", seasons())
def test_usual_climates_are_wide_and_usable(season: str) -> None:
    climate = usual_climate(season)
    assert climate.humidity.high - climate.humidity.low >= 0.15
    assert climate.temperature.low > 285.0


def test_climates_that_cannot_be_are_asked_about() -> None:
    with pytest.raises(InputError, match=r"is it in Fahrenheit\? 70 °F is 21.1 °C"):
        measured_climate(273.15 + 70.0, 0.4)
    with pytest.raises(InputError, match=r"is it 40 %, which is 0.4\?"):
        measured_climate(294.15, 40.0)
    with pytest.raises(InputError, match="no usual climate 'monsoon'; there are heated-winter"):
        usual_climate("monsoon")


@pytest.mark.parametrize(
    ("ratio", "observed", "accuracy", "question"),
    [
        (0.1, 20.0, 10.0, "outside 0.4 to 2.5"),
        (1.001, 20.0, 10.0, "is no journey"),
        (0.8, float("nan"), 10.0, "cannot be used"),
        (0.8, 20.0, 0.0, "accuracy must be positive"),
    ],
)
def test_follow_ups_that_say_nothing_are_refused(ratio, observed, accuracy, question) -> None:
    with pytest.raises(InputError, match=question):
        TravelOutcome("crow-pitch", ratio, observed, accuracy)


def test_one_follow_up_hardly_moves_physics(going_up) -> None:
    one = learn_from_travelled(
        going_up, [TravelOutcome("crow-pitch", 0.82, 20.0, 15.0)], rng=_rng()
    )[0]
    assert (one.reeds, one.verdict) == (1, "too few")
    assert one.own.high - one.own.low > one.joined.high - one.joined.low


def test_many_follow_ups_take_over_and_may_disagree(going_up) -> None:
    flat = [TravelOutcome("crow-pitch", 0.82, float(v), 8.0) for v in (-9, 4, 0, 8, -5, 2) * 4]
    found = learn_from_travelled(going_up, flat, rng=_rng())[0]
    assert found.verdict == "disagrees"
    assert abs(found.joined.middle) < 0.5 * found.physics.middle
    assert found.own.high - found.own.low < found.physics.high - found.physics.low


def test_follow_ups_of_the_way_down_count_for_the_way_up(going_up) -> None:
    down = [TravelOutcome("crow-pitch", 1.22, -60.0, 10.0)] * 5
    found = learn_from_travelled(going_up, down, rng=_rng())[0]
    assert found.verdict == "agrees"
    assert found.own.middle > 0.0


def test_a_level_journey_learns_nothing(going_up) -> None:
    level = replace(going_up, density_ratio=1.0)
    outcome = TravelOutcome("crow-pitch", 0.82, 20.0, 15.0)
    assert learn_from_travelled(level, [outcome], rng=_rng()) == ()


def test_advice_carries_what_was_learned() -> None:
    told = travel_advice(
        UP,
        REEDS[:12],
        ReedState.BLANK,
        rng=_rng(),
        outcomes=[TravelOutcome("threshold", 0.82, 0.03, 0.02)],
    )
    assert [x.effect for x in told.learned] == ["threshold"]


def test_the_posterior_agrees_with_brute_force_integration() -> None:
    rng = np.random.default_rng(2)
    x, y = rng.uniform(0.1, 0.4, 5), rng.normal(10.0, 5.0, 5)
    error = np.full(5, 4.0)
    found = slope_posterior(
        x, y, error, prior_mean=20.0, prior_deviation=30.0, spread_scale=15.0, grid=400
    )
    b = np.linspace(-150.0, 200.0, 1401)[:, None, None]
    tau = np.linspace(0.0, 60.0, 601)[None, :, None]
    variance = error**2 + (x * tau) ** 2
    log = -0.5 * (np.log(variance) + (y - x * b) ** 2 / variance).sum(axis=2)
    log = log - 0.5 * ((b - 20.0) / 30.0)[:, :, 0] ** 2 - 0.5 * (tau / 15.0)[:, :, 0] ** 2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float((weight * b[:, :, 0]).sum())
    spread = float((weight * tau[:, :, 0]).sum())
    assert float((found.weight * found.mean).sum()) == pytest.approx(mean, rel=2e-3)
    assert float((found.weight * found.spread).sum()) == pytest.approx(spread, rel=5e-3)


def test_the_chart_starts_at_zero_and_rises() -> None:
    told: list[float] = []
    chart = altitude_chart(
        REEDS[:12],
        np.array([0.0, 1000.0, 2500.0]),
        room=294.15,
        rng=_rng(),
        report=told.append,
    )
    np.testing.assert_allclose(chart.threshold[0], 0.0, atol=1e-6)
    assert (np.diff(chart.low_threshold[:, 1]) > 0.0).all()
    assert (np.diff(chart.crow_pitch[:, 1]) > 0.0).all()
    assert (np.diff(chart.density_ratio) < 0.0).all()
    assert len(told) == 3
    with pytest.raises(InputError, match="must rise from left to right"):
        altitude_chart(REEDS[:12], np.array([10.0, 5.0]), room=294.15, rng=_rng())
