"""Published cases for evidence: likelihood ratios, their combination, information."""

from __future__ import annotations

import math
from collections.abc import Iterator

from crowlight.checks.case import Check
from crowlight.judge.findings.odds import (
    combined,
    count_weight,
    graded_information,
    graded_weight,
    log_odds,
    probability,
    sign_information,
    sign_weight,
    witness,
)

__all__ = ["cases"]

_ALTMAN = "D. G. Altman and J. M. Bland, Diagnostic tests 2, BMJ 309 (1994) 102"
_COVER = "T. M. Cover and J. A. Thomas, Elements of Information Theory (from memory)"


def _after(prior: float, *weights: float) -> float:
    """Return the posterior probability for independent weights."""
    return probability(math.fsum((log_odds(prior), *weights)))


def cases() -> Iterator[Check]:
    """Yield every case of this topic."""
    yield from _tests()
    yield from _many()
    yield from _graded()
    yield from _information()


def _tests() -> Iterator[Check]:
    yield Check(
        "screening: 1 % have it, 80 % of them test positive, 9.6 % of the others",
        _after(0.01, sign_weight(1.0, 0.80, 0.096)),
        0.078,
        0.0005,
        "1",
        "G. Gigerenzer and U. Hoffrage, Psychological Review 102 (1995) 684 (from memory)",
    )
    yield Check(
        "two cab companies: 15 % are blue, the witness is right in 80 %",
        _after(0.15, sign_weight(1.0, 0.80, 0.20)),
        0.41,
        0.005,
        "1",
        "A. Tversky and D. Kahneman, in Judgment under Uncertainty (1982), p. 156 (from memory)",
    )
    yield Check(
        "two cab companies, the witness's doubt carried as virtual evidence",
        _after(0.15, sign_weight(0.80, 1 - 1e-12, 1e-12)),
        0.41,
        0.005,
        "1",
        "A. Tversky and D. Kahneman, in Judgment under Uncertainty (1982), p. 156 (from memory)",
    )
    yield Check(
        "blood test: 0.5 % have it, 95 % of them test positive, 1 % of the others",
        _after(0.005, sign_weight(1.0, 0.95, 0.01)),
        95 / 294,
        1e-12,
        "1",
        "S. Ross, A First Course in Probability, example 3d of chapter 3 (from memory)",
    )
    # liver scans: 231 of 263 positives and 54 of 81 negatives are right, so 258 of 344 are abnormal
    sensitivity, false_positive, prevalence = 231 / 258, 32 / 86, 258 / 344
    positive = sign_weight(1.0, sensitivity, false_positive)
    negative = sign_weight(0.0, sensitivity, false_positive)
    yield Check(
        "liver scan: positive predictive value",
        _after(prevalence, positive),
        0.88,
        0.005,
        "1",
        _ALTMAN,
    )
    yield Check(
        "liver scan: negative predictive value",
        1 - _after(prevalence, negative),
        0.67,
        0.005,
        "1",
        _ALTMAN + ": 54 of 81 (printed there as 0.59)",
    )
    yield Check(
        "liver scan where a quarter is abnormal: positive predictive value",
        _after(0.25, positive),
        0.45,
        0.005,
        "1",
        _ALTMAN,
    )
    yield Check(
        "liver scan where a quarter is abnormal: negative predictive value",
        1 - _after(0.25, negative),
        0.95,
        0.005,
        "1",
        _ALTMAN,
    )
    yield Check(
        "a classifier that says no more than its base rate is no evidence",
        sign_weight(witness(0.3, 0.3), 0.9, 0.2),
        0.0,
        1e-15,
        "1",
        "definition of virtual evidence, J. Pearl (1988), section 2.2.2 (from memory)",
    )


def _many() -> Iterator[Check]:
    yield Check(
        "bags of 70 and 30 % red chips: 8 red and 4 blue drawn",
        _after(0.5, count_weight(8, 12, 0.7, 0.3, 1e6)),
        0.97,
        0.005,
        "1",
        "W. Edwards, Conservatism in human information processing (1968) (from memory)",
    )
    yield Check(
        "the same chips weighed one by one",
        _after(
            0.5,
            *[sign_weight(1.0, 0.7, 0.3)] * 8,
            *[sign_weight(0.0, 0.7, 0.3)] * 4,
        ),
        0.97,
        0.005,
        "1",
        "W. Edwards, Conservatism in human information processing (1968) (from memory)",
    )
    yield Check(
        "one item alone is its own family",
        combined([sign_weight(1.0, 0.7, 0.3)]),
        math.log(7 / 3),
        1e-15,
        "1",
        "closed form",
    )


def _graded() -> Iterator[Check]:
    # two normals of one spread: the weight is d z - d^2 / 2, nothing half way between them
    yield Check(
        "half way between two normal classes there is no evidence",
        graded_weight(1.0, 0.5, 2.0, 0.7, 1e6),
        0.0,
        1e-15,
        "1",
        "closed form: linear discriminant of two normals of equal variance",
    )
    s, u, m, x = 0.3, 0.4, 1.0, 1.2
    density = math.exp(-((x - m) ** 2) / (2 * (s * s + u * u)))
    without = math.exp(-(x * x) / (2 * (s * s + u * u)))
    yield Check(
        "graded evidence is the ratio of two normal densities",
        math.exp(graded_weight(x, u, m, s, 1e6)),
        density / without,
        1e-9,
        "1",
        "normal density, the variances of spread and measurement added",
    )


def _information() -> Iterator[Check]:
    yield Check(
        "a symmetric channel that errs in 11 % carries half a bit",
        float(sign_information(0.5, 0.89, 0.11)),
        0.5,
        0.0005,
        "bit",
        _COVER + ", binary symmetric channel: 1 - H(0.11)",
    )
    z = math.log2(1 + 0.5 * 0.5 ** (0.5 / 0.5))
    yield Check(
        "a channel that loses half of its ones carries log2(5/4) bit at its best",
        float(sign_information(0.4, 0.5, 1e-300)),
        z,
        5e-4,
        "bit",
        _COVER + ", Z-channel with crossover one half: capacity 0.322 bit at two fifths ones",
    )
    yield Check(
        "two normal classes 2 apart, equally likely",
        float(graded_information(0.5, 2.0)),
        0.4859,
        0.0005,
        "bit",
        "capacity of binary input in Gaussian noise at 0 dB, tables (from memory)",
    )
    yield Check(
        "two normal classes far apart part the question wholly",
        float(graded_information(0.5, 8.0)),
        1.0,
        0.001,
        "bit",
        "limit: one yes-no question holds one bit",
    )
