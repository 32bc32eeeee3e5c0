"""Ducts, radiation and resonances."""

import numpy as np
import pytest
from scipy.signal import find_peaks

from crowlight.crow import NOTES, Staple, find_resonances, played_bore, staple_bore
from crowlight.crow.duct import Duct, cylinder, input_impedance, joined
from crowlight.crow.radiation import levine_schwinger, radiation_impedance
from crowlight.errors import InputError, OutsideModel
from crowlight.materials import breath, room_air, standard_atmosphere

AIR = breath(101325.0)
AXIS = 2j * np.pi * np.linspace(50.0, 8000.0, 200)


def test_a_cylinder_cut_in_two_is_the_same_cylinder() -> None:
    area = 5e-6
    whole = input_impedance(cylinder(0.08, area), AXIS, AIR)
    halves = joined(cylinder(0.03, area), cylinder(0.05, area))
    np.testing.assert_allclose(input_impedance(halves, AXIS, AIR), whole, rtol=1e-9)


def test_conjugate_frequencies_give_conjugate_impedances() -> None:
    s = np.array([-200.0 + 9000.0j, 100.0 + 3000.0j])
    z = input_impedance(staple_bore(), s, AIR)
    np.testing.assert_allclose(input_impedance(staple_bore(), s.conj(), AIR), z.conj(), rtol=1e-10)


@pytest.mark.parametrize("bore", [staple_bore(), played_bore(0.18)])
def test_a_bore_takes_energy_and_gives_none(bore: Duct) -> None:
    assert (input_impedance(bore, AXIS, AIR).real > 0.0).all()


def test_losses_lower_and_widen_the_resonances() -> None:
    lossy = find_resonances(cylinder(0.1, 3e-6), AIR, modes=2)
    assert (lossy.poles.real < 0.0).all()
    quarter = float(AIR.speed_of_sound) / 0.4
    assert 0.9 * quarter < lossy.frequencies[0] < quarter


def test_low_frequency_inertance_is_that_of_the_whole_duct() -> None:
    # Closed form: an open short duct is a mass, rho L / S, with thermoviscous extra.
    duct = Duct(np.array([0.01]), np.array([1e-4]), np.array([5.6e-3]), None, lossless=True)
    z = input_impedance(duct, np.array([2j * np.pi * 10.0]), AIR)[0]
    assert z.imag / (2.0 * np.pi * 10.0) == pytest.approx(
        float(AIR.density) * 0.01 / 1e-4, rel=1e-4
    )


def test_the_modal_sum_follows_the_impedance_around_its_peaks() -> None:
    sums = find_resonances(staple_bore(), AIR, modes=6)
    # What the modes above the sixth leave out grows upwards; the crow lives on the first two.
    for k, share in enumerate((0.01, 0.03, 0.06)):
        at = 1j * sums.poles.imag[k] + sums.poles.real[k] * np.array([-0.5j, 0.0, 0.5j])
        exact = input_impedance(staple_bore(), at, AIR)
        np.testing.assert_allclose(sums.impedance(at), exact, rtol=share)


def test_steady_flow_meets_poiseuilles_resistance() -> None:
    # Closed form 8 mu L / (S R^2) per slice (Hagen and Poiseuille); six modes alone miss it by far.
    duct = staple_bore()
    slices = 8.0 * float(AIR.viscosity) * duct.length / (duct.area * duct.loss_radius**2)
    sums = find_resonances(duct, AIR)
    assert sums.steady == pytest.approx(slices.sum(), rel=2e-3)
    assert sums.steady - sums.resistance > 2.0 * slices.sum()


def test_poles_are_zeros_of_the_admittance() -> None:
    sums = find_resonances(staple_bore(), AIR)
    near = np.abs(1.0 / input_impedance(staple_bore(), sums.poles * (1.0 + 1e-9), AIR))
    away = np.abs(1.0 / input_impedance(staple_bore(), sums.poles * 1.01, AIR))
    assert (near < 1e-6 * away).all()


def test_radiation_of_a_small_end_is_mass_and_little_resistance() -> None:
    # Closed forms for ka -> 0, unflanged: R = rho omega^2 / (4 pi c), M = 0.6133 rho / (pi a).
    radius, omega = 2.4e-3, 2.0 * np.pi * 500.0
    rho, c = float(AIR.density), float(AIR.speed_of_sound)
    z = radiation_impedance(np.array([1j * omega]), radius, AIR)[0]
    assert z.imag == pytest.approx(omega * 0.6133 * rho / (np.pi * radius), rel=0.002)
    assert z.real == pytest.approx(rho * omega**2 / (4.0 * np.pi * c), rel=0.03)


@pytest.mark.parametrize("ka", [0.0, 3.9, float("nan")])
def test_the_exact_end_ends_at_the_first_higher_mode(ka: float) -> None:
    with pytest.raises(InputError, match=r"between 0 and 3\.83"):
        levine_schwinger(ka)


def test_open_holes_raise_the_note() -> None:
    short = find_resonances(played_bore(0.15), AIR, modes=3)
    long = find_resonances(played_bore(0.45), AIR, modes=3)
    assert short.frequencies[0] > 1.8 * long.frequencies[0]


def test_the_toy_oboe_lies_where_its_notes_say() -> None:
    # Wide on purpose: it stands for no oboe. B3 is 247 Hz, A4 440 Hz, the reed pulls both down.
    cool = room_air(301.15, 101325.0, 0.9, formula="mixture")
    for name, low, high in (("low", 235.0, 270.0), ("middle", 440.0, 500.0)):
        found = find_resonances(played_bore(NOTES[name].length), cool, modes=6)
        assert low < found.frequencies[0] < high


def test_too_many_resonances_are_refused() -> None:
    with pytest.raises(OutsideModel, match="resonances below 5000 Hz; ask for fewer modes"):
        find_resonances(staple_bore(), AIR, modes=6, highest=5e3)


@pytest.mark.parametrize(
    ("make", "question"),
    [
        (lambda: Staple(length=47.0), r"staple length 47 m .* in millimetres\?"),
        (lambda: Staple(cavity_area=5.3), "cavity area 5.3 m2 is outside"),
        (lambda: played_bore(180.0), r"cone of 180 m .* in millimetres\?"),
        (lambda: cylinder(0.0, 1e-6), "every length of a duct must be positive"),
    ],
)
def test_sizes_in_the_wrong_unit_are_asked_about(make, question) -> None:
    with pytest.raises(InputError, match=question):
        make()


@pytest.mark.parametrize("altitude", [1990.3580640520188, 361.32632764938387, 411.07079636412635])
def test_a_resonance_met_to_the_last_digit_is_not_lost(altitude: float) -> None:
    """At these the search lands on the first pole itself, where the impedance is no number."""
    below, there, above = (
        find_resonances(staple_bore(), breath(standard_atmosphere(h).pressure))
        for h in (altitude - 0.01, altitude, altitude + 0.01)
    )
    middle = (below.poles + above.poles) / 2
    assert np.abs(there.poles / middle - 1).max() < 1e-8
    middle = (below.residues + above.residues) / 2
    assert np.abs(there.residues / middle - 1).max() < 1e-8


@pytest.mark.parametrize("length", [0.03, 0.05, 0.054, 0.058, 0.062])
def test_no_resonance_between_two_others_is_passed_over(length: float) -> None:
    """Every peak of the impedance, looked for in fine steps, has its pole."""
    bore = played_bore(length)
    sums = find_resonances(bore, AIR)
    axis = np.arange(20.0, 1.02 * sums.frequencies[-1], 4.0)
    exact = np.abs(input_impedance(bore, 2j * np.pi * axis, AIR))
    peaks = axis[find_peaks(exact)[0]]
    np.testing.assert_allclose(sums.frequencies, peaks, rtol=0.01)
