"""Bore and reed against closed forms, published numbers and a general solver."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from crowlight.checks import bore
from crowlight.checks.case import Check
from crowlight.crow import ReedParameters, find_resonances, onsets, simulate, stacked, staple_bore
from crowlight.crow.duct import Duct, cone
from crowlight.crow.stability import equilibrium
from crowlight.crow.timedomain import rates
from crowlight.materials import breath


@pytest.mark.parametrize("case", list(bore.cases()), ids=lambda c: c.name)
def test_published_value(case: Check) -> None:
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"


def test_cone_resonances_converge_with_the_square_of_the_slices() -> None:
    # Closed form tan(k L) = -k x0; slices that keep the volume are second order.
    air = breath(101325.0)
    small, large, length = 1.2e-3, 2.4e-3, 47e-3
    apex = small * length / (large - small)
    k = 1e-9 + np.linspace(30.0, 66.0, 200001)
    exact = float(k[np.abs(np.tan(k * length) + k * apex).argmin()])
    exact *= float(air.speed_of_sound) / (2.0 * np.pi)
    errors = []
    counts = [6, 12, 24, 48]
    for slices in counts:
        made = cone(small, large, length, slices=slices)
        duct = Duct(made.length, made.area, made.loss_radius, None, lossless=True)
        errors.append(abs(bore.lossless_resonances(duct, air, (exact,))[0] - exact))
    rate = -np.polyfit(np.log(counts), np.log(errors), 1)[0]
    assert rate == pytest.approx(2.0, abs=0.1)


# Blowing at which the crow is a plain single note: no bifurcation near, so that two integrators
# must agree on the sound itself and not only on its statistics.
@pytest.mark.parametrize("blowing", [5000.0, 9000.0])
def test_time_domain_agrees_with_lsoda(blowing: float) -> None:
    reed, air_column = ReedParameters(), find_resonances(staple_bore(), breath(101325.0))
    fs, seconds = 192e3, 0.04
    motion = simulate(
        [reed], air_column, np.full(round(seconds * fs), blowing), sample_rate=fs, kick=1e-2
    )
    still = equilibrium(stacked([reed]), air_column, np.array([blowing]))
    modes = -air_column.residues / air_column.poles * still.flow[0]
    start = np.concatenate(
        [[still.opening[0] - 1.0 + 1e-2, 0.0, still.flow[0]], modes.real, modes.imag]
    )
    times = np.arange(motion.pressure.shape[1]) / fs
    solved = solve_ivp(
        lambda _, y: rates(y, reed, air_column, blowing),
        (0.0, seconds),
        start,
        method="LSODA",
        rtol=1e-6,
        atol=1e-8,
        t_eval=times,
    )
    theirs = 2.0 * solved.y[3 : 3 + len(modes)].sum(axis=0)
    late = times > 0.025
    # Level and pitch: 1 % and 0.4 %, what the step of 1/192 kHz allows.
    ours = motion.pressure[0]
    assert ours[late].std() == pytest.approx(theirs[late].std(), rel=0.01)
    assert _pitch(ours[late], fs) == pytest.approx(_pitch(theirs[late], fs), rel=0.004)


def _pitch(sound: np.ndarray, fs: float) -> float:
    spectrum = np.abs(np.fft.rfft((sound - sound.mean()) * np.hanning(len(sound)), 1 << 18))
    return float(spectrum.argmax()) * fs / (1 << 18)


def test_the_crow_starts_where_its_growth_rate_crosses_zero() -> None:
    # Closed loop between two routes: threshold by Newton's method, growth by time stepping.
    reed, air_column = ReedParameters(), find_resonances(staple_bore(), breath(101325.0))
    start = onsets([reed], air_column)
    fs = 96e3
    for share, grows in ((0.97, False), (1.03, True)):
        blowing = np.full(round(0.06 * fs), share * start.pressure[0])
        moved = simulate([reed], air_column, blowing, sample_rate=fs, kick=1e-6).opening[0]
        moved = moved - moved[-1] if not grows else moved - moved[: len(moved) // 4].mean()
        early, late = np.abs(moved[1000:2000]).max(), np.abs(moved[-2000:-1000]).max()
        assert bool(late > early) is grows
