"""Published cases for uncertainty and decisions."""

from __future__ import annotations

import math
from collections.abc import Iterator

from crowlight.checks.case import Check
from crowlight.judge import coverage_factor, decide, effective_dof

__all__ = ["cases"]

#: GUM (JCGM 100:2008) H.1, end-gauge calibration, table H.1: |c_i| u(x_i) [nm] and degrees of
#: freedom of the standard, the comparison, the difference of expansion and of temperature.
_END_GAUGE = ((25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0))

#: GUM table G.2, fraction 95 %: degrees of freedom and t.
_T_95 = (
    (1, 12.71),
    (2, 4.30),
    (3, 3.18),
    (5, 2.57),
    (8, 2.31),
    (10, 2.23),
    (20, 2.09),
    (50, 2.01),
    (math.inf, 1.96),
)


def cases() -> Iterator[Check]:
    """Yield every case of this topic."""
    gum = "JCGM 100:2008 (GUM), H.1.6"
    u = math.sqrt(math.fsum(part * part for part, _ in _END_GAUGE))
    yield Check("end gauge: combined standard uncertainty", u, 32, 0.5, "nm", gum)
    dof = effective_dof(_END_GAUGE)
    yield Check("end gauge: effective degrees of freedom", dof, 16.7, 0.1, "1", gum)
    k = coverage_factor(math.floor(dof), risk=0.01)
    yield Check("end gauge: t for 99 % and 16 degrees of freedom", k, 2.92, 0.005, "1", gum)
    yield Check("end gauge: expanded uncertainty", k * round(u), 93, 0.5, "nm", gum)
    for nu, t in _T_95:
        yield Check(
            f"t for 95 % and {nu} degrees of freedom",
            coverage_factor(nu),
            t,
            0.005,
            "1",
            "JCGM 100:2008 (GUM), table G.2",
        )
    yield Check(
        "five intervals together at 95 %, 10 degrees of freedom each",
        coverage_factor(10, comparisons=5),
        3.169,
        0.0005,
        "1",
        "t table, 99 % two-sided, 10 degrees of freedom, by Bonferroni's inequality (from memory)",
    )
    # For a single limit the default rule leaves 5 % on one side.
    yield Check(
        "guard band of the default decision rule, in standard uncertainties",
        -decide(0.0, 1.0, tolerance=10.0, risk=0.10).low,
        1.645,
        0.0005,
        "1",
        "95 % quantile of the normal table; ISO 14253-1:2017 rounds it up to 1,65 (from memory)",
    )
    for beyond, proven in ((1.60, 0.0), (1.70, 1.0)):
        found = decide(10.0 + beyond, 1.0, tolerance=10.0, risk=0.10).outcome
        yield Check(
            f"{beyond} u beyond the limit counts as proven outside",
            float(found == "differs"),
            proven,
            0.0,
            "1",
            "ISO 14253-1:2017, default decision rule (derived from its text; from memory)",
        )
