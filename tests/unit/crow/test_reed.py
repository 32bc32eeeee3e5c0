"""Reeds, their thresholds and their motion."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.crow import (
    CROW_PRIOR,
    LIP_PRIOR,
    NOTES,
    ReedParameters,
    Staple,
    blow_steadily,
    crow_sound,
    draw_reeds,
    find_resonances,
    loop_gain,
    marching,
    onsets,
    onsets_from,
    played_bore,
    scaled,
    simulate,
    stacked,
    staple_bore,
    steady_flow,
    thresholds,
    timedomain,
    tracked_mode,
)
from crowlight.crow.stability import equilibrium, follow, growth_modes
from crowlight.errors import InputError, MissingExtra, OutsideModel
from crowlight.materials import breath, standard_atmosphere

BORE = find_resonances(staple_bore(), breath(101325.0))
REED = ReedParameters()
CAVITIES = [
    find_resonances(staple_bore(Staple(cavity_loss_radius=1e-4 * k)), breath(101325.0))
    for k in range(4, 9)
]


def test_the_steady_state_balances_jet_and_bore() -> None:
    arrays = stacked([REED])
    blowing = np.array([5000.0])
    still = equilibrium(arrays, BORE, blowing)
    assert still.drop[0] + BORE.steady * still.flow[0] == pytest.approx(5000.0)
    jet = 0.5 * BORE.density * (still.flow[0] / still.area[0]) ** 2
    assert jet == pytest.approx(still.drop[0])
    assert steady_flow(arrays, BORE, blowing)[0] == still.flow[0]


@given(
    area=st.floats(0.05e-6, 20e-6),
    closing=st.floats(500.0, 100e3),
    share=st.floats(1e-4, 0.99),
    cavity=st.sampled_from(range(len(CAVITIES))),
)
def test_any_reed_blown_at_any_pressure_is_in_balance(area, closing, share, cavity) -> None:
    """Bernoulli's drop and the bore's share of the pressure add up, for the opening they leave."""
    reed = replace(REED, opening_area=area, closing_pressure=closing)
    bore = CAVITIES[cavity]
    blowing = share * closing
    still = equilibrium(stacked([reed]), bore, np.array([blowing]))
    drop = float(still.drop[0])
    jet = stacked([reed]).jet_area(np.array([1.0 - drop / closing]))[0][0]
    flow = jet * np.sqrt(2.0 * drop / bore.density)
    assert drop + bore.steady * flow == pytest.approx(blowing, rel=1e-9)
    assert still.flow[0] == pytest.approx(flow, rel=1e-9)


def test_flow_is_greatest_at_a_third_of_closing() -> None:
    # Exact for a straight closing curve without bore resistance: dp = pM / 3.
    free = replace(BORE, residues=BORE.residues * 1e-9, resistance=0.0)
    arrays = stacked([replace(REED, softness=1e-4)] * 2001)
    blowing = np.linspace(0.2, 0.5, 2001) * REED.closing_pressure
    flow = steady_flow(arrays, free, blowing)
    assert blowing[flow.argmax()] / REED.closing_pressure == pytest.approx(1.0 / 3.0, abs=1e-3)


def test_eigenvalues_and_characteristic_equation_agree() -> None:
    reeds = stacked(draw_reeds(np.random.default_rng(4), 10))
    blowing = 0.4 * reeds.closing_pressure
    modes = growth_modes(reeds, BORE, blowing)
    audible = np.where((modes.imag > 3000.0) & (modes.imag < 2e4), modes.real, -np.inf)
    chosen = modes[np.arange(10), audible.argmax(axis=1)]
    refined = follow(reeds, BORE, blowing, chosen * (1.0 + 1e-4))
    np.testing.assert_allclose(refined, chosen, rtol=1e-7)


def test_nothing_grows_below_the_threshold_and_one_mode_does_above() -> None:
    found = onsets([REED], BORE)
    reeds = stacked([REED])
    below = growth_modes(reeds, BORE, 0.999 * found.pressure)
    above = growth_modes(reeds, BORE, 1.001 * found.pressure)
    assert below.real.max() < 0.0
    growing = above[above.real > 0.0]
    assert len(growing) == 2  # a conjugate pair
    assert abs(growing[0].imag) / (2.0 * np.pi) == pytest.approx(found.frequency[0], rel=1e-3)


def test_the_tracked_mode_crosses_zero_at_the_threshold() -> None:
    found = onsets([REED], BORE)
    blowing = np.linspace(0.5, 2.0, 61) * found.pressure[0]
    mode = tracked_mode(REED, BORE, blowing)
    crossing = np.interp(0.0, mode.growth[:40], blowing[:40])
    assert crossing == pytest.approx(found.pressure[0], rel=1e-3)
    # One branch: no jumps, and always one of the eigenvalues.
    assert np.abs(np.diff(mode.frequency)).max() < 0.03 * found.frequency[0]
    for i in (0, 30, 60):
        every = growth_modes(stacked([REED]), BORE, blowing[i : i + 1])[0]
        s = complex(mode.growth[i], 2.0 * np.pi * mode.frequency[i])
        assert np.abs(every - s).min() < 1e-5 * abs(s)


def test_tracking_asks_for_order_and_a_reed_that_sounds() -> None:
    with pytest.raises(InputError, match="pressures must rise; sort them"):
        tracked_mode(REED, BORE, np.array([5e3, 4e3]))
    dead = replace(REED, opening_area=0.06e-6, damping=3.0, frequency=200.0)
    with pytest.raises(OutsideModel, match="no mode to follow"):
        tracked_mode(dead, BORE, np.array([4e3, 5e3]))


def test_thresholds_equal_plain_bisection_on_eigenvalues() -> None:
    # The plain way, reed by reed, against the scan with Newton's method.
    reeds = stacked(draw_reeds(np.random.default_rng(12), 25))
    found = onsets(reeds, BORE)
    plain = thresholds._bisected(reeds, BORE, 1.001 * found.pressure, (1.0, 1e6))
    np.testing.assert_allclose(plain.pressure, found.pressure, rtol=1e-9)
    np.testing.assert_allclose(plain.frequency, found.frequency, rtol=1e-6)


def test_continued_thresholds_equal_those_from_scratch() -> None:
    reeds = draw_reeds(np.random.default_rng(6), 40)
    high = breath(standard_atmosphere(2200.0).pressure)
    there = find_resonances(staple_bore(), high)
    continued = onsets_from(onsets(reeds, BORE), reeds, there)
    scratch = onsets(reeds, there)
    np.testing.assert_allclose(continued.pressure, scratch.pressure, rtol=1e-6)
    np.testing.assert_allclose(continued.frequency, scratch.frequency, rtol=1e-6)


def test_a_reed_that_cannot_sound_gives_nan_and_no_error() -> None:
    dead = replace(REED, opening_area=0.06e-6, damping=3.0, frequency=200.0)
    found = onsets([dead, REED], BORE)
    assert np.isnan(found.pressure[0])
    assert np.isfinite(found.pressure[1])


def test_the_register_asked_for_is_the_one_that_is_found() -> None:
    air = breath(101325.0, temperature=301.15)
    lip = draw_reeds(np.random.default_rng(2), 20, prior=LIP_PRIOR)
    found = {}
    for name in ("middle", "high"):
        note = NOTES[name]
        bore = find_resonances(played_bore(note.length), air)
        low, high = note.near(bore.frequencies)
        found[name] = onsets(lip, bore, near=(low, high)).frequency
        heard = found[name][np.isfinite(found[name])]
        assert ((heard > 0.95 * low) & (heard < 1.05 * high)).all()
    assert np.nanmedian(found["high"]) > 1.6 * np.nanmedian(found["middle"])


def test_scaling_opening_and_stiffness_moves_what_belongs_together() -> None:
    changed = scaled(REED, opening=1.2, stiffness=0.5)
    assert changed.opening_area == pytest.approx(1.2 * REED.opening_area)
    assert changed.swept_volume == pytest.approx(1.2 * REED.swept_volume)
    assert changed.closing_pressure == pytest.approx(0.6 * REED.closing_pressure)
    assert changed.frequency == pytest.approx(0.5**0.5 * REED.frequency)


@pytest.mark.skipif(marching.compiled() is None, reason="the extra [sound] is not installed")
def test_numba_and_numpy_march_alike() -> None:
    reeds = draw_reeds(np.random.default_rng(8), 3)
    blowing = np.full((3, 1000), 6000.0) * np.linspace(0.0, 1.0, 1000)
    fast = simulate(reeds, BORE, blowing, engine="numba", kick=1e-3)
    slow = simulate(reeds, BORE, blowing, engine="numpy", kick=1e-3)
    # The sums run in another order: rounding grows with the oscillation.
    for name in ("pressure", "opening", "flow"):
        ours, reference = getattr(fast, name), getattr(slow, name)
        np.testing.assert_allclose(ours, reference, atol=1e-6 * np.abs(reference).max())


def test_bore_modes_answer_a_ramp_of_flow_exactly() -> None:
    # Closed form of p' = s p + C (U0 + (U1 - U0) t / dt) over one step, by the general solution.
    dt, u0, u1, p0 = 1.0 / 48e3, 2e-5, 5e-5, 700.0 + 300.0j
    e, w0, w1 = timedomain._weights(BORE, dt)
    s, c = BORE.poles, BORE.residues
    slope = (u1 - u0) / dt
    # Particular solution a + b t with b = -C slope / s and a = (b - C u0) / s.
    b = -c * slope / s
    a = (b - c * u0) / s
    exact = (p0 - a) * np.exp(s * dt) + a + b * dt
    np.testing.assert_allclose(e * p0 + w0 * u0 + w1 * u1, exact, rtol=1e-9)


def test_without_numba_the_reference_takes_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(marching, "compiled", lambda: None)
    assert timedomain._engine("auto") is marching.march_numpy
    with pytest.raises(MissingExtra, match=r"crowlight\[sound\]"):
        simulate([REED], BORE, np.full(100, 5000.0), engine="numba")


def test_nowhere_to_keep_compiled_code_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    numba = pytest.importorskip("numba", reason="the extra [sound] is not installed")
    asked: list[bool] = []

    def njit(*, cache: bool = False, **_: object):
        asked.append(cache)
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return lambda loop: loop

    monkeypatch.setattr(numba, "njit", njit)
    marching.compiled.cache_clear()
    try:
        assert marching.compiled() is marching._march_loop
    finally:
        marching.compiled.cache_clear()
    assert asked == [True, False]


def test_a_steady_state_stays_when_nothing_disturbs_it() -> None:
    motion = simulate([REED], BORE, np.full(2000, 3000.0))
    assert np.ptp(motion.pressure[0]) < 1e-6 * 3000.0


def test_only_the_wanted_samples_are_kept_and_are_the_same() -> None:
    blowing = np.full(3000, 6000.0)
    whole = simulate([REED], BORE, blowing, kick=1e-3)
    late = simulate([REED], BORE, blowing, kick=1e-3, keep_from=2000)
    np.testing.assert_array_equal(late.pressure, whole.pressure[:, 2000:])


def test_inputs_are_not_changed() -> None:
    blowing = np.full(500, 6000.0)
    simulate([REED], BORE, blowing, kick=1e-3)
    np.testing.assert_array_equal(blowing, 6000.0)


@pytest.mark.parametrize(
    ("options", "question"),
    [
        ({"sample_rate": 8e3}, "sample rate 8000 Hz is outside"),
        ({"keep_from": 100}, "keep_from 100 is outside the 100 samples"),
        ({"engine": "fortran"}, "choose 'auto', 'numba' or 'numpy'"),
    ],
)
def test_bad_options_are_refused(options, question) -> None:
    with pytest.raises(InputError, match=question):
        simulate([REED], BORE, np.full(100, 5000.0), **options)


def test_motion_that_runs_away_names_the_remedy() -> None:
    # The reed's explicit step is unstable beyond omega dt = 2.
    light = replace(REED, frequency=19e3)
    with pytest.raises(OutsideModel, match="compute with 40000 Hz"):
        simulate([light], BORE, np.full(2000, 5000.0), sample_rate=20e3, kick=0.1)


@pytest.mark.parametrize(
    ("name", "value", "question"),
    [
        ("opening_area", 3.0, r"is it in mm2\?"),
        ("closing_pressure", 12.0, r"is it in kPa\?"),
        ("swept_volume", 7.0, r"is it in mm3\?"),
        ("frequency", float("nan"), "reed frequency nan Hz"),
    ],
)
def test_reed_values_in_the_wrong_unit_are_asked_about(name, value, question) -> None:
    with pytest.raises(InputError, match=question):
        replace(REED, **{name: value})


def test_no_reeds_and_no_range_are_refused() -> None:
    with pytest.raises(InputError, match="no reeds given"):
        onsets([], BORE)
    with pytest.raises(InputError, match="must rise; swap the two"):
        onsets([REED], BORE, near=(900.0, 300.0))
    with pytest.raises(OutsideModel, match="1 thresholds cannot start 2 reeds"):
        onsets_from(onsets([REED], BORE), [REED, REED], BORE)


def test_priors_are_as_wide_as_stated() -> None:
    for prior in (CROW_PRIOR, LIP_PRIOR):
        reeds = stacked(draw_reeds(np.random.default_rng(9), 4000, prior=prior))
        for name, spread in prior.items():
            low, high = np.quantile(getattr(reeds, name), [0.05, 0.95])
            assert low == pytest.approx(spread.low, rel=0.06)
            assert high == pytest.approx(spread.high, rel=0.06)


def test_model_sound_is_bounded_and_comparable() -> None:
    quiet = blow_steadily(np.array([5000.0]), sample_rate=96e3, duration=0.15)[0]
    loud = blow_steadily(np.array([9000.0]), sample_rate=96e3, duration=0.15)[0]
    first = crow_sound(REED, BORE, loud)
    second = crow_sound(REED, BORE, quiet, full_scale=first.full_scale)
    assert first.sample_rate == 48_000
    assert len(first.samples) == 7200
    assert np.abs(first.samples).max() == pytest.approx(1.0)
    assert second.samples.std() < first.samples.std()
    with pytest.raises(InputError, match="must be positive; take it from the first sound"):
        crow_sound(REED, BORE, quiet, full_scale=0.0)


def test_loop_gain_predicts_the_threshold_of_a_quick_reed() -> None:
    # Closed form gain (3 g - 1) / (2 sqrt g) = 1 on the crow's own bore, reed far above it.
    quick = replace(
        REED, swept_volume=0.0, frequency=20e3, damping=0.3, channel_length=1e-6, softness=1e-4
    )
    alone = replace(
        BORE,
        poles=BORE.poles[:1],
        residues=BORE.residues[:1].real + 0j,
        resistance=0.0,
        inertance=0.0,
    )
    arrays = stacked([quick])
    threshold = onsets([quick], alone, near=(1000.0, 2000.0)).pressure
    # The closed form counts the drop across the slit; the bore's steady resistance takes the rest.
    g = float(equilibrium(arrays, alone, threshold).drop[0]) / quick.closing_pressure
    y = 1.0 / float(loop_gain(arrays, alone)[0])
    assert g == pytest.approx(((y + np.sqrt(y * y + 3.0)) / 3.0) ** 2, rel=0.01)
