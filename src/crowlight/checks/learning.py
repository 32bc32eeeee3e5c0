"""Published cases for learning from predictions: scores, shrinkage, regression to the mean."""

from __future__ import annotations

import math
from collections.abc import Iterator

from crowlight.calibrate.learning import (
    Predicted,
    SpreadPrior,
    ensemble_crps,
    score,
    shrink,
    split_test,
)
from crowlight.calibrate.learning.scores import Pair
from crowlight.checks.case import Check

__all__ = ["EIGHT_SCHOOLS", "cases", "eight_schools"]

_GNEITING = "T. Gneiting and A. E. Raftery, J. Am. Stat. Assoc. 102 (2007) 359, eq. "
_RUBIN = "D. B. Rubin, Journal of Educational Statistics 6 (1981) 377"
_GELMAN = "A. Gelman et al., Bayesian Data Analysis, 3rd ed., "
#: Draws the printed quantiles come from; their Monte-Carlo error is most of the tolerance.
_PRINTED_DRAWS = 200

#: School: effect and standard error (Rubin 1981, table 1, to four figures), and quartiles of the
#: posterior as printed (Gelman et al., table 5.3, from memory, 200 draws, whole numbers). The
#: printed 2.5 and 97.5 % points are left out: of 200 draws they rest on five.
EIGHT_SCHOOLS = {
    "A": (28.39, 14.9, (7, 10, 16)),
    "B": (7.94, 10.2, (3, 8, 12)),
    "C": (-2.75, 16.3, (2, 7, 11)),
    "D": (6.82, 11.0, (4, 8, 11)),
    "E": (-0.64, 9.4, (1, 5, 10)),
    "F": (0.63, 11.4, (2, 6, 10)),
    "G": (18.01, 10.4, (7, 10, 15)),
    "H": (12.16, 17.6, (3, 8, 13)),
}


def cases() -> Iterator[Check]:
    """Yield every case of this topic."""
    yield from _scores()
    yield from _schools()
    yield Check(
        "reeds in each part of a split test for a medium effect, power 0.80 at 5 %",
        float(split_test(1.0, effect=0.5).reeds_each),
        64.0,
        1.0,
        "1",
        "J. Cohen, Psychological Bulletin 112 (1992) 155, table 2 (64, Student's t; from memory)",
    )


def _scores() -> Iterator[Check]:
    z95 = 1.6448536269514722
    standard = Predicted(-z95, 0.0, z95)
    yield Check(
        "score of a standard normal prediction that came out in the middle",
        standard.crps(0.0),
        (math.sqrt(2.0) - 1.0) / math.sqrt(math.pi),
        1e-12,
        "1",
        _GNEITING + "(21) for a normal, closed form",
    )
    yield Check(
        "score of a standard normal prediction one standard deviation off",
        standard.crps(1.0),
        math.erf(math.sqrt(0.5))
        + 2.0 * math.exp(-0.5) / math.sqrt(2.0 * math.pi)
        - 1.0 / math.sqrt(math.pi),
        1e-12,
        "1",
        _GNEITING + "(21) for a normal, closed form",
    )
    n = 1000
    yield Check(
        "score of an ensemble spread evenly from 0 to 1 that came out at 0",
        ensemble_crps([(i + 0.5) / n for i in range(n)], 0.0),
        1.0 / 3.0,
        1.0 / n,
        "1",
        _GNEITING + "(21) for a uniform distribution, closed form",
    )
    told = Predicted(-1.0, 0.0, 1.0)
    pairs = [Pair("x", told, x, cut=str(x)) for x in (-2.0, -0.1, 0.1, 0.2, 0.3, 0.5, 1.2, 2, 3, 4)]
    fifty = score(pairs)[0].coverage[0]
    for end, value, expected in (("lower", fifty.low, 0.1216), ("upper", fifty.high, 0.7376)):
        yield Check(
            f"{end} 95 % limit of a share seen 4 times in 10",
            value,
            expected,
            0.00005,
            "1",
            "C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404 (from memory)",
        )


def eight_schools() -> dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]]:
    """Return quartiles by school, and the Monte-Carlo error quartiles of 200 draws have."""
    learned = shrink(
        [row[0] for row in EIGHT_SCHOOLS.values()],
        [row[1] for row in EIGHT_SCHOOLS.values()],
        {"school": list(EIGHT_SCHOOLS)},
        spreads={"school": SpreadPrior(80.0, "uniform")},
    )
    found: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {}
    for school in EIGHT_SCHOOLS:
        effect = learned.effect({"school": school})
        values = tuple(effect.quantile(p) for p in (0.25, 0.5, 0.75))
        errors = tuple(
            math.sqrt(p * (1 - p) / _PRINTED_DRAWS)
            / ((effect.cdf(x + 0.25) - effect.cdf(x - 0.25)) / 0.5)
            for p, x in zip((0.25, 0.5, 0.75), values, strict=True)
        )
        found[school] = ((values[0], values[1], values[2]), (errors[0], errors[1], errors[2]))
    return found


def _schools() -> Iterator[Check]:
    pooled = shrink(
        [row[0] for row in EIGHT_SCHOOLS.values()],
        [row[1] for row in EIGHT_SCHOOLS.values()],
        {},
        spreads={},
    ).effect()
    yield Check(
        "eight schools, all alike: mean", pooled.mean, 7.9, 0.05, "points",
        _RUBIN + "; " + _GELMAN + "section 5.5",
    )  # fmt: skip
    yield Check(
        "eight schools, all alike: variance", pooled.sd**2, 17.4, 0.05, "points²",
        _RUBIN + "; " + _GELMAN + "section 5.5",
    )  # fmt: skip
    for school, (values, errors) in eight_schools().items():
        for name, value, error, printed in zip(
            ("lower quartile", "median", "upper quartile"),
            values,
            errors,
            EIGHT_SCHOOLS[school][2],
            strict=True,
        ):
            # 24 quantiles: three standard errors of 200 draws, and rounding to whole numbers
            yield Check(
                f"eight schools, {school}: {name}",
                value,
                float(printed),
                3.0 * error + 0.5,
                "points",
                _GELMAN + "table 5.3 (from memory)",
            )
