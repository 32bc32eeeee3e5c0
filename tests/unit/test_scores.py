"""Predictions beside what was measured after an advice was followed, over many reeds."""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import pytest
from tests.kept_entries import log, named

from crowlight.bench.advice_kinds import Advised, Foretold, Offered
from crowlight.bench.kinds import Cut, Described, Opening, Rest, Wetting
from crowlight.bench.learning import Learned, learned_from, pairs_of
from crowlight.reed import Blade
from crowlight.report.scores import credit_said, score_rows, scores_plain, scores_text, told_said
from crowlight.report.words import in_locale

MINUTES_PER_DAY = 1440.0
REED: Any = SimpleNamespace(uuid=named(0), maker=None, batch=None)
WORDS = in_locale("en")


def advised(*, width: float = 0.05e-3) -> Advised:
    told = Foretold(name="rest_height", unit="m", low=-width, middle=0.0, high=width)
    option = Offered(
        kind="scrape", name="equalise-heart", zone="heart", part="whole",
        blades=(Blade.MARKED,), strokes=3, cane=(5e-6, 9e-6, 15e-6), expected=(told,),
    )  # fmt: skip
    return Advised(
        target="style", answer="findings", options=(option, Offered(kind="leave", name="leave")),
        advised=0, seq=1, code="crowlight test", digest="0" * 64,
    )  # fmt: skip


def cut_once(
    change: float, *, start: float = 0.70e-3, between: Sequence[tuple[float, Any]] = (),
    after: float = 20.0, option: int | None = 0,
) -> tuple[Any, ...]:  # fmt: skip
    """Return opening, advice, the cut it advised, what lay between, opening."""
    cut = Cut(zone="heart", blades=(Blade.MARKED,), strokes=3, advised=named(3), option=option)
    return log(
        (0, Described(style="long")),
        (1, Opening(height=start, uncertainty=0.02e-3)),
        (2, advised()),
        (3, cut),
        *between,
        (after, Opening(height=start + change, uncertainty=0.02e-3)),
    )


def learned(logs: Sequence[Sequence[Any]]) -> Learned:
    return learned_from((REED, entries, "") for entries in logs)


def test_a_prediction_is_paired_with_what_was_measured() -> None:
    (pair,) = pairs_of(REED, cut_once(-0.03e-3))
    assert pair.quantity == "rest_height"
    assert pair.happened == pytest.approx(-0.03e-3)
    assert pair.uncertainty == pytest.approx(0.02e-3 * 2**0.5)
    assert pair.predicted.high == 0.05e-3
    assert pair.groups["cut"] == "equalise-heart"
    assert pairs_of(REED, cut_once(-0.03e-3, option=None)) == []  # something else was done


def test_scores_say_what_they_rest_on_and_what_is_put_right() -> None:
    found = learned([cut_once(0.08e-3) for _ in range(8)])
    assert (found.reeds, found.followed, found.paired) == (8, 8, 1)
    (score,) = found.scores
    assert score.bias == pytest.approx(0.08e-3)
    (row,) = score_rows(found, WORDS)
    assert (row.name, row.unit) == ("opening height at rest", "mm")
    assert row.bias.startswith("0.08")
    assert row.rests == "1 cuts, 8 numbers"  # the same entry in every made-up log
    assert "nothing yet" in told_said(found.corrections[0], WORDS)


@pytest.mark.parametrize(
    ("between", "after", "reason"),
    [
        ([(4, Rest(duration=3600.0))], 20.0, "two-changes"),
        ([], 2 * MINUTES_PER_DAY, "rested"),
        ([(4, Wetting(how="soaked"))], 20.0, "re-soaked"),
    ],
)
def test_what_lay_between_forbids_credit(
    between: list[tuple[float, Any]], after: float, reason: str
) -> None:
    found = learned(
        [cut_once(-0.2e-3, start=0.6e-3 + 1e-5 * k, between=between, after=after) for k in range(9)]
    )
    assert found.confounded == {reason: 9}
    assert found.scores == ()  # nor does it count for or against a prediction
    if reason != "two-changes":  # then nothing was measured before the second thing done
        assert (found.left_out, found.paired) == (9, 1)
        assert "do not count in the scores" in scores_text(found, WORDS)
    (credit,) = found.credits
    assert not credit.claim.claimed
    said = credit_said(credit, WORDS)
    assert said.startswith("scraping: nothing may be credited to it, since")
    assert "A split test would tell" in said


def test_a_change_that_nothing_else_explains_is_credited() -> None:
    found = learned([cut_once(-0.25e-3, start=0.7e-3 + 5e-6 * k) for k in range(12)])
    (credit,) = found.credits
    assert credit.claim.claimed
    assert credit.claim.high < 0
    assert "changed the opening by -0.2" in credit_said(credit, WORDS).replace(
        "\N{MINUS SIGN}", "-"
    )


def test_plain_numbers_and_text_hold_the_same() -> None:
    found = learned([cut_once(-0.03e-3) for _ in range(3)])
    plain = scores_plain(found)
    assert plain["scores"][0]["quantity"] == "rest_height"
    assert plain["scores"][0]["coverage"][1]["level"] == 0.8
    assert "3 reeds, 3 cuts after an advice" in scores_text(found, WORDS)
    assert scores_plain(learned([]))["scores"] == []
