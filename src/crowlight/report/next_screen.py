"""The one screen: what to do next with a reed, in three lines and at most three numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from crowlight.judge.findings import catalogue
from crowlight.report.held import Held
from crowlight.report.next_cut import BladeDrawn, next_picture, where_held
from crowlight.report.words import Words, mark

__all__ = ["MOST_NUMBERS", "Glance", "Stopped", "glance", "numbers_in", "stopped"]

Plain = Mapping[str, Any]

#: Numbers on the screen at most.
MOST_NUMBERS = 3
#: Stops that end the work on a reed, or must be answered before it: these are said first, in the
#: order of how much hangs on them.
_GRAVE = ("splintered", "crack-at-thread", "crack-in-scrape", "mouldy")
_FIRST = (
    "ask-owner",
    "crow-lost",
    "not-the-reed",
    "sharpen-first",
    "before-the-knife",
    "unlike-wet-states",
    "disagreement",
    "measure-first",
    "concert-soon",
    "three-tests",
    "not-now",
)
_HEADS: Mapping[str, str] = {
    "leave": mark("Leave it as it is"),
    "rest": mark("Rest it until tomorrow"),
}


@dataclass(frozen=True, slots=True)
class Stopped:
    """What must be said before any advice.

    Parameters
    ----------
    code : str
        Of the stop.
    grave : bool
        Whether the reed may not be played or cut any more.
    text : str
        The sentence.
    """

    code: str
    grave: bool
    text: str


@dataclass(frozen=True, slots=True)
class Glance:
    """What is read at arm's length.

    Parameters
    ----------
    kind : str
        Kind of the option: ``scrape``, ``clip``, ``act``, ``leave`` or ``rest``.
    code : str
        Remedy it is, by its name in the catalogue of findings.
    index : int
        Which option of the plan it is.
    where, how_much : str
        First line; `how_much` is empty where there is no amount.
    listen : str
        Second line; empty where there is nothing to say.
    stop : tuple of str
        Third line: one or two reasons to stop, either of which is enough.
    picture : str
        ``<svg>`` of both blades; empty where the blades are not known.
    cuts : bool
        Whether a knife takes cane.
    strokes : int
        Light strokes it asks for.
    clip_mm : str
        Length to clip [mm], as typed; empty for none.
    """

    kind: Literal["scrape", "clip", "act", "leave", "rest"]
    code: str
    index: int
    where: str
    how_much: str
    listen: str
    stop: tuple[str, ...]
    picture: str
    cuts: bool
    strokes: int
    clip_mm: str


def glance(
    plan: Plain,
    drawn: BladeDrawn | None,
    *,
    held: Held,
    words: Words,
    name: str = "next",
    index: int | None = None,
    put_aside: bool = False,
    instead: str = "",
) -> Glance:
    """Return the one screen of a plan.

    Parameters
    ----------
    plan : mapping
        `crowlight.plan.cut.as_data`, in the language of `words`.
    drawn : BladeDrawn or None
        The reed; None if its style is not known, then nothing is drawn.
    held : Held
        How it is held.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.
    index : int, optional
        Which option; the advised one if not given.
    put_aside : bool
        Whether the reed may not be played or cut any more: then nothing else is advised.
    instead : str
        What is said in place of a cut, where somebody must agree to it first; nothing is cut then.
    """
    which = int(plan["advised"]) if index is None else index
    if put_aside or instead:
        which = next(i for i, o in enumerate(plan["options"]) if o["kind"] == "leave")
    measure = index is None and any(n["name"] == "measure-first" for n in plan["notes"])
    option: Plain = plan["options"][which]
    kind = option["kind"]
    cuts = kind in ("scrape", "clip")
    if cuts:
        where = _capital(where_held(option, held, words))
    elif kind == "act":
        where = str(option["title"]).rstrip(".")
    elif put_aside:
        where = words(mark("Put it aside"))
    elif instead:
        where = instead
    elif kind == "leave" and measure:
        where = words(mark("Look and measure before any cut"))
    else:
        where = words(_HEADS[kind])
    listen = " ".join(s["text"] for s in option["listen_for"][:1])
    stops = [s["text"] for s in option["stop_when"]]
    remedy = catalogue().remedies.get(option["name"])
    if kind == "act" and remedy is not None:
        listen, stops = words(remedy.effect), [words(remedy.stop)]
    if kind == "leave" and (put_aside or measure or instead):
        listen = ""
    how_much = str(option["how_much"]) if cuts else ""
    left = MOST_NUMBERS - numbers_in(f"{where} {how_much} {listen}")
    return Glance(
        kind=kind,
        code=option["name"],
        index=which,
        where=where,
        how_much=how_much,
        listen=listen,
        stop=_stop(stops, left),
        picture=""
        if drawn is None
        else next_picture(option, drawn, held=held, words=words, name=f"{name}-blades"),
        cuts=cuts,
        strokes=int(option["strokes"]),
        clip_mm=f"{option['clip'] * 1e3:g}" if option["clip"] else "",
    )


def numbers_in(text: str) -> int:
    """Return how many numbers stand in a text.

    Examples
    --------
    >>> numbers_in("2 light strokes; 0.02 mm; B4")
    2
    """
    words = text.replace("\N{NO-BREAK SPACE}", " ").split()
    return sum(word[:1].isdigit() for word in words)


def stopped(findings: Plain) -> list[Stopped]:
    """Return what must be said before any advice, the gravest first.

    Parameters
    ----------
    findings : mapping
        `crowlight.judge.findings.as_data`, in the reader's language.
    """
    order = (*_GRAVE, *_FIRST)
    said = {s["name"]: s["text"] for s in findings["stops"]}
    return [Stopped(code, code in _GRAVE, said[code]) for code in order if code in said]


def _stop(texts: Sequence[str], left: int) -> tuple[str, ...]:
    """Return the most telling stop rule and the last resort, as far as their numbers fit."""
    chosen: list[str] = []
    for text in (*texts[:1], *texts[1:][-1:]):
        need = numbers_in(text)
        if need <= left:
            chosen.append(text)
            left -= need
    return tuple(chosen)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
