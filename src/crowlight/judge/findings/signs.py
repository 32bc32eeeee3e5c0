"""Named signs: yes-or-no evidence, told by a witness who may be wrong.

Each is a function of what is known and of a place and returns q, how likely it is that the sign is
there as told by that witness alone: 1/2 is no idea, None not asked. "Unsure" counts as not asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from crowlight.judge.findings.evidence import Answer, Known
from crowlight.judge.findings.odds import witness
from crowlight.judge.findings.where import Where

__all__ = ["LOOKS", "SIGNS", "WORDS", "Sign"]

Take = Callable[[Known, Where], "float | None"]

#: How often a witness of each kind is right (our choice, between practice and caution).
_TAP, _WORD, _TRIAL, _SEEN, _LOOK, _NOTE = 0.93, 0.90, 0.97, 0.99, 0.998, 0.995


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign evidence is taken from.

    Parameters
    ----------
    code : str
        Its name in the catalogue.
    family : str
        What it hangs together with.
    of : callable
        From what is known and a place to q, 0 to 1, or None.
    """

    code: str
    family: str
    of: Take


def _answered(answer: Answer | None, yes: str, right: float) -> float | None:
    if answer is None or answer == "unsure":
        return None
    return right if answer == yes else 1 - right


def _tap(name: str, trouble: str = "no") -> Take:
    def take(known: Known, where: Where) -> float | None:
        return _answered(getattr(known.playing, name), trouble, _TAP)

    return take


def _word(code: str) -> Take:
    # what a player does not mention says nothing
    def take(known: Known, where: Where) -> float | None:
        return _WORD if code in known.playing.words else None

    return take


def _look(code: str) -> Take:
    def take(known: Known, where: Where) -> float | None:
        if code in known.trials.look:
            return _LOOK
        return 1 - _LOOK if known.trials.looked else None

    return take


def _trial(name: str, yes: str) -> Take:
    def take(known: Known, where: Where) -> float | None:
        answer: str | None = getattr(known.trials, name)
        if answer is None:
            return None
        return _TRIAL if answer == yes else 1 - _TRIAL

    return take


def _crow_class(name: str) -> Take:
    def take(known: Known, where: Where) -> float | None:
        p: float | None = getattr(known.crow, name)
        return None if p is None else min(max(witness(p, 1 / 3), 0.02), 0.98)

    return take


def _first(code: str) -> Take:
    def take(known: Known, where: Where) -> float | None:
        if known.crow.first is None:
            return None
        return _TAP if known.crow.first == code else 1 - _TAP

    return take


def _silent(known: Known, where: Where) -> float | None:
    return _answered(known.crow.speaks, "no", _NOTE)


def _leaks(known: Known, where: Where) -> float | None:
    return _answered(known.trials.leaks, "yes", _TRIAL)


def _bubbles(code: str) -> Take:
    def take(known: Known, where: Where) -> float | None:
        if known.trials.bubbles is None:
            return None
        return _SEEN if known.trials.bubbles == code else 1 - _SEEN

    return take


def _noted(name: str) -> Take:
    def take(known: Known, where: Where) -> float | None:
        return _answered(getattr(known.history, name), "yes", _NOTE)

    return take


def _last_cut_worse(known: Known, where: Where) -> float | None:
    last = known.history.last_cut
    return None if last is None else (_TAP if last == "worse" else 1 - _TAP)


#: What the player's words can mean, and the family each hangs together with.
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "flat": "pitch words",
        "sharp": "pitch words",
        "hard": "effort",
        "soft": "effort",
        "stuffy": "tone",
        "dull": "tone",
        "bright": "tone",
        "buzzy": "tone",
        "late": "response",
        "no-soft": "response",
        "no-low": "response",
        "no-high": "high notes",
        "cracks": "octaves",
        "sags": "stability",
        "chirps": "chirps",
        "tongue": "tongue",
        "rattles": "crow",
        "wobbles": "crow",
        "closed": "opening words",
        "open": "opening words",
        "one-side": "side words",
        "all-reeds": "control reed",
        "old": "age",
    }
)
#: What can be seen against the light or under the loupe.
LOOKS = (
    "crack-thread",
    "crack-tip",
    "crack-scrape",
    "splinter",
    "nick",
    "lump",
    "film",
    "mould",
    "twist",
    "staple-dent",
    "ridge",
    "green",
)

_ROWS: tuple[tuple[str, str, Take], ...] = (
    ("soft-attack-fails", "response", _tap("low_soft_attack")),
    ("octaves-fail", "octaves", _tap("slurred_octaves")),
    ("high-notes-fall", "high notes", _tap("high_notes_hold")),
    ("sags-loose", "stability", _tap("sags_when_lip_loosens", "yes")),
    ("tongue-fails", "tongue", _tap("tongues_cleanly")),
    ("soft-to-loud-fails", "dynamics", _tap("soft_to_loud")),
    ("crow-rattles", "crow", _crow_class("rattling")),
    ("crow-clean", "crow", _crow_class("clean")),
    ("crow-silent", "crow", _silent),
    ("high-first", "crow", _first("high")),
    ("low-first", "crow", _first("low")),
    ("rattle-first", "crow", _first("rattle")),
    ("leaks", "leak", _leaks),
    ("bubbles-side", "leak", _bubbles("side")),
    ("bubbles-thread", "leak", _bubbles("thread")),
    ("bubbles-cork", "leak", _bubbles("cork")),
    ("control-fails", "control reed", _trial("control_reed", "fails")),
    ("other-oboe-fine", "other oboe", _trial("other_instrument", "fine")),
    ("other-player-fine", "other player", _trial("other_player", "fine")),
    ("re-soak-helps", "soak trial", _trial("re_soaked", "better")),
    ("drying-helps", "soak trial", _trial("dried", "better")),
    ("pinch-helps", "pinch", _trial("pinched_sides", "better")),
    ("last-cut-worse", "last cut", _last_cut_worse),
    ("crow-lost-by-cut", "last cut", _noted("crow_lost")),
    ("changed-together", "comparison", _noted("changed_together")),
    *((f"look-{code}", f"look {code}", _look(code)) for code in LOOKS),
    *((f"word-{code}", family, _word(code)) for code, family in WORDS.items()),
)

#: Every sign by its name.
SIGNS: Mapping[str, Sign] = MappingProxyType({row[0]: Sign(*row) for row in _ROWS})
