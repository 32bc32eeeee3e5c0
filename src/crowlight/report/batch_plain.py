"""What a batch tells, as text for a terminal and as plain numbers."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from crowlight.batch.steady import SteadyTest
from crowlight.bench.batch_found import difference_code
from crowlight.bench.batches import BatchShown
from crowlight.report.batch_words import contrast_said, direction_said, unit_kind
from crowlight.report.batches import (
    apart_said,
    candidates_said,
    consistency_rows,
    split_said,
    steady_said,
    steps_out,
    tracked_said,
)
from crowlight.report.words import Words, literal

__all__ = ["batch_plain", "batch_text"]


def batch_text(shown: BatchShown, words: Words) -> str:
    """Return what a batch tells as lines of text, for a terminal."""
    lines = [f"{literal(shown.batch.name)}: {len(shown.found.reeds)} reeds"]
    if shown.invented:
        lines.append("Invented data: these reeds were made up for a demonstration.")
    lines += ["", "The steady difference"]
    lines += [f"  {line}" for line in steady_said(shown, words)]
    if (plan := shown.found.plan) is not None and plan.each is not None:
        lines.append(
            f"  Split test: {plan.each} reeds as usual, {plan.each} with one thing changed."
        )
    lines += [f"  Split test: {split_said(s, words)}" for s in shown.found.splits]
    lines += ["", "Consistency: reeds (interval), gauge alone"]
    lines += [
        f"  {r.name:38} {r.mean:>8} {r.unit:6} {r.reeds} ({r.interval}), {r.gauge}"
        f"{'; ' + '; '.join(r.signals) if r.signals else ''}"
        for r in consistency_rows(shown, words)
    ]
    for title, said in (
        ("Reeds that lie apart", apart_said(shown, words)),
        ("Good and poor reeds: candidates for a test, not causes", candidates_said(shown, words)),
        ("From cane to blank, outside what is usual", steps_out(shown, words) or ["none"]),
        ("Which step goes with the grades", tracked_said(shown, words)),
    ):
        lines += ["", title, *(f"  {line}" for line in said)]
    return "\n".join(lines)


def _in_mm(code: str, value: float) -> float | None:
    """Return a quantity with lengths in millimetres; None for what is not known."""
    if not math.isfinite(value):
        return None
    lengths = unit_kind(code.partition("/")[0]) in {"thickness", "length"}
    return round(value * 1e3, 6) if lengths else round(value, 6)


def _rounded(value: float) -> float | None:
    return round(value, 6) if math.isfinite(value) else None


def _test_plain(test: SteadyTest, words: Words) -> dict[str, Any]:
    code = test.quantity
    return {
        "quantity": code,
        "contrast": test.contrast.value,
        "test": difference_code(code, test.contrast.value),
        "unit": {"thickness": "mm", "length": "mm", "slope": "mm/mm"}.get(unit_kind(code), "1"),
        "said": direction_said(test, words),
        "compared": contrast_said(test.contrast, words),
        "pattern": test.pattern.value if test.pattern else None,
        "blade": None if test.blade is None else ("marked", "plain")[test.blade],
        "reeds": test.count,
        "same_sign": test.same_sign,
        **{
            name: _in_mm(code, value)
            for name, value in (
                ("mean", test.mean),
                ("low", test.low),
                ("high", test.high),
                ("spread", test.spread),
                ("repeatability", test.repeatability),
                ("tolerance", test.tolerance),
            )
        },
        "p": _rounded(test.p),
        "q": _rounded(test.q),
        "rank_correlation": _rounded(test.rank_correlation),
        "link_p": _rounded(test.link_p),
        "link_q": _rounded(test.link_q),
    }


def batch_plain(shown: BatchShown, words: Words) -> dict[str, Any]:
    """Return what a batch tells as plain values, lengths in millimetres."""
    found, steady = shown.found, shown.found.steady
    return {
        "batch": shown.batch.name,
        "maker": shown.maker.name if shown.maker else None,
        "invented": shown.invented,
        "reeds": [
            {
                "name": shown.names[r.uuid],
                "grade": r.facts.grade,
                "not_mapped": r.measured.not_mapped,
            }
            for r in found.reeds
        ],
        "steady": {
            "missing": steady.missing,
            "tested": len(steady.tested),
            "linked": steady.linked,
            "said": steady_said(shown, words),
            "consistent": [_test_plain(t, words) for t in steady.consistent],
        },
        "split_test": None if found.plan is None else asdict(found.plan),
        "split_tests_done": [
            {"test": s.test, "said": split_said(s, words), "answer": s.result.answer}
            for s in found.splits
        ],
        "consistency": [
            {
                "quantity": c.code,
                "reeds": c.spread.count,
                "mean": _in_mm(c.code, c.spread.mean),
                "total": _in_mm(c.code, c.spread.total),
                "gauge": _in_mm(c.code, c.spread.gauge),
                "between_reeds": _in_mm(c.code, c.spread.reeds.value),
                "low": _in_mm(c.code, c.spread.reeds.low),
                "high": _in_mm(c.code, c.spread.reeds.high),
                "told_apart": c.spread.told_apart,
                "between_batches": None
                if c.batches is None
                else {
                    "batches": c.batches.groups,
                    "value": _in_mm(c.code, c.batches.between.value),
                    "low": _in_mm(c.code, c.batches.between.low),
                    "high": _in_mm(c.code, c.batches.between.high),
                },
                "signals": [
                    {"rule": s.rule, "reed": shown.names.get(c.reeds[s.at])}
                    for s in (c.chart.signals if c.chart else ())
                ],
                "capability_missing": c.capability.missing if c.capability else None,
            }
            for c in found.charted
        ],
        "apart": [
            {
                "quantities": list(a.codes),
                "cut": round(a.apart.cut, 3),
                "reeds": {
                    shown.names.get(uuid, str(uuid)): round(d, 3)
                    for uuid, d in zip(a.reeds, a.apart.distance, strict=True)
                },
                "outlying": [shown.names.get(a.reeds[i]) for i in a.apart.outlying],
            }
            for a in found.apart
        ],
        "good_and_poor": {
            "good": found.candidates.good,
            "poor": found.candidates.poor,
            "missing": found.candidates.missing,
            "looked_at": len(found.candidates.tested),
            "candidates": [
                {"quantity": c.quantity, "difference": _in_mm(c.quantity, c.difference)}
                | {"p": _rounded(c.p), "q": _rounded(c.q)}
                for c in found.candidates.named
            ],
        },
        "outside_usual": steps_out(shown, words),
        "steps_and_grades": [
            {"step": t.step, "slope": _rounded(t.slope), "low": _rounded(t.low)}
            | {"high": _rounded(t.high), "unit_mm": _rounded(t.unit * 1e3), "q": _rounded(t.q)}
            for t in found.tracked
        ],
    }
