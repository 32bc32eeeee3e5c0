"""Batch statistics held against certified values and worked examples of statistics texts."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.batch.candidates import good_and_poor, shared_risk
from crowlight.batch.control import D2, D4, capability, control_chart
from crowlight.batch.figures import life_of, share
from crowlight.batch.gauge_study import crossed_study
from crowlight.batch.outliers import closest_half, robust_distances
from crowlight.batch.power import reeds_for_means, reeds_for_shares
from crowlight.batch.spread import difference_of_variances, one_way, spread_of
from crowlight.checks.case import Check

__all__ = ["cases", "data"]

_NIST = "NIST StRD, univariate summary statistics, {}, certified"
#: Name, certified mean and standard deviation.
_CERTIFIED = (
    ("Lew", -177.4350, 277.332168044316),  # codespell:ignore lew
    ("Lottery", 518.958715596330, 291.699727470969),
    ("Mavro", 2.001856, 0.000429123454003053),
    ("Michelso", 299.8524, 0.0790105478190518),
    ("NumAcc1", 10000002.0, 1.0),
    ("NumAcc2", 1.2, 0.1),
    ("NumAcc3", 1000000.2, 0.1),
    ("NumAcc4", 10000000.2, 0.1),
)
#: Remission in weeks, and whether it had ended: the treated patients.
_REMISSION = (
    (6, 1), (6, 1), (6, 1), (6, 0), (7, 1), (9, 0), (10, 1), (10, 0), (11, 0), (13, 1), (16, 1),
    (17, 0), (19, 0), (20, 0), (22, 1), (23, 1), (25, 0), (32, 0), (32, 0), (34, 0), (35, 0),
)  # fmt: skip
#: Times, share and limits as printed.
_ALIVE = (
    (6, 0.857, 0.620, 0.952),
    (7, 0.807, 0.563, 0.923),
    (10, 0.753, 0.503, 0.889),
    (13, 0.690, 0.432, 0.849),
    (16, 0.627, 0.368, 0.805),
    (22, 0.538, 0.268, 0.747),
    (23, 0.448, 0.188, 0.680),
)


@cache
def data() -> dict[str, Any]:
    """Return the data sets of the worked examples."""
    text = (files("crowlight.checks") / "batches.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _nist(name: str) -> NDArray[np.float64]:
    if name == "NumAcc1":
        return np.array([10000001.0, 10000003.0, 10000002.0])
    if name.startswith("NumAcc"):
        whole = {"NumAcc2": 1, "NumAcc3": 1000000, "NumAcc4": 10000000}[name]
        # written out, so that each is the nearest number the machine has
        return np.array([float(f"{whole}.2"), *[float(f"{whole}.{d}") for d in "13"] * 500])
    return np.array(data()["nist"][name.lower()], dtype=float)


def cases() -> Iterator[Check]:
    """Yield the published cases of this topic."""
    yield from _spreads()
    yield from _gauges()
    yield from _charts()
    yield from _comparisons()
    yield from _outliers()
    yield from _figures()
    yield from _power()


def _spreads() -> Iterator[Check]:
    for name, mean, deviation in _CERTIFIED:
        values = _nist(name)
        found = spread_of(values, np.zeros_like(values))
        source = _NIST.format(name)
        # the data themselves are rounded to the machine's numbers: half a unit in the last place
        rounding = 4.0 * np.finfo(float).eps * max(abs(mean), float(np.abs(values).max()))
        yield Check(f"{name}: mean", found.mean, mean, rounding, "1", source)
        yield Check(
            f"{name}: standard deviation",
            found.total,
            deviation,
            rounding + 1e-14 * deviation,
            "1",
            source,
        )
    found = one_way(data()["dyestuff"]["batches"])
    source = (
        "Davies, Statistical Methods in Research and Production (1949), yield of dyestuff; "
        "restricted maximum likelihood as printed in the manual of lme4"
    )
    for what, value, expected, tolerance in (
        ("between batches, variance", found.between.value**2, 1764.0, 0.5),
        ("between batches", found.between.value, 42.00, 0.005),
        ("within batches, variance", found.within.value**2, 2451.0, 0.5),
        ("within batches", found.within.value, 49.51, 0.005),
    ):
        yield Check(f"dyestuff {what}", value, expected, tolerance, "g", source)
    low, high = difference_of_variances(4.0, 9, 0.0, math.inf)
    source = "chi-square interval of a variance, table quantiles 19.023 and 2.700 for 9"
    yield Check("variance of 10 values, low", low, 36 / 19.023, 2e-4, "1", source)
    yield Check("variance of 10 values, high", high, 36 / 2.700, 3e-3, "1", source)


def _gauges() -> Iterator[Check]:
    trials = np.array(data()["gauge_study"]["trials"])
    found = crossed_study(trials.reshape(3, 3, 10).transpose(2, 0, 1))
    source = (
        "AIAG, Measurement Systems Analysis, 4th edition (2010), chapter III, analysis of "
        "variance; data from a copy, results from memory"
    )
    for what, value, expected in (
        ("equipment variation", found.repeatability, 0.199933),
        ("appraiser variation", found.reproducibility, 0.226838),
        ("part variation", found.between, 1.042327),
    ):
        yield Check(what, value, expected, 5e-7, "mm", source)
    contribution = 100.0 * found.gauge**2 / (found.gauge**2 + found.between**2)
    yield Check("contribution of the gauge", contribution, 7.76, 5e-3, "%", source)
    yield Check("distinct categories", math.floor(found.steps), 4, 0.0, "1", source)


def _shaped(mean: float, deviation: float, count: int) -> NDArray[np.float64]:
    """Return values without any pattern that have this mean and standard deviation."""
    raw = np.tile([1.0, -1.0, -0.5, 0.5], count)[:count]
    return mean + deviation * (raw - raw.mean()) / raw.std(ddof=1)


def _charts() -> Iterator[Check]:
    source = "ISO 7870-2, factors for control charts, samples of two; from memory"
    yield Check("d2", D2, 1.128, 5e-4, "1", source)
    yield Check("D4", D4, 3.267, 5e-4, "1", source)
    flow = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
    chart = control_chart(flow)
    source = "NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2; from memory"
    off = 3.0 * 1.8778 * (1.0 / 1.128 - 1.0 / D2) + 1e-4  # the printed d2 has three decimals
    yield Check("flow rate, mean moving range", chart.mean_range, 1.8778, 5e-5, "1", source)
    yield Check("flow rate, upper limit", chart.high, 55.8041, off, "1", source)
    yield Check("flow rate, lower limit", chart.low, 45.8159, off, "1", source)
    yield Check("flow rate, signals", len(chart.signals), 0, 0.0, "1", source)
    source = "D. C. Montgomery, Introduction to Statistical Quality Control, chapter 8; from memory"
    pot = capability(_shaped(50.0, 1.75, 20), low=38.0, high=62.0, least=20)
    near = capability(_shaped(0.0, 1.0, 20), low=-3.99, high=100.0, least=20)
    assert pot.spread is not None  # noqa: S101 twenty values are enough here
    assert near.nearest is not None  # noqa: S101 likewise
    for what, value, expected in (
        ("capability", pot.spread[0], 2.29),
        ("capability, low", pot.spread[1], 1.57),
        ("capability, high", pot.spread[2], 3.01),
        ("capability to the nearer limit", near.nearest[0], 1.33),
        ("capability to the nearer limit, low", near.nearest[1], 0.88),
        # printed from a rounded standard error
        ("capability to the nearer limit, high", near.nearest[2], 1.78),
    ):
        yield Check(what, value, expected, 0.006, "1", source)


def _comparisons() -> Iterator[Check]:
    # fifteen p-values of the paper; the fourth is named, the fifth not
    p = (0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
         0.5719, 0.6528, 0.7590, 1.0)  # fmt: skip
    adjusted = shared_risk(p)
    source = (
        "Y. Benjamini, Y. Hochberg, Journal of the Royal Statistical Society B 57 (1995), section 3"
    )
    named = sum(q <= 0.05 for q in adjusted)
    yield Check("named at a share of 0.05", named, 4, 0.0, "1", source)
    rule = "p.adjust of R, method BH: smallest of p n / rank from the largest down"
    yield Check("fourth adjusted p-value", adjusted[3], 0.0095 * 15 / 4, 1e-12, "1", rule)
    yield Check("sixth adjusted p-value", adjusted[5], 0.0298 * 15 / 7, 1e-12, "1", rule)
    at_term = (0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46)
    early = (1.15, 0.88, 0.90, 0.74, 1.21)
    found = good_and_poor({"constant": [*at_term, *early]}, [5] * 10 + [1] * 5).tested[0]
    source = (
        "M. Hollander, D. A. Wolfe, Nonparametric Statistical Methods (1973), p. 69, as printed "
        "in the manual of R, wilcox.test; from memory"
    )
    yield Check("permeability, rank sum p-value", found.p, 0.2544, 5e-5, "1", source)
    yield Check("permeability, W", found.exceeds * 50, 35, 1e-9, "1", source)
    yield Check("permeability, shift", found.difference, 0.305, 5e-4, "1", source)


def _outliers() -> Iterator[Check]:
    rows = np.array(data()["strange"]["rows"])
    rng = np.random.default_rng(1)
    width = rows.std(axis=0, ddof=1)
    half = closest_half((rows / width)[None], rng, 500)[0]
    source = (
        "robustbase for R, raw minimum covariance determinant of hbk, as kept in tests of dxtbx"
    )
    for k, expected in enumerate((1.53333333333, 2.45641025641, 1.60769230769)):
        mean = float(rows[half, k].mean())
        yield Check(f"centre of the closest half, {k + 1}", mean, expected, 1e-9, "1", source)
    found = robust_distances(rows, rng=rng)
    source = (
        "D. M. Hawkins, D. Bradu, G. V. Kass, Technometrics 26 (1984) 197-208: "
        "the first fourteen are strange"
    )
    apart = [i for i in found.outlying if i < 14]
    yield Check("strange rows found", len(apart), 14, 0.0, "1", source)
    yield Check("others named", len(found.outlying) - len(apart), 0, 1.0, "1", source)


def _figures() -> Iterator[Check]:
    source = (
        "R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3; from memory"
    )
    for count, of, low, high in (
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ):
        found = share(count, of)
        yield Check(f"{count} of {of}, low", found.low, low, 5e-5, "1", source)
        yield Check(f"{count} of {of}, high", found.high, high, 5e-5, "1", source)
    found = life_of([t for t, _ in _REMISSION], [bool(e) for _, e in _REMISSION])
    source = (
        "E. J. Freireich and others, Blood 21 (1963) 699-716, treated patients; log-log limits as "
        "printed by W. N. Venables, B. D. Ripley, Modern Applied Statistics with S (2002), "
        "section 13.1; from memory"
    )
    for i, (week, alive, low, high) in enumerate(_ALIVE):
        yield Check(f"remission after {week} weeks", found.alive[i], alive, 5.1e-4, "1", source)
        yield Check(f"remission after {week} weeks, low", found.low[i], low, 5.1e-4, "1", source)
        yield Check(f"remission after {week} weeks, high", found.high[i], high, 5.1e-4, "1", source)
    yield Check("median remission", found.median, 23.0, 0.0, "weeks", source)


def _power() -> Iterator[Check]:
    source = (
        "J. Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), table {}, "
        "both sides 0.05, power 0.80; from memory"
    )
    for effect, expected in ((0.2, 393), (0.5, 64), (0.8, 26)):
        each = reeds_for_means(effect, 1.0) or 0
        # the tables give the nearest whole number, we give the next
        yield Check(
            f"reeds each for d = {effect}", each, expected, 1.0, "1", source.format("2.4.1")
        )
    for effect, expected in ((0.2, 392), (0.5, 63), (0.8, 25)):
        other = math.sin(math.pi / 4.0 + effect / 2.0) ** 2
        each = reeds_for_shares(0.5, other) or 0
        yield Check(
            f"reeds each for h = {effect}", each, expected, 1.0, "1", source.format("6.4.1")
        )
