"""What a batch tells, as rows and sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from crowlight.batch.candidates import LEAST_EACH
from crowlight.batch.control import CAPABILITY_FROM
from crowlight.batch.steady import LEAST, SteadyTest
from crowlight.bench.batch_found import ApartFound, Charted, SplitFound
from crowlight.bench.batches import BatchShown
from crowlight.report.batch_words import (
    STEPS,
    direction_said,
    mean_said,
    pattern_said,
    quantity_name,
    shown_value,
    signal_said,
    span_said,
    unit_name,
)
from crowlight.report.words import Words, literal, mark

__all__ = [
    "ConsistencyRow",
    "apart_said",
    "candidates_said",
    "consistency_rows",
    "split_said",
    "steady_said",
    "steps_out",
    "tracked_said",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsistencyRow:
    """One quantity over the batch, ready to be shown.

    Parameters
    ----------
    code, name, unit : str
        Code, words and unit.
    count : int
        Reeds it is known of.
    mean, total, gauge, reeds, interval : str
        Numbers in that unit.
    batches : str
        How far this maker's batches differ, with its interval; empty if there is one batch.
    told_apart : bool
        Whether the reeds differ by more than the gauge shows alone.
    charted : bool
        Whether there is a control chart.
    signals : tuple of str
        What stands out in it, with the reeds' names.
    capability : str
        A sentence; empty if the style asks nothing.
    """

    code: str
    name: str
    unit: str
    count: int
    mean: str
    total: str
    gauge: str
    reeds: str
    interval: str
    batches: str
    told_apart: bool
    charted: bool
    signals: tuple[str, ...]
    capability: str


def consistency_rows(shown: BatchShown, words: Words) -> list[ConsistencyRow]:
    """Return one row for each quantity."""
    return [_row(c, shown.names, words) for c in shown.found.charted]


def _row(c: Charted, names: Mapping[UUID, str], words: Words) -> ConsistencyRow:
    s, code = c.spread, c.code
    signals = c.chart.signals if c.chart else ()
    return ConsistencyRow(
        code=code,
        name=quantity_name(code, words),
        unit=unit_name(code, words),
        count=s.count,
        mean=shown_value(code, s.mean, words),
        total=shown_value(code, s.total, words),
        gauge=shown_value(code, s.gauge, words),
        reeds=shown_value(code, s.reeds.value, words),
        interval=span_said(code, s.reeds.low, s.reeds.high, words),
        batches=_between_said(c, words),
        told_apart=s.told_apart,
        charted=c.chart is not None,
        signals=tuple(
            f"{literal(names.get(c.reeds[g.at], '?'))}: {signal_said(g.rule, words)}"
            for g in signals
        ),
        capability=_capability_said(c, words),
    )


def _between_said(c: Charted, words: Words) -> str:
    if c.batches is None:
        return ""
    between = c.batches.between
    return words.say(
        mark("%(count)s batches differ by %(value)s (%(span)s)"),
        count=c.batches.groups,
        value=shown_value(c.code, between.value, words),
        span=span_said(c.code, between.low, between.high, words),
    )


def _capability_said(c: Charted, words: Words) -> str:
    found = c.capability
    if found is None:
        return ""
    if found.missing:
        return words.say(
            mark("Capability: %(missing)s more reeds are needed, %(least)s in all."),
            missing=found.missing,
            least=CAPABILITY_FROM,
        )
    if not found.steady or found.nearest is None or found.spread is None:
        return words(mark("Capability: not stated while the chart has signals."))
    return words.say(
        mark(
            "Capability against the style: Pp %(pp)s (%(pp_low)s to %(pp_high)s), "
            "Ppk %(ppk)s (%(ppk_low)s to %(ppk_high)s)."
        ),
        **{
            name: words.number(value, 2)
            for name, value in zip(
                ("pp", "pp_low", "pp_high", "ppk", "ppk_low", "ppk_high"),
                (*found.spread, *found.nearest),
                strict=True,
            )
        },
    )


# --- the steady difference ------------------------------------------------------------------------


def _headline(test: SteadyTest, words: Words) -> str:
    name = quantity_name(test.quantity, words)
    return f"{name[:1].upper()}{name[1:]}: {direction_said(test, words)}, {mean_said(test, words)}."


def steady_said(shown: BatchShown, words: Words) -> list[str]:
    """Return the steady difference in sentences; the first one tells it or why there is none."""
    steady = shown.found.steady
    if steady.missing:
        return [
            words.say(
                mark(
                    "It takes %(least)s measured reeds before a difference can be called steady; "
                    "%(missing)s more are needed."
                ),
                least=LEAST,
                missing=steady.missing,
            )
        ]
    first = steady.first
    if first is None:
        return [
            words.say(
                mark(
                    "No difference is the same on all reeds, as far as the gauge can tell; "
                    "%(count)s were looked at, one by one over all reeds."
                ),
                count=len(steady.tested),
            )
        ]
    hand = shown.maker.hand if shown.maker else ""
    said = [_headline(first, words)]
    said.append(
        words.say(
            mark("%(same)s of %(count)s reeds have it; %(tested)s differences were looked at."),
            same=first.same_sign,
            count=first.count,
            tested=len(steady.tested),
        )
    )
    said += pattern_said(first, hand, words)
    said.append(_link_said(first, steady.linked, words))
    return said


def _link_said(test: SteadyTest, linked: bool, words: Words) -> str:
    if not math.isfinite(test.rank_correlation):
        return words(mark("Too few grades to say whether it matters to the players."))
    said = (
        mark(
            "Reeds that have more of it got lower grades (rank correlation %(rho)s): worth a "
            "test. It is no proof, other things may come along with it."
        )
        if linked
        else mark(
            "No link with the grades can be seen (rank correlation %(rho)s); it may not matter."
        )
    )
    return words.say(said, rho=words.number(test.rank_correlation, 2, signed=True))


def split_said(split: SplitFound, words: Words) -> str:
    """Return what a split test told."""
    quantity, _, _ = split.test.partition("/")
    r = split.result
    name = quantity_name(quantity, words)
    values: dict[str, object] = {
        "what": name,
        "usual": r.usual,
        "changed": r.changed,
        "difference": shown_value(quantity, r.difference, words, signed=True),
        "span": span_said(quantity, r.low, r.high, words, signed=True),
        "unit": unit_name(quantity, words),
        "p": words.number(r.p, 3),
    }
    answers = {
        "too-few": mark(
            "%(what)s: %(usual)s reeds made as usual and %(changed)s changed are too few; it takes "
            "three of each."
        ),
        "smaller": mark(
            "%(what)s: the change makes the difference smaller, by %(difference)s %(unit)s "
            "(%(span)s); %(usual)s as usual, %(changed)s changed, chance alone p = %(p)s."
        ),
        "larger": mark(
            "%(what)s: the change makes the difference larger, by %(difference)s %(unit)s "
            "(%(span)s); %(usual)s as usual, %(changed)s changed, chance alone p = %(p)s."
        ),
        "turned": mark(
            "%(what)s: the change turns the difference round, by %(difference)s %(unit)s "
            "(%(span)s): it is no smaller now, but lies the other way; %(usual)s as usual, "
            "%(changed)s changed, chance alone p = %(p)s. Change less."
        ),
        "cannot-tell": mark(
            "%(what)s: no effect of the change can be told, %(difference)s %(unit)s (%(span)s); "
            "%(usual)s as usual, %(changed)s changed, chance alone p = %(p)s."
        ),
    }
    said = words.say(answers[r.answer], **values)
    return f"{said[:1].upper()}{said[1:]}"


# --- reeds apart, good and poor, cane to blank ----------------------------------------------------


def apart_said(shown: BatchShown, words: Words) -> list[str]:
    """Return which reeds lie apart, one sentence each; else that none does."""
    found: Sequence[ApartFound] = shown.found.apart
    if not found:
        return [
            words(mark("Too few measured reeds, or too alike, to say which of them lie apart."))
        ]
    said: list[str] = []
    for group in found:
        what = ", ".join(quantity_name(code, words) for code in group.codes)
        said += [
            words.say(
                mark("%(name)s lies apart in: %(what)s (distance %(distance)s, cut %(cut)s)."),
                name=literal(shown.names.get(group.reeds[i], "?")),
                what=what,
                distance=words.number(group.apart.distance[i], 1),
                cut=words.number(group.apart.cut, 1),
            )
            for i in group.apart.outlying
        ]
    if not said:
        codes = dict.fromkeys(code for group in found for code in group.codes)
        together = len(found[0].codes) > 1
        text = (
            mark("No reed lies apart from the others, taken together: %(what)s.")
            if together
            else mark("No reed lies apart from the others, each on its own: %(what)s.")
        )
        said.append(words.say(text, what=", ".join(quantity_name(c, words) for c in codes)))
    return said


def candidates_said(shown: BatchShown, words: Words) -> list[str]:
    """Return what differs between good and poor reeds; else why nothing is named."""
    found = shown.found.candidates
    if found.missing:
        return [
            words.say(
                mark(
                    "There are %(good)s good (4 and 5) and %(poor)s poor reeds (1 and 2) of this "
                    "maker; %(least)s of each are needed."
                ),
                good=found.good,
                poor=found.poor,
                least=LEAST_EACH,
            )
        ]
    if not found.named:
        return [
            words.say(
                mark(
                    "Between %(good)s good and %(poor)s poor reeds none of %(count)s quantities "
                    "differs by more than chance explains."
                ),
                good=found.good,
                poor=found.poor,
                count=len(found.tested),
            )
        ]
    return [
        words.say(
            mark(
                "%(what)s: good reeds have %(difference)s %(unit)s (means %(span)s) against poor "
                "ones."
            ),
            what=quantity_name(c.quantity, words),
            difference=shown_value(c.quantity, c.difference, words, signed=True),
            unit=unit_name(c.quantity, words),
            span=span_said(c.quantity, c.low, c.high, words, signed=True),
        )
        for c in found.named
    ]


def steps_out(shown: BatchShown, words: Words) -> list[str]:
    """Return the steps from cane to blank that lie outside what is usual, one line each."""
    said: list[str] = []
    for reed in shown.found.reeds:
        for c in shown.found.steps.get(str(reed.uuid), ()):
            if c.verdict == "within":
                continue
            low, high = (words.mm(v, 2) for v in (c.tolerance.low, c.tolerance.high))
            usual = words.say(mark("%(low)s to %(high)s"), low=low, high=high)
            if math.isinf(c.tolerance.low):
                usual = words.say(mark("up to %(high)s"), high=high)
            said.append(
                words.say(
                    mark("%(name)s: %(step)s %(value)s, usual %(usual)s"),
                    name=literal(shown.names.get(reed.uuid, "?")),
                    step=words(STEPS[c.step]),
                    value=words.mm(c.value, 2),
                    usual=usual,
                )
            )
    return said


def tracked_said(shown: BatchShown, words: Words) -> list[str]:
    """Return how the grade goes with each step from cane to blank."""
    found = shown.found
    if found.tracking == "study":
        return [
            words(
                mark(
                    "Which step goes with the grades is worked out with statsmodels; install it "
                    "with: pip install 'crowlight[study]'"
                )
            )
        ]
    if found.tracking == "few":
        return [words(mark("Too few graded reeds with unlike steps to say which of them matters."))]
    return [
        words.say(
            mark(
                "%(step)s: %(slope)s grades (%(low)s to %(high)s) for each %(unit)s more; "
                "%(reeds)s reeds of %(batches)s batches, q = %(q)s"
            ),
            step=words(STEPS[t.step]),
            slope=words.number(t.slope, 2, signed=True),
            low=words.number(t.low, 2, signed=True),
            high=words.number(t.high, 2, signed=True),
            unit=words.mm(t.unit, 3),
            reeds=t.reeds,
            batches=t.batches,
            q=words.number(t.q, 2),
        )
        for t in found.tracked
    ]
