"""The thickness map: what it must do with readings, and whether its intervals tell the truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.invented.map_trial import map_trial, summarise
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.reed import Blade, CaneState, Instrument, Place, Reading, instrument
from crowlight.reed.styles import STYLE_CODES, style
from crowlight.reed.thickness import (
    Gouge,
    Scales,
    ThicknessMap,
    fit_profile,
    map_thickness,
    next_points,
)

MM = 1e-3
EXACT = Instrument("exact", 1e-9, 1e-7, 1e-9, 1e-9, 0.0)


def read(reed, seed=1, *, quick=False, **options) -> tuple[Reading, ...]:
    rng = np.random.default_rng(seed)
    return measure(reed, planned_places(reed.style, quick=quick), rng, **options)


@pytest.fixture(scope="module")
def reed():
    return draw_reed(np.random.default_rng(8))


@pytest.fixture(scope="module")
def readings(reed):
    return read(reed)


@pytest.fixture(scope="module")
def found(reed, readings) -> ThicknessMap:
    return map_thickness(readings, reed.style)


# Whether the intervals tell the truth: blades drawn by a generator with other functional forms.


@pytest.fixture(scope="module")
def sixty_blades():
    return summarise(list(map_trial(20301, 30)))


def test_intervals_cover_the_truth_overall(sixty_blades):
    whole = sixty_blades["all"]
    assert whole.blades == 60
    assert whole.coverage - 2 * whole.error <= 0.97
    assert whole.coverage + 2 * whole.error >= 0.93
    assert whole.error < 0.01  # the test can tell 0.90 from 0.95


def test_intervals_cover_the_truth_in_every_zone(sixty_blades):
    for name, zone in sixty_blades.items():
        assert zone.coverage - 2 * zone.error <= 0.98, name
        assert zone.coverage + 2 * zone.error >= 0.90, name
        assert zone.error < 0.025, name


def test_map_beats_linear_interpolation_in_every_zone(sixty_blades):
    for name, zone in sixty_blades.items():
        assert zone.map <= zone.residual, name
        assert zone.map <= zone.raw, name


def test_overconfidence_would_be_noticed(monkeypatch):
    """With placement and seating forgotten, coverage falls out of the band."""
    import crowlight.reed.thickness.observation as observation

    bare = dataclasses.replace(instrument("dial"), placement=1e-9, seating=1e-9)
    monkeypatch.setattr(observation, "instruments", lambda: {"dial": bare})
    whole = summarise(list(map_trial(20301, 10)))
    assert whole["transition"].coverage < 0.90


# What it must do with readings.


def test_exact_readings_are_gone_through(reed):
    places = planned_places(reed.style)
    exact = [Reading(p, float(reed.thickness(p.blade, p.along, p.across)), "exact") for p in places]
    found = map_thickness(exact, reed.style, gauges={"exact": EXACT})
    at = found.at(places)
    np.testing.assert_allclose(at.values, [r.thickness for r in exact], atol=0.5e-6)
    assert at.sd.max() < 1e-6


def test_map_does_not_depend_on_the_order_of_readings(reed, readings, found):
    again = map_thickness(readings[::-1], reed.style)
    np.testing.assert_allclose(again.mean, found.mean, atol=1e-9)
    np.testing.assert_allclose(again.sd, found.sd, atol=1e-9)


def test_map_keeps_the_style_it_was_given(reed, found):
    assert found.style == reed.style
    assert found.fit.solved.shape.bark_blend > found.style.shape.bark_blend


def test_turning_the_reed_round_turns_the_map_round(reed, readings, found):
    """Swapping the blades' names, or left and right, does the same to the map."""
    swapped = [
        dataclasses.replace(r, place=dataclasses.replace(r.place, blade=r.place.blade.other))
        for r in readings
    ]
    np.testing.assert_allclose(map_thickness(swapped, reed.style).mean, found.mean[::-1], atol=1e-8)
    mirrored = [dataclasses.replace(r, place=r.place.mirrored()) for r in readings]
    np.testing.assert_allclose(
        map_thickness(mirrored, reed.style).mean, found.mean[:, :, ::-1], atol=1e-8
    )


@pytest.mark.parametrize("code", STYLE_CODES)
def test_thickness_stays_between_nothing_and_the_bark(code: str):
    rng = np.random.default_rng(5)
    other = draw_reed(rng, code=code)
    found = map_thickness(measure(other, planned_places(other.style, quick=True), rng), other.style)
    low, high = found.interval()
    for values in (found.mean, low, high, found.samples(20, rng)):
        assert (values >= 0).all()
        assert (values <= found.ceiling + 1e-12).all()
    assert (low <= found.mean).all()
    assert (found.mean <= high).all()


def test_more_readings_make_it_surer_and_better():
    claimed, square = np.zeros(3), np.zeros(3)
    for seed in range(4):
        one = draw_reed(np.random.default_rng(seed))
        where = [
            Place(b, a * MM, c * MM) for b in Blade for a in (55, 61, 65, 68) for c in (-1.5, 0, 1)
        ]
        truth = np.array([float(one.thickness(p.blade, p.along, p.across)) for p in where])
        for i, (quick, repeats) in enumerate(((True, 1), (False, 1), (False, 4))):
            many = read(one, seed, quick=quick, repeats=repeats, per_mounting=12)
            at = map_thickness(many, one.style).at(where)
            claimed[i] += float(np.mean(at.sd**2))
            square[i] += float(np.mean((at.values - truth) ** 2))
    assert claimed[0] > claimed[1] > claimed[2]
    # reading the same points again helps less than reading more points
    assert min(square[0] / square[1:]) > 1.5


def test_two_hundred_readings_per_blade(reed):
    rng = np.random.default_rng(2)
    places = []
    for blade in Blade:
        along = rng.uniform(48, reed.style.length / MM - 0.5, 200) * MM
        half = reed.style.outline.half_width(along) - MM
        places += [Place(blade, a, c) for a, c in zip(along, rng.uniform(-half, half), strict=True)]
    many = measure(reed, places, rng, per_mounting=25)
    found = map_thickness(many, reed.style)
    truth = reed.thickness(Blade.MARKED, found.along[:, None], found.across)
    low, high = found.interval()
    assert ((truth >= low[0]) & (truth <= high[0])).mean() > 0.88
    assert np.sqrt(((found.mean[0] - truth) ** 2).mean()) < 12e-6


def test_one_blade_read_leaves_the_other_unsure_but_not_equal(reed, readings):
    marked = [r for r in readings if r.place.blade is Blade.MARKED]
    one = map_thickness(marked, reed.style)
    heart = [Place(b, 61 * MM, 0.0) for b in Blade]
    at = one.at(heart)
    assert at.sd[1] > 2 * at.sd[0]
    # each blade's own readings outweigh what the other suggests
    apart = [
        dataclasses.replace(r, thickness=r.thickness + 0.06 * MM * (r.place.blade is Blade.PLAIN))
        for r in readings
        if r.place.along < 64 * MM
    ]
    difference = map_thickness(apart, reed.style).at(heart).values
    base = map_thickness([r for r in readings if r.place.along < 64 * MM], reed.style)
    shift = (difference - base.at(heart).values)[1]
    assert 0.05 * MM < shift < 0.07 * MM


@pytest.mark.parametrize(
    ("zone", "along_mm", "change"), [("heart", 61.0, -0.06 * MM), ("tip", 68.0, 0.05 * MM)]
)
def test_a_fault_of_one_blade_is_not_smoothed_away(zone: str, along_mm: float, change: float):
    """A difference many times what good reeds show is kept, by at least three quarters."""
    places = [Place(b, along_mm * MM, 0.0) for b in Blade]
    kept = []
    for seed in range(5):
        rng = np.random.default_rng([20307, seed])
        fault = Fault(zone=zone, blade=Blade.MARKED, side=0, amount=change)
        faulty = draw_reed(rng, even=True, faults=[fault])
        at = map_thickness(read(faulty, seed), faulty.style).at(places)
        true = [float(faulty.thickness(p.blade, p.along, p.across)) for p in places]
        kept.append((at.values[0] - at.values[1]) / (true[0] - true[1]))
    assert 0.75 < np.mean(kept) < 1.1


def test_differences_agree_with_the_joint_posterior(found):
    blade, row, column = Blade.PLAIN, 20, -2
    sides = found.left_right(blade)
    s, u = sides.along[row], sides.fraction[column]
    c = u * float(found.style.outline.half_width(s))
    pair = found.at([Place(blade, s, -c), Place(blade, s, c)])
    assert sides.mean[row, column] == pytest.approx(pair.values[0] - pair.values[1], abs=1e-12)
    expected = np.array([1.0, -1.0]) @ pair.covariance @ np.array([1.0, -1.0])
    assert sides.sd[row, column] == pytest.approx(expected**0.5, rel=1e-6)
    blades = found.marked_plain()
    u = blades.fraction[3]
    c = u * float(found.style.outline.half_width(s))
    place = Place(Blade.MARKED, s, c)
    pair = found.at([place, place.facing()])
    assert blades.mean[row, 3] == pytest.approx(pair.values[0] - pair.values[1], abs=1e-12)


def test_samples_have_the_mean_and_spread_of_the_map(found):
    drawn = found.samples(2000, np.random.default_rng(1))
    near = np.abs(drawn.mean(axis=0) - found.mean) / found.sd
    assert near.max() < 0.11  # 2000 draws leave 0.022; 1380 places
    np.testing.assert_allclose(drawn.std(axis=0), found.sd, rtol=0.09)


def test_combinations_agree_with_places(found):
    places = [Place(Blade.MARKED, 61 * MM, 0.0), Place(Blade.PLAIN, 66 * MM, 1 * MM)]
    at = found.at(places)
    along = np.array([p.along for p in places])
    fraction = found.style.outline.fraction(along, [p.across for p in places])
    got = found.combine([0, 1], along, fraction, [[1.0, -1.0]])
    assert got.values[0] == pytest.approx(at.values[0] - at.values[1], rel=1e-9)
    w = np.array([1.0, -1.0])
    assert got.covariance[0, 0] == pytest.approx(w @ at.covariance @ w, rel=1e-6)
    assert 0 < got.gauge[0] < got.sd[0]
    assert 0 < got.told[0] < 1


# Seating, placement, drying, foot, gouge.


def test_offset_of_a_mounting_shifts_levels_not_differences(reed, readings):
    lifted = [
        dataclasses.replace(r, thickness=r.thickness + 0.01 * MM * (r.place.blade is Blade.MARKED))
        for r in readings
    ]
    base, moved = (map_thickness(r, reed.style) for r in (readings, lifted))
    before, after = (m.left_right(Blade.MARKED) for m in (base, moved))
    np.testing.assert_allclose(before.mean, after.mean, atol=1.5e-6)


def test_a_gauge_that_seats_badly_leaves_levels_unsure_but_not_sides(reed, readings):
    well, badly = (
        map_thickness(
            readings,
            reed.style,
            gauges={"dial": dataclasses.replace(instrument("dial"), seating=seating)},
            scales=Scales(),
        )
        for seating in (0.001 * MM, 0.03 * MM)
    )
    heart = [Place(Blade.MARKED, 61 * MM, 0.0)]
    assert badly.at(heart).sd[0] > 1.3 * well.at(heart).sd[0]
    rows = slice(10, 20)
    sides = [m.left_right(Blade.MARKED).sd[rows, 4] for m in (well, badly)]
    np.testing.assert_allclose(sides[1], sides[0], rtol=0.05)


def test_two_mountings_tell_more_than_one(reed):
    one = read(reed, 4, repeats=2)
    two = [dataclasses.replace(r, seating=r.seating + 10 * r.repeat) for r in one]
    heart = [Place(Blade.MARKED, 61 * MM, 0.0)]
    fixed = fit_profile(one, reed.style).scales
    single = map_thickness(one, reed.style, scales=fixed).at(heart)
    double = map_thickness(two, reed.style, scales=fixed).at(heart)
    assert double.sd[0] < single.sd[0]


def test_placement_error_makes_the_transition_unsure(reed, readings):
    where = [Place(Blade.MARKED, reed.transition[Blade.MARKED], 0.0)]
    sure = dataclasses.replace(instrument("dial"), code="dial", placement=0.02 * MM)
    careless = dataclasses.replace(sure, placement=0.4 * MM)
    sds = [
        map_thickness(readings, reed.style, gauges={"dial": tool}).at(where).sd[0]
        for tool in (sure, careless)
    ]
    assert sds[1] > 1.3 * sds[0]


def test_uncertain_length_moves_all_positions_together(reed, readings):
    where = [Place(Blade.MARKED, reed.transition[Blade.MARKED], 0.0)]
    sds = [
        map_thickness(readings, reed.style, common_shift=shift).at(where).sd[0]
        for shift in (0.0, 0.3 * MM)
    ]
    assert sds[1] > 1.2 * sds[0]


def test_drying_while_measured_is_found_and_taken_out(reed):
    dried = dataclasses.replace(reed, drying=2.5e-6)
    places = planned_places(reed.style)
    order = [*places, *places]
    readings = measure(dried, order, np.random.default_rng(6), seconds=20.0)
    fit = fit_profile(readings, reed.style)
    assert fit.drying == pytest.approx(2.5e-6, abs=3 * fit.covariance[-2, -2] ** 0.5)
    assert fit.drying > 3 * fit.covariance[-2, -2] ** 0.5
    still = fit_profile([dataclasses.replace(r, minutes_wet=None) for r in readings], reed.style)
    assert still.drying == 0.0


def test_a_wide_foot_is_allowed_for(reed):
    """With a 3 mm foot readings in a window are too thick; the map knows."""
    places = planned_places(reed.style)
    wide = Instrument("wide", 1e-9, 1e-6, 1e-9, 1e-9, 3 * MM)
    readings = measure(reed, places, np.random.default_rng(0), gauge=wide)
    known = map_thickness(readings, reed.style, gauges={"wide": wide})
    ignored = map_thickness(
        readings, reed.style, gauges={"wide": dataclasses.replace(wide, foot=0.0)}
    )
    window = [Place(b, 55.5 * MM, side * 1.1 * MM) for b in Blade for side in (-1, 1)]
    truth = np.array([float(reed.thickness(p.blade, p.along, p.across)) for p in window])
    errors = [np.abs(m.at(window).values - truth).mean() for m in (known, ignored)]
    assert errors[0] < 0.7 * errors[1]


def test_a_measured_gouge_replaces_the_style(reed, readings):
    where = [Place(Blade.MARKED, 48.5 * MM, 0.0)]
    base = map_thickness(readings, reed.style).at(where)
    own = map_thickness(readings, reed.style, gouge=Gouge(0.57 * MM, 0.45 * MM, 2e-6)).at(where)
    assert own.values[0] == pytest.approx(0.57 * MM, abs=8e-6)
    assert own.sd[0] < base.sd[0]


def test_dry_readings_of_a_wet_style_are_looser(reed, readings):
    dry = [dataclasses.replace(r, state=CaneState.DRY) for r in readings]
    fits = [fit_profile(r, reed.style) for r in (readings, dry)]
    assert fits[0].swelling == 0.0
    shrunk = [dataclasses.replace(r, thickness=r.thickness * 0.93) for r in dry]
    # one factor and the levels share the change, so only its direction is sure
    assert fit_profile(shrunk, reed.style).swelling < fits[1].swelling - 0.01


# Input that cannot be.


def test_wet_and_dry_together_are_refused(reed, readings):
    mixed = [dataclasses.replace(readings[0], state=CaneState.DRY), *readings[1:]]
    with pytest.raises(InputError, match="47 readings of wet cane and 1 of dry"):
        map_thickness(mixed, reed.style)


@pytest.mark.parametrize(
    ("place", "text"),
    [
        (Place(Blade.PLAIN, 0.0725, 0.0), "off the plain blade"),
        (Place(Blade.MARKED, 0.052, 0.0035), "off the marked blade"),
        (Place(Blade.MARKED, 0.006, 0.0), "outside"),
    ],
)
def test_readings_off_the_blade_are_refused(reed, place: Place, text: str):
    with pytest.raises(InputError, match=text):
        map_thickness([Reading(place, 0.4 * MM)], reed.style)


def test_absurd_readings_and_empty_tables_are_refused(reed):
    with pytest.raises(InputError, match="no readings"):
        map_thickness([], reed.style)
    with pytest.raises(InputError, match="check the zero"):
        map_thickness([Reading(Place(Blade.PLAIN, 0.06, 0.0), -0.1 * MM)], reed.style)
    with pytest.raises(InputError, match="'tape' is not known"):
        map_thickness([Reading(Place(Blade.PLAIN, 0.06, 0.0), 0.4 * MM, "tape")], reed.style)
    with pytest.raises(InputError, match="odd 3 columns"):
        map_thickness([Reading(Place(Blade.PLAIN, 0.06, 0.0), 0.4 * MM)], reed.style, shape=(10, 4))


def test_a_single_reading_is_a_map_too(reed):
    found = map_thickness([Reading(Place(Blade.PLAIN, 0.061, 0.0), 0.50 * MM)], reed.style)
    at = found.at([Place(Blade.PLAIN, 0.061, 0.0), Place(Blade.MARKED, 0.0695, 0.0)])
    assert at.sd[0] < 0.015 * MM
    prior = reed.style.thickness(0.0695, 0.0)
    assert at.values[1] == pytest.approx(float(prior), abs=3e-6)


@pytest.mark.parametrize("factor", [0.6, 1.5])
def test_a_reed_far_from_its_style_gives_a_map_not_an_error(factor: float):
    long = style("long")
    strange = [
        Reading(p.on(b), max(factor * float(long.thickness(p.along, p.across)), 0.03 * MM))
        for b in Blade
        for p in long.full
    ]
    found = map_thickness(strange, long)
    assert np.isfinite(found.mean).all()
    heart = found.at([Place(Blade.MARKED, 61 * MM, 0.0)])
    assert heart.values[0] == pytest.approx(factor * 0.47 * MM, rel=0.06)


# Which point next.


def test_next_point_is_where_nothing_was_read(reed, readings):
    windows = [r for r in readings if r.place.along > 58.5 * MM]
    for point in next_points(map_thickness(windows, reed.style), count=3):
        assert point.place.along < 58.5 * MM
        assert point.after < point.before


def test_measuring_the_next_point_brings_what_was_promised(reed):
    base = list(read(reed, 9, quick=True))
    scales = fit_profile(base, reed.style).scales
    found = map_thickness(base, reed.style, scales=scales)
    first, second = next_points(found, count=2)
    value = float(found.at([first.place]).values[0])
    more = [*base, Reading(first.place, value, seating=99, state=CaneState.WET)]
    again = next_points(map_thickness(more, reed.style, scales=scales))[0]
    # the promise is to first order: slopes and lines move a little
    assert again.before == pytest.approx(first.after, rel=0.08)
    assert second.before == pytest.approx(first.after, rel=1e-12)


def test_candidates_can_be_given(found):
    only = Place(Blade.PLAIN, 60 * MM, 0.3 * MM)
    (point,) = next_points(found, candidates=[only])
    assert (point.place, point.code) == (only, None)
    with pytest.raises(InputError, match="no point to choose"):
        next_points(found, candidates=[])
