"""Published plates, shells and tapered beams against the blade's own shell.

Expected values are of Kirchhoff (thin-plate) theory where the literature offers both; the
often-quoted 3.492, 8.525, 21.43, 27.33, 31.11 of the cantilever plate, and 13.49, 19.79, 24.43,
35.02 of the free plate, are Ritz upper bounds 0.2 to 1 % above the converged values and are not
used here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import ArrayLike

from crowlight.checks.case import Check
from crowlight.checks.structures import (
    cantilever_plate,
    curved_cane_cantilever,
    curved_panel,
    free_plate,
    nafems_fv16,
    navier_orthotropic_load,
    orthotropic_plate_load,
    orthotropic_plate_modes,
    pinched_cylinder,
    plate_under_large_load,
    plate_under_load,
    quarter_arch,
    scordelis_lo,
    supported_plate,
    tapered_cantilever,
    tapered_tip_load,
    thick_arch,
)

__all__ = ["cases"]

RITZ = "Kirchhoff plate, converged Ritz series; upper bounds in Leissa, NASA SP-160 (1969) ch. 4"
LARGE_LOADS = (17.79, 38.3, 63.4, 95.0, 134.9, 184.0, 245.0, 318.0, 402.0)
TAPER_ROOTS = {
    1.0: (3.51602, 22.0345, 61.6972),
    0.75: (3.63624, 20.2539, 54.7684),
    0.5: (3.82378, 18.3173, 47.2648),
    0.25: (4.17659, 16.1843, 38.7750),
}
TAPER_TIP = {1.0: 0.333333, 0.75: 0.411653, 0.5: 0.545177, 0.25: 0.841587}


def listed(
    what: str, values: ArrayLike, expected: Sequence[float], share: float, unit: str, source: str
) -> Iterator[Check]:
    """Compare values one by one; `share` is the stated mesh error as a share of the value."""
    for k, (value, wanted) in enumerate(zip(np.atleast_1d(values), expected, strict=True), 1):
        name = what if len(expected) == 1 else f"{what}, no. {k}"
        yield Check(name, float(value), wanted, share * abs(wanted), unit, source)


def cases() -> Iterator[Check]:
    """Every plate and shell case, in a few seconds on one core."""
    yield from plate_cases()
    yield from large_deflection_cases()
    yield from shell_cases()
    yield from beam_cases()


def plate_cases() -> Iterator[Check]:
    """Flat plates."""
    wanted = (3.47101, 8.50629, 21.2841, 27.1987, 30.9546, 54.1844)
    yield from listed("cantilever square plate", cantilever_plate(), wanted, 1e-3, "1", RITZ)
    yield from listed(
        "NAFEMS FV16 plate",
        nafems_fv16(),
        (0.41793, 1.02421, 2.56274, 3.27489, 3.72712, 6.52414),
        1e-3,
        "Hz",
        RITZ + "; benchmark: NAFEMS, Standard Benchmarks for FV (1989) FV16, from memory",
    )
    yield from listed(
        "free square plate",
        free_plate()[:4],
        (13.468, 19.596, 24.270, 34.801),
        1e-3,
        "1",
        "Kirchhoff plate, converged (Gorman, J. Sound Vib. 57 (1978) 437), from memory",
    )
    exact = "Navier, exact: pi² (m² + n²)"
    roots = (2 * np.pi**2, 5 * np.pi**2, 8 * np.pi**2)
    yield from listed("supported square plate", supported_plate(), roots, 1e-4, "1", exact)
    ours, wanted_hz = orthotropic_plate_modes()
    text = "Navier, exact for orthotropic plates: Leissa, NASA SP-160 (1969) eq. 9.9, from memory"
    yield from listed("supported cane plate", ours, wanted_hz.tolist(), 1e-3, "Hz", text)
    yield from listed(
        "loaded supported plate, centre",
        plate_under_load(),
        (0.00406235,),
        1e-4,
        "q a⁴/D",
        "Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells (1959) table 8",
    )
    yield from listed(
        "loaded clamped plate, centre",
        plate_under_load(clamped=True),
        (0.00126532,),
        1e-3,
        "q a⁴/D",
        "Timoshenko & Woinowsky-Krieger (1959) table 35, more digits from memory",
    )
    yield from listed(
        "loaded supported orthotropic plate, centre",
        orthotropic_plate_load(),
        (navier_orthotropic_load(),),
        1e-4,
        "q a⁴/D2",
        "Navier series: Timoshenko & Woinowsky-Krieger (1959) art. 85",
    )


def large_deflection_cases() -> Iterator[Check]:
    """Stretching that stiffens: the von Karman part of the shell."""
    ours = plate_under_large_load(LARGE_LOADS)
    what = "clamped plate under a large load, deflection over thickness"
    yield from listed(
        f"{what}, against elements",
        ours,
        (0.2368, 0.4699, 0.6915, 0.9029, 1.1063, 1.3009, 1.4928, 1.6786, 1.8555),
        5e-3,
        "1",
        "Pica, Wood & Hinton, Comput. Struct. 11 (1980) 203, quadratic elements, from memory",
    )
    yield from listed(
        f"{what}, against the series",
        ours,
        (0.237, 0.471, 0.695, 0.912, 1.121, 1.323, 1.521, 1.714, 1.902),
        3e-2,
        "1",
        "Levy, NACA TN 847 (1942), six terms; later finite elements lie up to 2.5 % below it",
    )


def shell_cases() -> Iterator[Check]:
    """Curved shells and the arch."""
    yield from listed(
        "Scordelis-Lo roof, free edge",
        scordelis_lo(),
        (0.3006,),
        1e-3,
        "1",
        "Kirchhoff-Love value, Kiendl et al., CMAME 198 (2009) 3902; 0.3024 with shear",
    )
    yield from listed(
        "pinched cylinder, under the force",
        pinched_cylinder(),
        (1.8249e-5,),
        1e-2,
        "1",
        "Belytschko et al., CMAME 51 (1985) 221: 164.24 P/(E t)",
    )
    panel = curved_panel()
    olson = "Olson & Lindberg, J. Sound Vib. 19 (1971) 299"
    yield from listed(
        "cantilevered curved panel, against theory",
        panel,
        (85.91, 138.40, 247.02, 342.45, 386.65, 529.03),
        1e-3,
        "Hz",
        f"thin-shell (Sanders) Ritz series of polynomials for the panel of {olson}",
    )
    yield from listed(
        "cantilevered curved panel, against the experiment",
        panel,
        (85.6, 134.5, 259.0, 351.0, 395.0, 531.0),
        5e-2,
        "Hz",
        f"measured by {olson}; thin-shell theory itself lies up to 4.7 % off",
    )
    yield from listed(
        "curved cane cantilever",
        curved_cane_cantilever(),
        (2357.6, 2521.9, 8828.6, 8868.5, 10053.0),
        1e-3,
        "Hz",
        "thin-shell (Sanders) Ritz series, orthotropic",
    )
    yield from listed(
        "flat cane cantilever",
        curved_cane_cantilever(curved=False),
        (723.5, 2424.8, 4532.3, 8115.7, 9529.4),
        1e-3,
        "Hz",
        "orthotropic Kirchhoff plate, converged Ritz series",
    )
    bending = "inextensible curved beam, exact: pi P R³ / 4 E I"
    yield from listed("quarter arch, h/R 0.02", quarter_arch(), (1.0,), 1e-3, "1", bending)
    thin = quarter_arch(24, slenderness=0.002)
    yield from listed("quarter arch, h/R 0.002", thin, (1.0,), 1e-3, "1", bending)
    winkler = (
        "Winkler's curved beam without shear: Timoshenko, Strength of Materials II (1956) ch. 2"
    )
    for slenderness in (0.1, 0.2, 0.4):
        name = f"thick arch on its inner face, h/R {slenderness:g}"
        value = quarter_arch(16, slenderness=slenderness, offset=0.5)
        exact = thick_arch(slenderness, offset=0.5)
        yield from listed(name, value, (exact,), 1e-4, "pi P R³/4 E I", winkler)


def beam_cases() -> Iterator[Check]:
    """Tapered cantilevers."""
    source = "Euler-Bernoulli beam of linear thickness, Bessel-function solution"
    for ratio, roots in TAPER_ROOTS.items():
        name = f"cantilever tapered to {ratio:g}"
        yield from listed(name, tapered_cantilever(ratio), roots, 3e-4, "1", source)
    for ratio, tip in TAPER_TIP.items():
        name = f"cantilever tapered to {ratio:g}, tip load"
        value = tapered_tip_load(ratio)
        yield from listed(name, value, (tip,), 3e-4, "12 P L³/E b h0³", source)
