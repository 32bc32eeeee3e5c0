"""How predictions have done, as rows, as text for a terminal, and as plain numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from crowlight.bench.learning import Beside, Credit, Learned, Told
from crowlight.calibrate.learning import LEAST, Coverage, Reason, Score
from crowlight.report.words import Words, mark

__all__ = [
    "REASONS",
    "ScoreRow",
    "beside_said",
    "credit_said",
    "left_out_said",
    "reasons_said",
    "score_rows",
    "scores_plain",
    "scores_text",
    "told_said",
]

#: Quantity -> its name, unit shown, and the factor to it from SI.
_SHOWN: Mapping[str, tuple[str, str, float, int]] = {
    "cane": (mark("cane taken off"), "mm", 1e3, 3),
    "rest_height": (mark("opening height at rest"), "mm", 1e3, 3),
    "clip": (mark("length clipped"), "mm", 1e3, 2),
}
REASONS: Mapping[Reason, str] = {
    "two-changes": mark("more than one thing was done between the measures"),
    "rested": mark("the reed rested between them"),
    "re-soaked": mark("it was soaked anew between them"),
    "place-changed": mark("it was at another place between them"),
    "chosen-at-worst": mark(
        "reeds are cut when they measure badly, and would come back by themselves"
    ),
    "too-few": mark("too few reeds"),
    "no-effect": mark("no more than measuring scatters"),
}
_TELLS: Mapping[str, str] = {
    "agrees": mark("as claimed, so far"),
    "narrow": mark("too narrow"),
    "wide": mark("too wide"),
}
_KINDS: Mapping[str, str] = {"cut": mark("scraping"), "clip": mark("clipping")}


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreRow:
    """One quantity, ready to be shown.

    Parameters
    ----------
    name, unit, rests : str
        What, its unit, and what it rests on.
    coverage : tuple of (str, str)
        For 50 and 80 %: the share with its interval, and what that says.
    bias, sharpness, crps, nothing : str
        In the unit; `nothing` is the score of always predicting no change.
    """

    name: str
    unit: str
    rests: str
    coverage: tuple[tuple[str, str], ...]
    bias: str
    sharpness: str
    crps: str
    nothing: str


def _shown(quantity: str) -> tuple[str, str, float, int]:
    return _SHOWN.get(quantity, (quantity.replace("_", " "), "", 1.0, 3))


def _covered(c: Coverage, words: Words) -> tuple[str, str]:
    share = words.say(
        mark("%(value)s %% (%(low)s to %(high)s)"),
        value=words.number(100 * c.share, 0),
        low=words.number(100 * c.low, 0),
        high=words.number(100 * c.high, 0),
    )
    return share, words(_TELLS[c.tells])


def _row(s: Score, words: Words) -> ScoreRow:
    name, unit, factor, digits = _shown(s.quantity)

    def number(value: float) -> str:
        return words.number(factor * value, digits)

    bias = number(s.bias)
    if math.isfinite(s.bias_error):
        bias = f"{bias} ± {number(s.bias_error)}"
    return ScoreRow(
        name=words(name),
        unit=unit,
        rests=words.say(mark("%(cuts)s cuts, %(pairs)s numbers"), cuts=s.cuts, pairs=s.pairs),
        coverage=tuple(_covered(c, words) for c in s.coverage),
        bias=bias,
        sharpness=number(s.sharpness),
        crps=number(s.crps),
        nothing=number(s.crps_of_nothing),
    )


def score_rows(found: Learned, words: Words) -> list[ScoreRow]:
    """Return every quantity that was predicted and measured."""
    return [_row(s, words) for s in found.scores]


def told_said(t: Told, words: Words, who: str = "") -> str:
    """Return how later predictions of a quantity are put right, and whose."""
    name = words(_shown(t.quantity)[0])
    if who:
        name = f"{who}, {name}"
    if t.used:
        said = words.say(
            mark(
                "%(what)s: moved by %(bias)s of its spread along the predicted change, width "
                "%(scale)s times, from %(cuts)s cuts"
            ),
            what=name,
            bias=words.number(t.bias, 1, signed=True),
            scale=words.number(t.scale, 1),
            cuts=t.cuts,
        )
    else:
        said = words.say(
            mark("%(what)s: nothing yet, from %(cuts)s cuts; it takes %(least)s"),
            what=name, cuts=t.cuts, least=LEAST,
        )  # fmt: skip
    if not t.left_out:
        return said
    return words.say(
        mark("%(said)s (%(left)s more do not count: something else lay between the measures)"),
        said=said,
        left=t.left_out,
    )


def beside_said(b: Beside, words: Words) -> str:
    """Return whether predictions that own cuts put right did better for it."""
    name, unit, factor, digits = _shown(b.quantity)
    return words.say(
        mark(
            "%(what)s: score %(told)s %(unit)s as told, %(raw)s %(unit)s without own cuts, over "
            "%(cuts)s cuts told with them"
        ),
        what=words(name),
        told=words.number(factor * b.crps, digits),
        raw=words.number(factor * b.raw_crps, digits),
        unit=unit,
        cuts=b.cuts,
    )


def left_out_said(found: Learned, words: Words) -> list[str]:
    """Return how many openings do not count in the scores; empty if all do."""
    if not found.left_out:
        return []
    said = mark(
        "Openings that do not count in the scores, since something else lay between the "
        "measures: %(count)s."
    )
    return [words.say(said, count=found.left_out)]


def reasons_said(found: Learned, words: Words) -> list[str]:
    """Return what lay between measures, and how often."""
    return [
        words.say(mark("%(reason)s: %(count)s times"), reason=words(REASONS[reason]), count=count)
        for reason, count in sorted(found.confounded.items())
    ]


def credit_said(credit: Credit, words: Words) -> str:
    """Return whether a change of the opening may be credited to what was done."""
    what, claim = words(_KINDS.get(credit.what, credit.what)), credit.claim
    if claim.claimed:
        return words.say(
            mark(
                "%(what)s changed the opening by %(effect)s mm (%(low)s to %(high)s), beyond what "
                "reeds do by themselves; %(left)s of %(pairs)s pairs did not count"
            ),
            what=what,
            effect=words.number(1e3 * claim.effect, 2),
            low=words.number(1e3 * claim.low, 2),
            high=words.number(1e3 * claim.high, 2),
            left=claim.left_out,
            pairs=credit.pairs,
        )
    why = "; ".join(words(REASONS[r]) for r in claim.reasons)
    said = words.say(
        mark("%(what)s: nothing may be credited to it, since %(why)s."), what=what, why=why
    )
    if claim.propose is None:
        return said
    test = words.say(
        mark(
            "A split test would tell: %(reeds)s like reeds cut and %(reeds)s left alone, all else "
            "alike, would show a change of %(effect)s mm four times in five."
        ),
        reeds=claim.propose.reeds_each,
        effect=words.number(1e3 * claim.propose.effect, 2),
    )
    return f"{said} {test}"


def scores_text(found: Learned, words: Words) -> str:
    """Return it for a terminal."""
    lines = [
        words.say(
            mark(
                "%(reeds)s reeds, %(followed)s cuts after an advice, %(paired)s of them measured "
                "before and after"
            ),
            reeds=found.reeds,
            followed=found.followed,
            paired=found.paired,
        )
    ]
    for row in score_rows(found, words):
        (fifty, says50), (eighty, says80) = row.coverage
        lines += [
            f"{row.name} [{row.unit}]: {row.rests}",
            f"  50 %: {fifty}, {says50}; 80 %: {eighty}, {says80}",
            words.say(
                mark("  bias %(bias)s; width %(width)s; score %(score)s, no change %(nothing)s"),
                bias=row.bias, width=row.sharpness, score=row.crps, nothing=row.nothing,
            ),
        ]  # fmt: skip
    lines += left_out_said(found, words)
    lines += [told_said(t, words) for t in found.corrections]
    lines += [beside_said(b, words) for b in found.beside]
    lines += reasons_said(found, words)
    lines += [credit_said(c, words) for c in found.credits]
    return "\n".join(lines)


def scores_plain(found: Learned) -> dict[str, Any]:
    """Return plain values in SI units, fit for JSON."""

    def finite(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        "reeds": found.reeds,
        "followed": found.followed,
        "paired": found.paired,
        "left_out": found.left_out,
        "scores": [
            {
                "quantity": s.quantity,
                "pairs": s.pairs,
                "cuts": s.cuts,
                "coverage": [
                    {"level": c.level, "share": c.share, "low": c.low, "high": c.high,
                     "tells": c.tells}
                    for c in s.coverage
                ],
                "bias": s.bias,
                "bias_error": finite(s.bias_error),
                "sharpness": s.sharpness,
                "crps": s.crps,
                "crps_of_no_change": s.crps_of_nothing,
            }
            for s in found.scores
        ],
        "corrections": [
            {"quantity": t.quantity, "maker": str(t.maker) if t.maker else None, "cuts": t.cuts,
             "left_out": t.left_out, "bias": t.bias, "scale": t.scale, "used": t.used}
            for t in found.corrections
        ],
        "beside_the_model": [
            {"quantity": b.quantity, "cuts": b.cuts, "crps": b.crps, "raw_crps": b.raw_crps}
            for b in found.beside
        ],
        "confounded": dict(found.confounded),
        "credits": [
            {
                "what": c.what,
                "pairs": c.pairs,
                "claimed": c.claim.claimed,
                "effect": finite(c.claim.effect),
                "low": finite(c.claim.low),
                "high": finite(c.claim.high),
                "reasons": list(c.claim.reasons),
                "left_out": c.claim.left_out,
                "split_test_reeds_each": c.claim.propose.reeds_each if c.claim.propose else None,
            }
            for c in found.credits
        ],
    }  # fmt: skip
