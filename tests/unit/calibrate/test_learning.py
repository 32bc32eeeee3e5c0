"""Learning from predictions: scores, corrections, and what may not be credited to a cut."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from crowlight.calibrate.learning import (
    Between,
    Pair,
    Predicted,
    SpreadPrior,
    effect_claim,
    learn_correction,
    score,
    shrink,
    split_test,
)
from crowlight.errors import InputError

Z95 = 1.6448536269514722
STANDARD = Predicted(-Z95, 0.0, Z95)


@pytest.mark.parametrize("happened", [-3.0, 0.2, 0.5, 7.0])
def test_the_score_is_the_integral_it_stands_for(happened: float) -> None:
    told = Predicted(-2.0, 0.5, 4.0)

    def squared(x: float) -> float:
        return (float(told.cdf(x)) - (x >= happened)) ** 2

    ends = sorted((-60.0, 60.0, 0.5, happened))
    whole = math.fsum(quad(squared, a, b)[0] for a, b in pairwise(ends))
    assert told.crps(happened) == pytest.approx(whole, abs=1e-7)


def test_a_half_without_width_still_scores() -> None:
    told = Predicted(0.0, 0.0, 1.0)
    assert told.crps(-1.0) == pytest.approx(1.0 + Predicted(-1.0, 0.0, 1.0).crps(0.0) / 2)
    assert float(told.cdf(-1e-9)) == 0.0
    assert told.spread < Predicted(-1.0, 0.0, 1.0).spread


@pytest.mark.parametrize("points", [(1.0, 0.0, 2.0), (0.0, 0.0, 0.0), (0.0, math.nan, 1.0)])
def test_no_prediction_is_refused(points: tuple[float, float, float]) -> None:
    with pytest.raises(InputError, match="must ascend"):
        Predicted(*points)


def test_a_blunt_gauge_is_not_held_against_a_prediction() -> None:
    """What is scored is the measurement: half of it is the gauge's doing here."""
    rng = np.random.default_rng(2)
    pairs = [
        Pair("x", STANDARD, float(rng.normal() + 3.0 * rng.normal()), 3.0, cut=str(i))
        for i in range(400)
    ]
    fifty, eighty = score(pairs)[0].coverage
    assert fifty.tells == eighty.tells == "agrees"
    forgotten = [Pair("x", p.predicted, p.happened, 0.0, p.cut) for p in pairs]
    assert [c.tells for c in score(forgotten)[0].coverage] == ["narrow", "narrow"]


def test_scores_rest_on_cuts_not_on_numbers() -> None:
    pairs = [Pair(q, STANDARD, 0.5, cut=c) for c in "ab" for q in ("opening", "cane", "cane")]
    found = {s.quantity: (s.pairs, s.cuts) for s in score(pairs)}
    assert found == {"cane": (4, 2), "opening": (2, 2)}
    assert score([Pair("x", STANDARD, 0.5, cut="a")])[0].bias_error == math.inf
    assert score([]) == ()


def test_what_rests_on_little_is_drawn_in_further() -> None:
    y = [4.0] * 12 + [4.0] + [0.0] * 12
    zones = ["tip"] * 12 + ["heart"] + ["back"] * 12
    learned = shrink(y, [1.0] * 25, {"zone": zones}, spreads={"zone": SpreadPrior(5.0)})
    tip, heart, back = (learned.effect({"zone": z}) for z in ("tip", "heart", "back"))
    assert back.mean < heart.mean < tip.mean < 4.0
    assert heart.sd > tip.sd
    new = learned.effect({"zone": "windows"})
    assert new.mean == pytest.approx(learned.effect().mean)
    assert new.sd > heart.sd
    assert new.sd > learned.spread("zone").mean  # a zone never seen may be anywhere among zones


def test_two_factors_are_told_apart() -> None:
    rng = np.random.default_rng(3)
    zones, makers = rng.choice(["tip", "heart"], 200), rng.choice(["a", "b", "c"], 200)
    truth = {"tip": 1.0, "heart": -1.0, "a": 0.5, "b": 0.0, "c": -0.5}
    y = [truth[z] + truth[m] + rng.normal(0.0, 0.5) for z, m in zip(zones, makers, strict=True)]
    learned = shrink(
        y, np.zeros(200), {"zone": zones.tolist(), "maker": makers.tolist()},
        spreads={"zone": SpreadPrior(2.0), "maker": SpreadPrior(2.0)}, scatter=SpreadPrior(2.0),
        draws=256,
    )  # fmt: skip
    gap = learned.effect({"zone": "tip", "maker": "a"}).mean
    gap -= learned.effect({"zone": "heart", "maker": "a"}).mean
    assert gap == pytest.approx(2.0, abs=0.25)
    assert learned.next_one({"zone": "tip", "maker": "b"}).sd == pytest.approx(0.5, abs=0.15)
    with pytest.raises(InputError, match="no factor"):
        learned.effect({"mood": "good"})


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"y": []}, "not empty"),
        ({"errors": [1.0]}, "one list"),
        ({"errors": [0.0, 1.0]}, "without scatter"),
        ({"groups": {"zone": ["tip"]}}, "one for each"),
        ({"spreads": {}}, "no prior"),
        ({"y": [1.0, math.nan]}, "no number"),
    ],
)
def test_what_does_not_fit_is_refused(change: dict[str, object], match: str) -> None:
    given = {
        "y": [1.0, 2.0], "errors": [1.0, 1.0], "groups": {"zone": ["tip", "heart"]},
        "spreads": {"zone": SpreadPrior(1.0)},
    } | change  # fmt: skip
    with pytest.raises(InputError, match=match):
        shrink(given["y"], given["errors"], given["groups"], spreads=given["spreads"])  # type: ignore[arg-type]  # wrong on purpose


def test_a_correction_mends_bias_and_width_of_later_predictions() -> None:
    """Told too narrow by half and one unit too low; learned on sixty cuts, tried on the next."""
    rng = np.random.default_rng(7)

    def pairs(count: int) -> list[Pair]:
        return [
            Pair("opening", STANDARD, float(rng.normal(1.0, 2.0)), cut=str(k),
                 groups={"zone": str(rng.choice(["tip", "heart"]))})
            for k in range(count)
        ]  # fmt: skip

    right = learn_correction(pairs(60), quantity="opening")
    later = pairs(300)
    mended = [Pair(p.quantity, right.applied(p.predicted, p.groups), p.happened, cut=p.cut)
              for p in later]  # fmt: skip
    before, after = score(later)[0], score(mended)[0]
    assert [c.tells for c in before.coverage] == ["narrow", "narrow"]
    assert all(abs(c.share - c.level) < 0.08 for c in after.coverage)
    assert abs(after.bias) < 0.35 < abs(before.bias)
    assert after.crps < before.crps
    assert right.scale == pytest.approx(2.0, abs=0.4)


def test_nothing_is_learned_from_a_few_cuts_or_of_another_quantity() -> None:
    few = [Pair("opening", STANDARD, 3.0, cut=str(k % 4)) for k in range(40)]
    for quantity in ("opening", "cane"):
        right = learn_correction(few, quantity=quantity)
        assert right.applied(STANDARD) == STANDARD
        assert (right.bias(), right.scale) == (0.0, 1.0)


# --- what may not be credited to a cut ------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"changes": 2}, "two-changes"),
        ({"nights": 1}, "rested"),
        ({"soaked_anew": True}, "re-soaked"),
        ({"place_changed": True}, "place-changed"),
    ],
)
def test_confounded_pairs_make_no_claim_and_ask_for_a_split_test(
    change: dict[str, object], reason: str
) -> None:
    pairs = [Between(9.0, 2.0, **change) for _ in range(20)]  # type: ignore[arg-type]  # one field
    claim = effect_claim(pairs, usual_mean=5.0, usual_sd=2.0, repeatability=0.5)
    assert not claim.claimed
    assert reason in claim.reasons
    assert claim.left_out == 20
    assert claim.propose is not None
    assert claim.propose.reeds_each >= 2
    sound = [Between(9.0, 2.0 + 0.1 * k) for k in range(8)]
    both = effect_claim([*pairs, *sound], usual_mean=5.0, usual_sd=2.0, repeatability=0.5)
    assert both.claimed
    assert both.left_out == 20
    assert both.high < 0.0


def chosen_and_left_alone(rng: np.random.Generator, *, effect: float = 0.0) -> list[Between]:
    """Return the worst ten of sixty reeds, each measured, 'cut', and measured again."""
    truth = rng.normal(0.0, 1.0, 60)
    before = truth + rng.normal(0.0, 1.0, 60)
    worst = np.argsort(before)[-10:]
    after = truth + effect + rng.normal(0.0, 1.0, 60)
    return [Between(float(before[k]), float(after[k])) for k in worst]


def claims(runs: int, *, chosen: bool, effect: float = 0.0) -> int:
    rng = np.random.default_rng(20)
    return sum(
        effect_claim(
            chosen_and_left_alone(rng, effect=effect), usual_mean=0.0, usual_sd=1.0,
            repeatability=1.0, chosen_at_worst=chosen,
        ).claimed
        for _ in range(runs)
    )  # fmt: skip


def test_regression_to_the_mean_is_not_called_an_effect() -> None:
    """No effect is claimed in at least 95 % of 200 runs; forgetting it claims one in most."""
    assert claims(200, chosen=True) <= 10
    assert claims(200, chosen=False) > 100
    assert claims(50, chosen=True, effect=-3.0) >= 45


def test_why_nothing_may_be_said_is_named() -> None:
    rng = np.random.default_rng(4)
    worst = chosen_and_left_alone(rng)
    assert effect_claim(
        worst, usual_mean=0.0, usual_sd=1.0, repeatability=1.0
    ).reasons == ("chosen-at-worst",)  # fmt: skip
    still = [Between(0.1 * k, 0.1 * k) for k in range(6)]
    assert effect_claim(still, usual_mean=0.2, usual_sd=1.0, repeatability=0.1).reasons == (
        "no-effect",
    )
    with pytest.raises(InputError, match="above 0"):
        effect_claim(still, usual_mean=0.0, usual_sd=0.0, repeatability=1.0)


def test_a_smaller_effect_asks_for_more_reeds() -> None:
    sizes = [split_test(1.0, effect=d).reeds_each for d in (2.0, 1.0, 0.5)]
    assert sizes == sorted(sizes)
    with pytest.raises(InputError, match="above 0"):
        split_test(1.0, effect=0.0)
