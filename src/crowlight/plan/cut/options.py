"""What may be done next: one zone, a clip, something without a knife, nothing, or a rest."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.judge.findings import Findings, Ranked, Support, Where, catalogue
from crowlight.judge.findings.finding import Remedy
from crowlight.judge.findings.odds import probability
from crowlight.plan.cut.now import ReedNow
from crowlight.plan.cut.shapes import Part, patches
from crowlight.reed import Blade, Side

__all__ = [
    "CLIPS",
    "LEAVE",
    "MORE_STROKES",
    "MOST_CANE",
    "MOST_STROKES",
    "REST",
    "ROUGH_CLIP",
    "Act",
    "acts",
    "amounts",
    "larger_amounts",
    "supported",
    "without_knife",
]

Real = NDArray[np.float64]
Kind = Literal["scrape", "clip", "act", "leave", "rest"]

#: Light strokes at one place before the next test (common practice, no source).
MOST_STROKES = 3
#: More of them, behind the transition only, while it is sure that as many again would still help
#: (our choice): a thick zone is many strokes of a light hand away, and no ear hears the first.
MORE_STROKES = (5, 8)
#: Nor more cane than this before the next test [m] (common practice, no source).
MOST_CANE = 0.020e-3
_THICK = frozenset({"heart", "windows", "back"})
#: Clips when finishing, against a stop, and besides them on a rough reed [m] (common practice).
CLIPS, ROUGH_CLIP = (0.1e-3, 0.2e-3), 0.3e-3

#: Remedy a scrape belongs to, by zone and part: on both blades, on one.
_REMEDIES: Mapping[tuple[str, Part], tuple[str, str]] = {
    ("tip", Part.WHOLE): ("dust-tip", "equalise-tip"),
    ("tip", Part.SIDES): ("dust-corners", ""),
    ("tip", Part.CORNERS): ("dust-corners", ""),
    ("tip", Part.LEFT): ("", "equalise-side"),
    ("tip", Part.LEFT_CORNER): ("", "dust-corner"),
    ("transition", Part.WHOLE): ("blend", ""),
    ("transition", Part.SIDES): ("draw-back-edges", ""),
    ("transition", Part.LEFT_FOOT): ("recut-shallow-side", "recut-shallow-side"),
    ("heart", Part.WHOLE): ("heart", "equalise-heart"),
    ("heart", Part.SIDES): ("heart", ""),
    ("heart", Part.LEFT): ("", "equalise-heart"),
    ("windows", Part.WHOLE): ("back", "back"),
    ("windows", Part.SIDES): ("back", ""),  # further from the spine
    ("windows", Part.LEFT): ("", "back"),
    ("windows", Part.UPPER): ("shorten-heart", "shorten-heart"),
    ("back", Part.WHOLE): ("back", "back"),
    ("back", Part.SIDES): ("back", ""),
    ("back", Part.LEFT): ("", "back"),
    ("back", Part.UPPER): ("shorten-heart", "shorten-heart"),
}
#: Findings that name the thin or steep side, while the knife goes to the other.
_OTHER_SIDE = frozenset(
    {"thin-side-of-tip", "blend-uneven", "hand-cuts-one-side-steep", "closes-one-side-first"}
)
#: From which probability a weak finding about the opening is reason enough for what can be undone.
_LIKELY_ENOUGH = 0.2
#: What is said when nothing else may be done.
_LAST = ("record", "retire")


@dataclass(frozen=True)
class Act:
    """One thing to do.

    Parameters
    ----------
    kind : {"scrape", "clip", "act", "leave", "rest"}
        What sort of thing; ``"act"`` is done without a knife.
    code : str
        Remedy it is, by its name in the catalogue of findings.
    zone : str
        Zone it takes cane from; empty for none.
    part : Part
        Part of that zone.
    blades : tuple of Blade
        Blades it is done on, the same on each as seen.
    oblique : bool
        Strokes outward to the corners instead of along the grain.
    strokes : int
        Light strokes at each place; 0 for none.
    clip : float
        Clipped off [m]. Dusting edge and corners again belongs to it.
    shape : ndarray, shape (2, n_along, n_across)
        Cane taken off, 1 where it is most.
    answers : tuple of str
        Findings with fair support or more that it is a remedy of, best supported first.
    belief : float
        Probability of the likeliest of them; 0 for none.
    """

    kind: Kind
    code: str
    zone: str = ""
    part: Part = Part.WHOLE
    blades: tuple[Blade, ...] = ()
    oblique: bool = False
    strokes: int = 0
    clip: float = 0.0
    shape: Real | None = field(default=None, compare=False, repr=False)
    answers: tuple[str, ...] = ()
    belief: float = 0.0

    @property
    def remedy(self) -> Remedy | None:
        """The remedy in the catalogue; None for leaving it."""
        return catalogue().remedies.get(self.code)

    @property
    def cuts(self) -> bool:
        """Whether cane comes off."""
        return self.kind in ("scrape", "clip")

    @property
    def lopsided(self) -> bool:
        """Whether it treats sides or blades differently, to make them alike."""
        return self.kind == "scrape" and (len(self.blades) == 1 or self.part.lopsided)

    @property
    def step(self) -> int:
        """Place on the ladder of what is easily undone; 0 changes nothing."""
        return self.remedy.step if self.remedy else 0

    def with_amount(self, amount: float) -> Act:
        """Return the same with another number of strokes, or another clip [m]."""
        if self.kind == "clip":
            return replace(self, clip=amount)
        return replace(self, strokes=int(amount)) if self.kind == "scrape" else self


LEAVE = Act("leave", "leave")
REST = Act("rest", "rest")


def acts(reed: ReedNow, findings: Findings, *, rough: bool = False) -> tuple[Act, ...]:
    """Return every cut that is a remedy of something, one stroke or the smallest clip each.

    Parameters
    ----------
    reed : ReedNow
        The reed.
    findings : Findings
        What may be wrong with it.
    rough : bool
        Whether the reed is still rough; then a clip may be larger.

    Returns
    -------
    tuple of Act
        Scrapes and clips, whether they may be made or not.
    """
    found: list[Act] = []
    for (zone, part, slant), shape in patches(reed).items():
        both, single = _remedies(zone, part)
        for blades, code in (
            (tuple(Blade), both),
            ((Blade.MARKED,), single),
            ((Blade.PLAIN,), single),
        ):
            if code:
                laid = np.stack([shape if b in blades else np.zeros(shape.shape) for b in Blade])
                act = Act("scrape", code, zone, part, blades, slant, strokes=1, shape=laid)
                found.append(_answering(act, findings))
    clips = (*CLIPS, ROUGH_CLIP) if rough else CLIPS
    clip = Act("clip", "clip", "length", blades=tuple(Blade), clip=clips[0])
    return (*found, _answering(clip, findings))


def amounts(act: Act, *, rough: bool = False) -> tuple[float, ...]:
    """Return the amounts an act is done by, least first: strokes, or clips [m]."""
    if act.kind == "clip":
        return (*CLIPS, ROUGH_CLIP) if rough else CLIPS
    return tuple(range(1, MOST_STROKES + 1)) if act.kind == "scrape" else (0,)


def larger_amounts(act: Act, *, rough: bool = False) -> tuple[float, ...]:
    """Return the amounts beyond `amounts`, for a reed that is surely further off than twice that.

    Behind the transition more strokes; on a reed far too long, the clip of a rough one.
    """
    if act.kind == "clip":
        return () if rough else (ROUGH_CLIP,)
    return MORE_STROKES if act.kind == "scrape" and act.zone in _THICK else ()


def without_knife(
    findings: Findings, done: Collection[str] = (), *, knife: bool = True, measured: bool = False
) -> tuple[Act, ...]:
    """Return what may be done without a knife, most easily undone first.

    Parameters
    ----------
    findings : Findings
        What may be wrong.
    done : collection of str
        Remedies already tried since something else changed.
    knife : bool
        Whether a knife can be used; without one, remedies that need it are no way out.
    measured : bool
        Whether there is a thickness map already; measuring is then nothing new.

    Returns
    -------
    tuple of Act
        Allowed remedies of supported findings, and of an opening that is weakly supported but not
        unlikely off: shaping it can be undone. Measuring and retiring are named only where the
        first finding leaves nothing else; resting always stands by itself.
    """
    found: dict[str, Act] = {}
    for i, r in enumerate([*supported(findings), *_worth_a_try(findings)]):
        remedies = [catalogue().remedies[code] for code in r.remedies if code != "rest"]
        open_ = [
            x
            for x in remedies
            if x.code not in done and (knife or not x.cuts) and (not measured or x.code != "record")
        ]
        others = [x for x in open_ if x.code not in _LAST]
        for remedy in others or (open_ if i == 0 else []):
            easily = r.support is not Support.WEAK or (remedy.undoable and not remedy.cuts)
            if easily and not remedy.cuts and remedy.code not in found:
                found[remedy.code] = Act(
                    "act", remedy.code, answers=(r.finding.code,), belief=_probability(r)
                )
    return tuple(sorted(found.values(), key=lambda a: a.step))


def _remedies(zone: str, part: Part) -> tuple[str, str]:
    """Return the remedy of a scrape on both blades and on one; empty where it is none."""
    return _REMEDIES.get((zone, part)) or _REMEDIES.get((zone, part.mirrored), ("", ""))


def supported(findings: Findings) -> Iterator[Ranked]:
    """Yield the findings with fair support or more, in their order."""
    return (r for r in findings.ranked if r.support in (Support.FAIR, Support.STRONG))


def _worth_a_try(findings: Findings) -> Iterator[Ranked]:
    """Yield weak findings from a measured opening, likely enough to try what can be undone."""
    return (
        r
        for r in findings.ranked
        if r.support is Support.WEAK
        and any(w.code == "opening" for w in r.for_)
        and _probability(r) >= _LIKELY_ENOUGH
    )


def _answering(act: Act, findings: Findings) -> Act:
    """Return an act with the findings it is a remedy of at its place."""
    named = [
        r
        for r in supported(findings)  # a weak one is no reason to cut
        if act.code in r.finding.remedies and (act.kind == "clip" or _there(act, r))
    ]
    if not named:
        return act
    best = max(named, key=lambda r: round(r.log_odds, 9))
    return replace(
        act,
        answers=tuple(dict.fromkeys(r.finding.code for r in named)),
        belief=_probability(best),
    )


def _there(act: Act, r: Ranked) -> bool:
    """Whether an act is done where a finding wants it."""
    where = r.where
    if r.finding.code in _OTHER_SIDE:
        where = Where(where.blade, where.side.other if where.side else None)
    if act.blades != where.blades:
        return False
    side = next((s for s in Side if act.part.lopsided and act.part.value.startswith(s.value)), None)
    return side is where.side


def _probability(r: Ranked) -> float:
    return probability(r.log_odds)
