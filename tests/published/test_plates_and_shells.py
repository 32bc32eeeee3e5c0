"""The blade's shell against published plates, shells and beams, and how fast it converges."""

import numpy as np
import pytest

from crowlight.checks import plates_and_shells, structures

CASES = list(plates_and_shells.cases())


@pytest.mark.parametrize("case", CASES, ids=[c.name for c in CASES])
def test_published_case(case):
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"


def rate(errors, counts):
    """Slope of log error over log element size."""
    return -np.polyfit(np.log(counts), np.log(np.abs(errors)), 1)[0]


def test_supported_plate_deflection_converges_with_the_fourth_power():
    counts = [4, 6, 8, 12]
    exact = 0.0040623527  # Navier series summed to ten digits
    errors = [structures.plate_under_load(n) - exact for n in counts]
    assert 3.5 < rate(errors, counts) < 5.5


def test_supported_plate_frequency_converges_with_the_fourth_power():
    counts = [4, 6, 8, 12]
    errors = [structures.supported_plate(n)[1] / (5 * np.pi**2) - 1 for n in counts]
    assert 3.5 < rate(errors, counts) < 5.5


def test_taper_converges_at_least_with_the_fourth_power():
    counts = [2, 3, 4, 6]
    errors = [structures.tapered_cantilever(0.5, n)[1] / 18.3173 - 1 for n in counts]
    assert rate(errors, counts) > 3.5


def test_a_very_thin_arch_does_not_lock_on_a_fine_mesh():
    coarse, fine = (structures.quarter_arch(n, slenderness=0.002) for n in (4, 24))
    assert coarse < 0.9  # four elements do lock: the check can fail
    assert fine == pytest.approx(1.0, abs=1e-3)


def test_equal_layers_miss_a_thick_arch():
    """Why layers are as wide as they are: with all of them alike a thick arch is far too soft."""
    slenderness = 0.2
    wide = structures.quarter_arch(slenderness=slenderness, offset=0.5)
    equal = structures.quarter_arch(slenderness=slenderness, offset=0.5, widening=False)
    exact = structures.thick_arch(slenderness, offset=0.5)
    assert wide == pytest.approx(exact, rel=1e-4)
    assert equal > 1.05 * exact


def test_the_inner_face_as_reference_changes_the_taper_little():
    """Measuring thickness from the inner face tilts the middle surface: a second-order effect."""
    middle = structures.tapered_cantilever(0.5)
    inner = structures.tapered_cantilever(0.5, offset=0.5)
    np.testing.assert_allclose(inner, middle, rtol=1e-3)
