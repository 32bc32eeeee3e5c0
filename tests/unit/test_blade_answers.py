"""Opening, flexibility, what-if, intervals and the lumped summary of a reed."""

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest

from crowlight.blade import (
    OUTPUTS,
    WET,
    BladeModes,
    Blades,
    BladeShape,
    Change,
    Lip,
    MapSpread,
    MeshSize,
    Unknown,
    brush,
    change_intervals,
    changed,
    evaluate,
    intervals,
    lumped,
    mesh_error,
    move_transition,
    pad_force,
    prepare,
    stroke_map,
    typical_scrape,
    usual_unknowns,
)
from crowlight.blade.equilibrium import settle
from crowlight.blade.flexibility import pad_rows
from crowlight.blade.similar import similar_values
from crowlight.errors import Cancelled, InputError, OutsideModel

SMALL = MeshSize(across=6, front=7, behind=4)
LENGTH = 23e-3


@pytest.fixture(scope="module")
def blades():
    return Blades(typical_scrape(), typical_scrape().changed(8e-6), size=SMALL)


@pytest.fixture(scope="module")
def answer(blades):
    return evaluate(blades, follow_modes=True)


def heart_scrape(blades, depth=20e-6):
    """Cane off the heart of the marked blade, 5.5 to 10 mm behind the tip."""
    from_tip = LENGTH - blades.marked.along
    rows = (from_tip > 5.5e-3) & (from_tip < 10e-3)
    return -depth * rows[:, None] * np.ones(blades.marked.values.shape)


def test_the_least_preload_changes_the_first_compliance_the_least():
    """Edge points that the tie leaves nanometres apart touch: no jump, and none with the mesh."""
    plain = Blades(typical_scrape(), size=SMALL)
    tied = [0.0, 1e-9, 1e-7, 1e-6, 10e-6, 30e-6]
    found = [
        evaluate(replace(plain, interference=i), maps=False).values["compliance"] for i in tied
    ]
    assert np.all(np.diff(found) > 0)
    np.testing.assert_allclose(found[1:4], found[0], rtol=1e-3)
    np.testing.assert_allclose(found, found[0], rtol=1e-2)
    default = replace(plain, interference=10e-6, size=MeshSize())
    other = evaluate(default, maps=False).values["compliance"]
    assert other == pytest.approx(found[4], rel=2e-3)


def test_of_two_modes_half_alike_each_the_lower_counts_as_alike():
    """Rounding may leave both a hair on the other side."""
    none = np.zeros((3, 3))
    half = BladeModes(np.array([2e3, 3e3, 6e3]), none, np.array([-0.003, -0.002, 1.0]), none, none)
    assert half.first_symmetric == 0


def test_a_reed_shut_by_the_lip_has_an_answer(blades):
    shut = evaluate(replace(blades, lip=Lip(centre=6e-3, force=3.0)), maps=False)
    assert shut.curve.closing_pressure == 0
    assert all(np.isfinite(v) for v in shut.values.values())
    assert any("lip alone closes" in note for note in shut.notes)


def test_a_reed_that_snaps_has_each_state_once():
    """Thin tips on a wide opening snap shut; the last state before is the end of the curve."""
    thin = typical_scrape().values.copy()
    thin[-8:] *= 0.55
    grid = replace(typical_scrape(), values=thin)
    wide = Blades(grid, shape=BladeShape(height=0.7e-3, throat_height=1.9e-3), size=SMALL)
    curve = evaluate(wide, maps=False).curve
    assert curve.snaps
    assert np.all(np.diff(curve.pressures) > 0)
    assert np.all(np.diff(curve.areas) < 0)


def test_curve_starts_at_the_measured_opening_and_ends_at_a_tenth(answer):
    curve = answer.curve
    assert curve.areas[0] == pytest.approx(2 / 3 * 7e-3 * 0.7e-3, rel=1e-9, abs=0)  # parabolic lens
    assert curve.areas[-1] == pytest.approx(0.1 * curve.areas[0], rel=1e-3, abs=0)
    assert curve.heights[0] == pytest.approx(0.7e-3, rel=1e-9, abs=0)
    assert not curve.snaps


def test_first_loss_of_area_is_the_compliance(answer):
    pair = answer.pair
    state = settle(pair, 5.0, answer.curve.rest.state, step_ends=1e-14)
    lost = (answer.values["rest_area"] - state.area) / 5.0
    assert lost == pytest.approx(answer.values["compliance"], rel=1e-3, abs=0)


def test_linear_thinking_overstates_the_closing_pressure(answer):
    """The arch flattens as it closes: the first stiffness does not last."""
    one = lumped(answer)
    assert one.linear_closing_pressure > 1.2 * one.closing_pressure
    assert one.swept_volume == pytest.approx(
        one.effective_area / answer.values["stiffness"], rel=1e-9, abs=0
    )


def test_profile_belongs_to_the_area(answer):
    for profile, area in (
        (answer.rest_profile, answer.values["rest_area"]),
        (answer.playing_profile, answer.values["area"]),
    ):
        assert np.trapezoid(profile.opening, profile.across) == pytest.approx(area, rel=5e-3, abs=0)
    profile = answer.playing_profile
    assert profile.marked[20] < profile.plain[20]
    assert profile.opening.min() > -1e-9
    assert answer.playing_profile.unevenness > 0  # the marked blade is thinner


def test_flexibility_is_the_deflection_under_a_newton(answer):
    pair, rest = answer.pair, answer.curve.rest
    table = answer.flexibility[0]
    j, i = 10, 4
    body = pair.bodies[0]
    eta = 1 - table.from_tip[j] / body.shape.free_length
    frames = body.patch.frames([table.across[i]], [eta])
    row = np.outer(body.patch.weights([table.across[i]], [eta])[0], frames.a3[0]).ravel()
    row[body.shell.band.held] = 0
    # solve with the touching points held, by elimination
    stored = body.shell.stiffness(rest.at[0])
    n, width = body.shell.mesh.n_dof, body.shell.band.width
    dense = np.zeros((n, n))
    for k in range(width + 1):
        dense[np.arange(k, n), np.arange(n - k)] = stored[k, : n - k]
    dense = dense + np.tril(dense, -1).T
    m = len(rest.rows)
    whole = np.block([[dense, rest.rows.T], [rest.rows, np.zeros((m, m))]])
    moved = np.linalg.solve(whole, np.concatenate([row, np.zeros(m)]))[:n]
    assert table.values[j, i] == pytest.approx(row @ moved, rel=1e-6, abs=0)
    assert table.values[-1, i] > 20 * table.values[j, i]  # the tip gives far more than the heart


def test_pad_force_presses_by_the_asked_depth(answer):
    pair = answer.pair
    force = pad_force(pair, depth=50e-6)
    pads = [pad_rows(b, 8e-3, 1.5e-3) for b in pair.bodies]
    loaded = replace(pair, steady=tuple(force * p for p in pads))
    state = settle(loaded, 0.0, answer.curve.rest.state)
    moved = np.mean([p @ u for p, u in zip(pads, state.u, strict=True)])
    assert moved == pytest.approx(50e-6, rel=1e-3, abs=0)
    assert 0.1 < force < 2.0  # newtons: tens to some hundred grams
    assert pad_force(pair, depth=100e-6) > force


def test_pad_that_cannot_press_so_far_says_so(answer):
    with pytest.raises(OutsideModel, match="no force up to 50 N"):
        pad_force(answer.pair, depth=1.5e-3)


def test_small_cut_is_predicted_by_the_effects(blades, answer):
    cut = Change(marked=heart_scrape(blades, 5e-6))
    after = evaluate(changed(blades, cut), maps=False).values
    guess = answer.effects.predict(marked=cut.marked)
    for name in ("closing_pressure", "compliance", "area", "mode_held", "separation"):
        assert guess[name] == pytest.approx(after[name] - answer.values[name], rel=0.1, abs=0), name
    assert set(guess) == set(OUTPUTS)


def test_clip_is_predicted_by_the_effects(blades, answer):
    after = evaluate(changed(blades, Change(clip=0.05e-3)), maps=False).values
    guess = answer.effects.predict(clip=0.05e-3)
    for name in ("closing_pressure", "compliance", "mode_held", "rest_area"):
        assert guess[name] == pytest.approx(after[name] - answer.values[name], rel=0.05, abs=0), (
            name
        )
    assert guess["closing_pressure"] > 0


def test_warm_curve_is_the_full_curve_within_its_stated_error(blades, answer):
    cut = Change(marked=heart_scrape(blades))
    warm = prepare(answer).solve(cut)
    full = evaluate(changed(blades, cut), maps=False)
    for pressure, area in zip(warm.pressures, warm.areas, strict=True):
        state = settle(full.pair, pressure, full.curve.nearest(pressure))
        assert area == pytest.approx(state.area, abs=warm.area_error)
    share = warm.closing_pressure / full.values["closing_pressure"] - 1
    assert abs(share) <= warm.closing_error < 0.01
    for name in ("area", "height", "tilt", "unevenness"):
        moved = full.values[name] - answer.values[name]
        assert warm.values[name] == pytest.approx(
            full.values[name], abs=0.05 * abs(moved) + 1e-12
        ), name


@pytest.mark.parametrize("depth", [0.0, 1e-9, 3e-6])
def test_warm_curve_of_next_to_no_cut_closes_where_it_did(blades, answer, depth):
    warm = prepare(answer).solve(Change(marked=heart_scrape(blades, depth)))
    expected = answer.effects.predict(marked=heart_scrape(blades, depth))["closing_pressure"]
    shift = warm.closing_pressure - answer.values["closing_pressure"]
    assert shift == pytest.approx(expected, abs=5.0)  # pascals


def test_a_reed_shut_before_its_last_state_has_no_closing_pressure(answer):
    ready = prepare(answer)
    last = ready.states[-1]
    shut = replace(last, area=0.0)
    for before in (replace(shut, pressure=last.pressure - 200.0), shut):
        pressure, slope = ready.closing(answer.pair, [before, shut], 1e-6)
        assert math.isnan(pressure)
        assert math.isnan(slope)


def test_warm_curve_needs_the_same_mesh_and_blades(blades, answer):
    with pytest.raises(OutsideModel, match="clip"):
        prepare(answer).solve(Change(clip=0.1e-3))
    alike = evaluate(Blades(typical_scrape(), size=SMALL), maps=False)
    with pytest.raises(OutsideModel, match="apart"):
        prepare(alike).solve(Change(marked=-1e-6))


def test_changes_leave_the_original_alone(blades):
    before = blades.marked.values.copy()
    after = changed(blades, Change(marked=-5e-6, clip=0.1e-3))
    np.testing.assert_array_equal(blades.marked.values, before)
    assert after.shape.free_length == pytest.approx(22.9e-3)
    assert after.marked.values.max() == pytest.approx(before.max() - 5e-6, rel=1e-9, abs=0)


def test_moving_the_transition_only_takes_cane_off():
    grid = typical_scrape()
    cut = move_transition(grid, start=2e-3, end=6e-3, by=0.8e-3, length=LENGTH)
    assert cut.max() <= 0
    assert cut.min() < -20e-6
    from_tip = LENGTH - grid.along
    assert np.all(cut[from_tip > 11e-3] == 0)
    assert np.all(cut[from_tip < 0.3e-3] > -5e-6)


def test_stroke_map_is_the_prediction_of_each_stroke(answer, blades):
    grid = blades.marked
    shown = stroke_map(answer.effects.marked("closing_pressure"), grid, cane=10e-6, radius=1.5e-3)
    j, i = 30, 4
    stroke = brush(grid, across=grid.across[i], along=grid.along[j], radius=1.5e-3)
    guess = answer.effects.predict(marked=-10e-6 * stroke)["closing_pressure"]
    assert shown[j, i] == pytest.approx(guess, rel=1e-9, abs=0)
    assert shown[j, i] < 0


def test_intervals_follow_the_law_of_propagation(blades, answer):
    """One unknown alone: the spread is the slope times its standard deviation."""

    def opening(b: Blades, t: float) -> Blades:
        return replace(b, shape=replace(b.shape, height=b.shape.height * np.exp(0.01 * t)))

    known = intervals(answer, [Unknown("rest opening", "made up", opening)], samples=0)
    assert known["rest_area"].spread == pytest.approx(
        0.01 * answer.values["rest_area"], rel=1e-4, abs=0
    )
    assert known["rest_area"].shares == {"rest opening": 1.0}
    assert known["closing_pressure"].low < known["closing_pressure"].value
    assert {i.method for i in known.values()} == {"linearised"}


def test_map_spread_from_samples_and_from_covariance_agree(blades, answer):
    rng = np.random.default_rng(2)
    samples = 5e-6 * rng.standard_normal((60, blades.marked.size))
    cov = np.cov(samples.T)
    shape = blades.marked.values.shape
    one = intervals(
        answer, [], marked=MapSpread.from_samples(samples.reshape(60, *shape)), samples=0
    )
    two = intervals(answer, [], marked=MapSpread.from_covariance(cov), samples=0)
    for name in ("closing_pressure", "tilt"):
        assert one[name].spread == pytest.approx(two[name].spread, rel=1e-6, abs=0)


@pytest.mark.parametrize(
    ("bend", "method"),
    [
        (lambda t: 0.05 * t + 0.08 * min(t * t, 4.0), "curved"),
        (lambda t: 0.05 * t + 0.08 * np.sin(5 * t) ** 2, "sampled"),
    ],
)
def test_unknowns_that_act_crookedly_are_solved_for_and_say_so(answer, bend, method):
    def opening(b: Blades, t: float) -> Blades:
        return replace(b, shape=replace(b.shape, height=b.shape.height * (1 + bend(t))))

    found = intervals(
        answer,
        [Unknown("rest opening", "made up", opening)],
        samples=10,
        rng=np.random.default_rng(4),
    )
    closing = found["closing_pressure"]
    assert closing.method == method
    opened = 1 + np.array([bend(t) for t in np.random.default_rng(1).standard_normal(20_000)])
    # the closing pressure goes with a power of the opening, about 1.2
    power = np.log(11.23 / 5.71) / np.log(0.9 / 0.5)  # see docs/theory/blade.md
    wanted = closing.value * np.quantile(opened, [0.05, 0.95]) ** power
    assert [closing.low, closing.high] == pytest.approx(wanted.tolist(), rel=0.07)


def test_a_similar_reed_is_solved_as_it_would_be_from_rest(blades, answer):
    other = replace(
        blades,
        marked=blades.marked.changed(-5e-6),
        cane=blades.cane.scaled(along=0.8, across=1.2),
        shape=replace(blades.shape, height=0.38e-3),
    )
    near = similar_values(answer, other)
    modes = len(answer.free[0].frequencies)
    full = evaluate(other, maps=False, modes=modes).values
    assert set(near) == set(full)
    for name, value in full.items():
        assert near[name] == pytest.approx(value, rel=5e-4, abs=1e-9), name
    few = similar_values(answer, other, names=["area"])
    assert "mode_free" not in few
    assert few["area"] == near["area"]


def test_usual_unknowns_give_wide_bands_for_an_unmeasured_reed(blades, answer):
    found = intervals(answer, usual_unknowns(blades), samples=0)
    closing = found["closing_pressure"]
    assert closing.high / closing.low > 1.4
    assert sum(closing.shares.values()) == pytest.approx(1)


def test_the_effect_of_a_cut_is_surer_than_either_state(blades, answer):
    after = evaluate(changed(blades, Change(marked=heart_scrape(blades, 10e-6))))
    unknowns = usual_unknowns(blades)
    effect = change_intervals(answer, after, unknowns)["closing_pressure"]
    alone = intervals(answer, unknowns, samples=0)["closing_pressure"]
    assert effect.value == pytest.approx(
        after.values["closing_pressure"] - answer.values["closing_pressure"]
    )
    assert effect.spread < 0.1 * alone.spread
    assert effect.high < 0  # it softens the reed, whatever the cane


def test_intervals_need_maps_and_a_generator(blades, answer):
    with pytest.raises(InputError, match="maps=True"):
        intervals(evaluate(blades, maps=False), [], samples=0)
    with pytest.raises(InputError, match="rng"):
        intervals(answer, [])


def test_mesh_error_is_small_on_the_default_mesh():
    coarse = evaluate(Blades(typical_scrape()), maps=False)
    error = mesh_error(coarse)
    assert abs(error["closing_pressure"]) < 0.01
    assert abs(error["mode_held"]) < 0.005


def test_answers_travel_between_processes(answer):
    back = pickle.loads(pickle.dumps(answer))  # noqa: S301  our own bytes
    assert back.values == answer.values
    assert back.outputs["tilt"].by_thickness({})[0].shape == (6 * 11, 9)


def test_preparing_twice_and_solving_twice_gives_the_same(blades, answer):
    ready, cut = prepare(answer), Change(marked=heart_scrape(blades))
    one, two = ready.solve(cut), ready.solve(cut)
    np.testing.assert_array_equal(one.areas, two.areas)


def test_evaluation_can_be_stopped(blades):
    def stop(done: float) -> None:
        if done > 0.1:
            raise Cancelled

    with pytest.raises(Cancelled):
        evaluate(blades, report=stop)


def test_blades_of_unequal_length_are_refused():
    with pytest.raises(InputError, match="cannot meet at the tip"):
        Blades(typical_scrape(), plain_shape=BladeShape(length=22e-3))


def test_blades_may_differ_in_shape_and_cane():
    reed = Blades(
        typical_scrape(),
        plain_shape=BladeShape(height=0.25e-3),
        plain_cane=WET.scaled(along=1.5, across=1.5, shear=1.5),
        size=SMALL,
    )
    found = evaluate(reed, maps=False)
    assert found.values["rest_height"] == pytest.approx(0.6e-3, rel=1e-9, abs=0)
    assert found.values["unevenness"] > 0.1  # the softer, marked blade gives more
    assert found.free[1].frequencies[0] > found.free[0].frequencies[0]
    assert len(found.rest_profile.opening) == 41


def test_thick_arch_is_noted(answer):
    assert any("thin-shell theory" in note for note in answer.notes)
