"""What must hold for any reed and any air."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from crowlight.crow import (
    NOTES,
    ReedParameters,
    find_resonances,
    loop_gain,
    onsets,
    played_bore,
    scaled,
    simulate,
    stacked,
    staple_bore,
    steady_flow,
)
from crowlight.crow.stability import growth_modes
from crowlight.materials import breath, standard_atmosphere

reeds = st.builds(
    ReedParameters,
    opening_area=st.floats(1.5e-6, 5e-6),
    closing_pressure=st.floats(8e3, 18e3),
    swept_volume=st.floats(2e-9, 18e-9),
    frequency=st.floats(1500.0, 3000.0),
    damping=st.floats(0.08, 0.5),
)
altitudes = st.floats(200.0, 5000.0)
SEA = breath(101325.0)
HOME = find_resonances(staple_bore(), SEA)


@given(altitude=altitudes, note=st.sampled_from(["crow", *NOTES]))
@settings(max_examples=20)
def test_loop_gain_is_proportional_to_density(altitude: float, note: str) -> None:
    # Wall losses alone give an exponent of 1, radiation alone one half of it less: 0.9 to 1.1.
    duct = staple_bore() if note == "crow" else played_bore(NOTES[note].length)
    thin = breath(standard_atmosphere(altitude).pressure)
    arrays = stacked([ReedParameters()])
    low, high = (loop_gain(arrays, find_resonances(duct, air, modes=3)) for air in (SEA, thin))
    exponent = np.log(high / low) / np.log(float(thin.density / SEA.density))
    assert 0.9 < float(exponent[0]) < 1.1


@given(reed=reeds, altitude=altitudes)
@settings(max_examples=20)
def test_volume_flow_goes_as_one_over_root_density(reed: ReedParameters, altitude: float) -> None:
    thin = breath(standard_atmosphere(altitude).pressure)
    there = find_resonances(staple_bore(), thin, modes=3)
    here = find_resonances(staple_bore(), SEA, modes=3)
    arrays, blowing = stacked([reed]), np.array([0.3 * reed.closing_pressure])
    ratio = float(steady_flow(arrays, there, blowing)[0] / steady_flow(arrays, here, blowing)[0])
    density = float(thin.density / SEA.density)
    # The bore's small steady resistance takes a little of the gain.
    assert np.log(ratio) / np.log(density) == pytest.approx(-0.5, abs=0.06)


@given(reed=reeds, altitude=altitudes)
@settings(max_examples=15)
def test_wider_and_softer_undoes_thinner_air(reed: ReedParameters, altitude: float) -> None:
    thin = breath(standard_atmosphere(altitude).pressure)
    there = find_resonances(staple_bore(), thin)
    r = float(thin.density / SEA.density)
    changed = scaled(reed, opening=1.0 / r, stiffness=r)
    same = loop_gain(stacked([changed]), there) / loop_gain(stacked([reed]), HOME)
    # Exact for gain proportional to density: the same 0.1 in the exponent as above.
    assert abs(np.log(float(same[0])) / np.log(r)) < 0.1
    assert changed.closing_pressure == pytest.approx(reed.closing_pressure)


@given(reed=reeds)
@settings(max_examples=25)
def test_a_reed_nobody_blows_is_quiet(reed: ReedParameters) -> None:
    modes = growth_modes(stacked([reed]), HOME, np.array([1.0]))
    assert modes.real.max() < 0.0


def energy(reed: ReedParameters, kick: float, rate: float) -> tuple[float, float, float]:
    """Let go of a reed nobody blows.

    Returns
    -------
    gain, bound : float
        By how much its energy later exceeds what it was earlier at most, and what the scheme may
        misplace [J].
    given_away : float
        The least that has ever gone into the bore [J].
    """
    n = round(12000 * rate / 768e3)
    motion = simulate([reed], HOME, np.zeros(n), sample_rate=rate, kick=kick)
    x = motion.opening[0] - 1.0
    v = np.gradient(x, 1.0 / rate)
    omega = 2.0 * np.pi * reed.frequency
    overlap = np.maximum(-motion.opening[0], 0.0)
    spring = 0.5 * x**2 + 0.5 * (v / omega) ** 2 + reed.contact_stiffness * overlap**2.5 / 2.5
    power = motion.pressure[0] * motion.flow[0]
    given_away = np.concatenate([[0.0], np.cumsum(0.5 * (power[1:] + power[:-1])) / rate])
    flow = motion.flow[0] + reed.swept_volume * v
    mass = stacked([reed]).channel_inertance(motion.opening[0], HOME.density) + HOME.inertance
    # The model lets the inertance follow the opening and leaves out the force that takes: what this
    # adds to the energy of the flow, half its square for every change of inertance, is counted out.
    square = 0.25 * (flow[1:] ** 2 + flow[:-1] ** 2)
    unpaid = np.concatenate([[0.0], np.cumsum(square * np.diff(mass))])
    total = reed.closing_pressure * reed.swept_volume * spring + 0.5 * mass * flow**2
    total += given_away - unpaid
    total = total[2:-2]  # one-sided differences at the ends
    gain = np.maximum.accumulate(total[::-1])[::-1] - total
    # A central difference misplaces energy within a cycle, (omega dt)^2 / 2 at the stiffest moment
    # of contact; and reed and bore answer each other a step late, which misplaces what passes
    # between them in half of it.
    stiffest = 1.0 + 1.5 * reed.contact_stiffness * np.sqrt(overlap.max())
    misplaced = 0.5 * (omega / rate) ** 2 * stiffest * total[0]
    late = 0.5 * np.abs(power).max() / rate
    return float(gain.max()), float(misplaced + late), float(given_away.min())


@given(reed=reeds, kick=st.floats(-1.3, 1.0))
@example(
    reed=ReedParameters(
        opening_area=4.212809532491327e-06,
        closing_pressure=8000.0,
        swept_volume=1.2593366792912703e-08,
        frequency=2953.0,
        damping=0.5,
    ),
    kick=-1.296875,
)
@settings(max_examples=15)
def test_a_passive_reed_never_gains_energy(reed: ReedParameters, kick: float) -> None:
    gain, bound, given_away = energy(reed, kick, 768e3)
    assert gain <= bound + 1e-18
    assert given_away >= -bound - 1e-18  # what went into the bore never comes back as more


def test_energy_is_gained_by_the_step_alone() -> None:
    """Half the step, about half the gain: reed and bore answer each other a step late."""
    reed = ReedParameters(5e-6, 8000.0, 1.7666e-8, 2584.0, 0.125)
    gains = [energy(reed, 0.5, rate)[0] for rate in (192e3, 384e3, 768e3)]
    assert all(1.7 < coarse / fine < 2.7 for coarse, fine in pairwise(gains))


@given(reed=reeds)
@settings(max_examples=20)
def test_threshold_lies_below_closing_and_scales_with_pressure_units(reed: ReedParameters) -> None:
    found = onsets([reed], HOME)
    if np.isfinite(found.pressure[0]):
        assert 0.0 < found.pressure[0] < reed.closing_pressure
        assert 300.0 < found.frequency[0] < 4000.0
