"""One reed as one HTML file: pictures inlined, nothing fetched, made to be printed or posted."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from jinja2 import Environment

from crowlight import __version__
from crowlight.bench.assess import Judged
from crowlight.bench.desk import Sheet
from crowlight.bench.state import ReedState
from crowlight.reed import Blade, Origin
from crowlight.report.counting import Counting
from crowlight.report.environment import environment, style
from crowlight.report.svg import frame_of
from crowlight.report.words import Words, in_locale, mark

__all__ = ["facts", "making", "report_html"]

#: Places listed one by one; a table of thousands is a file, not a page.
_MOST_LISTED = 400


@cache
def _environment(words: Words) -> Environment:
    return environment(words)


@dataclass(frozen=True, slots=True)
class _Measured:
    """A place and what the gauge showed there, in the order in which it was read [m]."""

    blade: Blade
    along: float
    across: float
    thicknesses: tuple[float, ...]


def _readings_by_place(group: Judged) -> list[_Measured]:
    """Return the readings of a group by place: marked blade first, tip first, left to right."""
    found: dict[tuple[Blade, float, float], list[float]] = {}
    for r in group.readings:
        key = r.place.blade, round(r.place.along, 5), round(r.place.across, 5)
        found.setdefault(key, []).append(r.thickness)
    order = sorted(found, key=lambda k: (list(Blade).index(k[0]), -k[1], k[2]))
    return [_Measured(*key, tuple(found[key])) for key in order]


def facts(state: ReedState, words: Words) -> list[tuple[str, str]]:
    """Return what tells a reed apart and how it stands, as (name, value), only what is known.

    Parameters
    ----------
    state : ReedState
        The reed's state.
    words : Words
        The language.
    """
    d = state.described
    rows: list[tuple[str, str]] = [
        (words(mark("Thread")), d.thread_colour),
        (words(mark("Number on the cork")), d.cork_number),
        (words(mark("Scrape style")), words.style(d.style)),
    ]
    if state.length is not None:
        rows.append((words(mark("Length")), _pm(words, state.length, state.length_uncertainty, 1)))
    elif state.lengths is not None:
        said = words.mm(state.lengths.overall, 1)
        rows.append(
            (words(mark("Length")), words.say(mark("%(value)s, clipped since"), value=said))
        )
    if state.opening is not None:
        said = _pm(words, state.opening.height, state.opening.uncertainty, 2)
        if state.opening_old:
            said = words.say(mark("%(value)s, cut or clipped since"), value=said)
        rows.append((words(mark("Opening at rest")), said))
    if state.clipped:
        rows.append((words(mark("Clipped so far")), words.mm(state.clipped, 1)))
    if state.grade is not None:
        rows.append((words(mark("Grade")), words.say(mark("%(grade)s of 5"), grade=state.grade)))
    return [(name, value) for name, value in rows if value]


def making(state: ReedState, words: Words) -> list[tuple[str, str]]:
    """Return how a reed was made, as (name, value), only what is known."""
    d = state.described
    lengths = (
        (mark("Top of the thread"), state.lengths.thread_top if state.lengths else None, 1),
        (mark("Tied at"), d.tie_length, 1),
        (mark("Overlap"), d.overlap, 2),
        (mark("Cane diameter"), d.cane.diameter, 2),
        (mark("Gouge, centre"), d.cane.gouge_centre, 2),
        (mark("Gouge, sides"), d.cane.gouge_side, 2),
        (mark("Shape, width at the tip"), d.shape.tip_width, 2),
        (mark("Shape, width at the waist"), d.shape.waist_width, 2),
        (mark("Staple length"), d.staple.length, 1),
        (mark("Staple bore, top"), d.staple.bore_top, 2),
        (mark("Staple bore, bottom"), d.staple.bore_bottom, 2),
    )
    rows = [(words(name), words.mm(v, n)) for name, v, n in lengths if v is not None]
    if d.cane.hardness is not None:
        said = f"{words.number(d.cane.hardness, 1)} {d.cane.hardness_device}".strip()
        rows.append((words(mark("Cane hardness")), said))
    rows.append((words(mark("Cane from")), d.cane.source))
    return [(name, value) for name, value in rows if value]


def _pm(words: Words, value: float, uncertainty: float | None, digits: int) -> str:
    said = words.mm(value, digits)
    if uncertainty is None:
        return said
    return f"{said} ± {words.number(uncertainty * 1e3, 2)}"


def report_html(
    sheet: Sheet, *, words: Words | None = None, unjudged: str = "", prefer: Origin = Origin.TIP
) -> str:
    """Return the report on one reed as an HTML document that needs nothing else.

    Parameters
    ----------
    sheet : Sheet
        Everything about the reed, now or at an earlier entry.
    words : Words, optional
        The language; English if not given.
    unjudged : str
        Why its readings could not be judged, if they could not.
    prefer : Origin
        What positions are counted from, if what that needs is known; else from the bottom rim.

    Returns
    -------
    str
        The document.
    """
    words = words or in_locale("en")
    found = sheet.assessment
    counting = Counting.of(found, prefer) if found else None
    return (
        _environment(words)
        .get_template("report.html")
        .render(
            sheet=sheet,
            unjudged=unjudged,
            name=sheet.reed.name,
            assessment=found,
            counting=counting,
            frame=frame_of(found, counting) if found else None,
            facts=facts(sheet.state, words) + making(sheet.state, words),
            words=words,
            invented=sheet.reed.invented,
            version=__version__,
            css=style("tokens", "pictures", "report"),
            most=_MOST_LISTED,
            readings_by_place=_readings_by_place,
        )
    )
