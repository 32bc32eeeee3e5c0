"""What may not be done, whatever it promises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crowlight.judge.findings import Findings, Known, catalogue
from crowlight.judge.findings.stops import Stop, bars
from crowlight.plan.cut.options import Act

__all__ = ["Barred", "clip_is_due", "forbidden"]


@dataclass(frozen=True, slots=True)
class Barred:
    """Something that answers a finding but is not offered.

    Parameters
    ----------
    code : str
        Remedy.
    reason : str
        ``"stop"``, ``"no-knife"``, ``"not-surely-thicker"``, ``"floor"``, ``"too-short"``,
        ``"clip-not-due"``, ``"not-measured"`` or ``"no-gain"``.
    stop : str
        Code of the stop, if it is one.
    """

    code: str
    reason: str
    stop: str = ""


def forbidden(act: Act, stops: Sequence[Stop], *, knife: bool) -> Barred | None:
    """Return why an act may not be done at all; None if it may."""
    remedy = act.remedy
    if remedy is None:
        return None
    stop = next((s for s in stops if bars(s, remedy)), None)
    if stop is not None:
        return Barred(act.code, "stop", stop.code)
    return Barred(act.code, "no-knife") if act.cuts and not knife else None


def clip_is_due(act: Act, findings: Findings, known: Known) -> bool:
    """Return whether a clip may be offered: the last resort of what it answers, or the crow is low.

    A clip cannot be undone and hides what scraping would mend, so it waits until no other cut is
    left for some finding it answers, or until the crow has dropped below what is wanted by more
    than its uncertainty (common practice, no source).
    """
    cents = known.crow.cents
    if cents is not None and cents.tells and cents.value < -cents.uncertainty:
        return True
    remedies = catalogue().remedies
    of = [r for r in findings.ranked if r.finding.code in act.answers and "clip" in r.remedies]
    return any(not any(remedies[code].cuts for code in r.remedies if code != "clip") for r in of)
