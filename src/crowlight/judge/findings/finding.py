"""What a finding, a piece of evidence, a check, a remedy and a caution are, as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["GROUPS", "SOURCES", "Catalogue", "Caution", "Check", "Finding", "Item", "Remedy"]

#: What the source tags mean.
SOURCES: Mapping[str, str] = {
    "cp": "common practice, no source",
    "weak": "common practice, no source, and weak",
    "physics": "follows from mechanics; its size is a judgement",
}

#: Groups of findings, in the order they are asked about: is it the reed at all, may it be touched,
#: is it wrong before the knife, and only then what the knife can change.
GROUPS: tuple[str, ...] = (
    "not-the-reed",
    "damage",
    "not-now",
    "before-the-knife",
    "leak",
    "age",
    "opening",
    "tip",
    "blend",
    "heart",
    "balance",
    "length",
)


@dataclass(frozen=True, slots=True)
class Item:
    """One piece of evidence of one finding.

    Parameters
    ----------
    kind : str
        ``"measure"``, ``"sign"`` or ``"count"``.
    code : str
        Name of the quantity or sign.
    family : str
        What it hangs together with.
    shift, spread, cap : float
        Of a measure, in SI: by how much the finding shifts it, how it spreads among reeds, largest
        likelihood ratio. `cap` also of a count.
    if_so, otherwise : float
        Of a sign or count: its chance when the finding holds and when it does not.
    """

    kind: str
    code: str
    family: str
    shift: float = 0.0
    spread: float = 1.0
    cap: float = 20.0
    if_so: float = 0.5
    otherwise: float = 0.5


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that may be wrong.

    Parameters
    ----------
    code : str
        Its name.
    title, advice : str
        English source sentences.
    group : str
        One of `GROUPS`.
    places : str
        A key of `where.PLACES`; the prior is shared among its places.
    prior_odds : float
        Odds that a reed brought to the bench has it, anywhere.
    prior_source : str
        A key of `SOURCES`.
    causes : tuple of str
        English source sentences.
    evidence : tuple of Item
        What speaks for and against.
    rivals : mapping of str to str
        Finding it is taken for, and the check that tells the two apart.
    remedies : tuple of str
        Codes, most easily undone first.
    cautions : tuple of str
        Codes.
    basis : str
        A key of `SOURCES`.
    """

    code: str
    title: str
    advice: str
    group: str
    places: str
    prior_odds: float
    prior_source: str
    causes: tuple[str, ...]
    evidence: tuple[Item, ...]
    rivals: Mapping[str, str]
    remedies: tuple[str, ...]
    cautions: tuple[str, ...]
    basis: str


@dataclass(frozen=True, slots=True)
class Check:
    """Something that can be looked at or tried.

    Parameters
    ----------
    code, title : str
        Name and English source sentence.
    minutes : float
        How long it takes at the bench.
    tells : frozenset of str
        Quantities and signs it answers.
    loads : bool
        Whether it bends, blows or wets the reed.
    """

    code: str
    title: str
    minutes: float
    tells: frozenset[str]
    loads: bool


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something that can be done.

    Parameters
    ----------
    code, title : str
        Name and English source sentence.
    step : int
        Place on the ladder: 0 nothing is changed, 12 the reed is gone.
    undoable : bool
        Whether the reed can be brought back to where it was.
    cuts : bool
        Whether cane comes off.
    loads : bool
        Whether it bends, blows or wets the reed.
    zone : str
        Zone it takes cane from; empty for none.
    cautions : tuple of str
        Codes.
    effect, stop : str
        English source sentences: what is expected, when to stop.
    """

    code: str
    title: str
    step: int
    undoable: bool
    cuts: bool
    loads: bool
    zone: str
    cautions: tuple[str, ...]
    effect: str
    stop: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution at the point of advice: name and English source sentence."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All findings, and what they refer to, by code."""

    findings: Mapping[str, Finding]
    checks: Mapping[str, Check]
    remedies: Mapping[str, Remedy]
    cautions: Mapping[str, Caution]
