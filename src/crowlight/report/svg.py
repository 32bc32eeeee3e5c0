"""Pictures of a reed: both blades as the maker sees them, tip up.

Each picture is one SVG without styles of its own; colours come from ``css/pictures.css`` by class,
so that one drawing serves light, dark and print. What a mark means is told by its shape first: a
filled triangle up (thicker) and down (thinner) where two points differ, a ring where the gauge sees
no difference, a dashed ring where one of the two was not measured.

The width is drawn at about 1.4 times the scale of the length, so that points can be told apart.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from math import fsum, isfinite

from crowlight.bench.assess import Assessment, Judged
from crowlight.judge import Comparison, Outcome, Pairing
from crowlight.reed import Blade, Reading, Side
from crowlight.report.counting import Counting
from crowlight.report.words import Words, mark

__all__ = ["Frame", "blade_picture", "facing_picture", "frame_of", "key_mark", "width_usual"]

#: Half the width of a usual blade: distance from the tip, half width [m] (from memory). Only for
#: drawing; no number depends on it.
_HALF_WIDTH = ((0.0, 3.5e-3), (4e-3, 3.3e-3), (12e-3, 2.75e-3), (23e-3, 2.1e-3))
_WIDTH = 330.0
_CENTRE = 178.0
_LETTER = 0.58  # mean width of a digit, in font sizes
_MANY = 60  # readings of one blade beyond which numbers would only cover each other


def width_usual(from_tip: float) -> float:
    """Return half the width of a usual blade [m] so far from the tip [m]."""
    before = _HALF_WIDTH[0]
    for point in _HALF_WIDTH[1:]:
        if from_tip <= point[0]:
            part = (from_tip - before[0]) / (point[0] - before[0])
            return before[1] + max(part, 0.0) * (point[1] - before[1])
        before = point
    return before[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where the points of a reed come to lie in a picture.

    Parameters
    ----------
    bottom, top : float
        Lowest and highest position drawn, from the bottom rim [m].
    tip : float or None
        Position of the tip from the bottom rim [m], if the length is known.
    thread_top : float or None
        Position of the top of the thread [m], if known.
    half : float
        Half the width drawn [m].
    counting : Counting
        What the scale counts from.
    """

    bottom: float
    top: float
    tip: float | None
    thread_top: float | None
    half: float
    counting: Counting

    @property
    def scale(self) -> float:
        """Units of the picture per metre along the reed."""
        return max(min(21.0, 700.0 / ((self.top - self.bottom) * 1e3)), 8.0) * 1e3

    @property
    def height(self) -> float:
        """Height of the picture."""
        return round(54.0 + (self.top - self.bottom) * self.scale, 1)

    def x(self, across: float) -> float:
        """Return where a distance from the centreline lies."""
        return round(_CENTRE + across * 104.0 / self.half, 1)

    def y(self, along: float) -> float:
        """Return where a distance from the bottom rim lies."""
        return round(26.0 + (self.top - along) * self.scale, 1)


def frame_of(assessment: Assessment, counting: Counting | None = None) -> Frame:
    """Return the frame that holds every reading of a reed, the same for all its pictures.

    Parameters
    ----------
    assessment : Assessment
        The reed.
    counting : Counting, optional
        What the scale counts from; from the tip if its place is known, else from the rim.
    """
    places = [r.place for g in assessment.groups for r in g.readings]
    high = max((p.along for p in places), default=0.07)
    low = min((p.along for p in places), default=0.05)
    tip, thread = assessment.length, assessment.thread_top
    top = max(high + 0.5e-3, tip or 0.0)
    bottom = min(low - 1e-3, thread if thread and thread > top - 30e-3 else low - 2e-3)
    wide = max((abs(p.across) for p in places), default=0.0) + 0.4e-3
    return Frame(
        bottom=bottom,
        top=top,
        tip=tip,
        thread_top=thread,
        half=max(3.5e-3, wide),
        counting=counting or Counting.of(assessment),
    )


# --- pieces -----------------------------------------------------------------------------------


def _text(x: float, y: float, text: str, *, css: str, anchor: str = "middle") -> str:
    return f'<text x="{x:g}" y="{y:g}" class="{css}" text-anchor="{anchor}">{escape(text)}</text>'


def _ring(x: float, y: float, css: str, size: float = 5.0) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{size:g}" class="{css}"/>'


def _triangle(x: float, y: float, *, up: bool) -> str:
    d = -1 if up else 1
    return (
        f'<path d="M{x - 7:g} {y - 5 * d:g}L{x + 7:g} {y - 5 * d:g}L{x:g} {y + 7 * d:g}Z" '
        f'class="differs"/>'
    )


def key_mark(outcome: str, *, up: bool = True) -> str:
    """Return a mark of the pictures on its own, for a key or a table; it says nothing aloud."""
    match outcome:
        case "differs":
            inside = _triangle(9, 9, up=up)
        case "no_difference_seen":
            inside = _ring(9, 9, "even")
        case _:
            inside = _ring(9, 9, "unmeasured")
    return f'<svg class="mark" viewBox="0 0 18 18" aria-hidden="true">{inside}</svg>'


@dataclass(slots=True)
class _Labels:
    """Words in a picture that must not cover each other: first come, first served."""

    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    out: list[str] = field(default_factory=list)

    def keep_free(self, x: float, y: float, size: float = 7.0) -> None:
        self.taken.append((x - size, y - size, x + size, y + size))

    def place(
        self, text: str, spots: Iterable[tuple[float, float]], *, css: str, em: float
    ) -> bool:
        half = _LETTER * em * len(text) / 2
        for x, y in spots:
            box = (x - half, y - 0.8 * em, x + half, y + 0.25 * em)
            inside = box[0] >= 48 and box[2] <= _WIDTH
            if inside and not any(
                box[0] < t[2] and t[0] < box[2] and box[1] < t[3] and t[1] < box[3]
                for t in self.taken
            ):
                self.taken.append(box)
                self.out.append(_text(round(x, 1), round(y, 1), text, css=css))
                return True
        return False


def _outline(frame: Frame) -> list[str]:
    tip = frame.tip if frame.tip is not None else frame.top
    bottom = max(frame.bottom, frame.thread_top or 0.0)
    steps = [tip - (tip - bottom) * i / 12 for i in range(13)]
    right = [(frame.x(width_usual(tip - a)), frame.y(a)) for a in steps]
    left = [(frame.x(-width_usual(tip - a)), frame.y(a)) for a in steps]
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in [*left, *reversed(right)]) + "Z"
    top, end = frame.y(tip), frame.y(bottom)
    out = [
        f'<path d="{path}" class="blade"/>',
        f'<path d="M{_CENTRE:g} {top:g}V{end:g}" class="centreline"/>',
    ]
    if frame.thread_top is not None and frame.thread_top >= frame.bottom:
        half = width_usual(tip - frame.thread_top)
        x, w = frame.x(-half), frame.x(half) - frame.x(-half)
        y = frame.y(frame.thread_top)
        out.extend(f'<path d="M{x:g} {y + 4 + 5 * i:g}h{w:g}" class="thread"/>' for i in range(3))
    return out


def _ruler(frame: Frame, words: Words) -> list[str]:
    """Draw a scale at the left, in the numbers of the frame's counting."""
    out: list[str] = []
    name = frame.counting.axis(words)
    for along, number in frame.counting.marks(frame.bottom, frame.top):
        y = frame.y(along)
        out.append(f'<path d="M36 {y:g}h8" class="tick"/>')
        out.append(_text(31, y + 4.5, words.number(number, 0), css="scale", anchor="end"))
    y = (frame.y(frame.top) + frame.y(frame.bottom)) / 2
    out.append(
        f'<text class="scale" text-anchor="middle" '
        f'transform="translate(10 {y:g}) rotate(-90)">{escape(name)}</text>'
    )
    return out


def _svg(name: str, frame: Frame, title: str, told: str, parts: Sequence[str]) -> str:
    return (
        f'<svg class="reed" viewBox="0 0 {_WIDTH:g} {frame.height:g}" role="img" '
        f'aria-labelledby="{name}-title" aria-describedby="{name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(told)}</desc>{"".join(parts)}</svg>'
    )


def _sides(words: Words, frame: Frame, left: str, right: str) -> list[str]:
    """Name the edges above the tip."""
    return [
        _text(frame.x(-0.55 * frame.half), 14, words(left), css="edge"),
        _text(frame.x(0.55 * frame.half), 14, words(right), css="edge"),
    ]


def _told(words: Words, comparisons: Sequence[Comparison], counting: Counting) -> str:
    """Say what a picture shows: how many of each, and every difference."""
    differ = [c for c in comparisons if c.decision.outcome is Outcome.DIFFERS]
    even = sum(c.decision.outcome is Outcome.NO_DIFFERENCE_SEEN for c in comparisons)
    missing = len(comparisons) - len(differ) - even
    parts = [
        words.say(
            mark(
                "%(differ)s differ, %(even)s show no difference the gauge can see, %(missing)s "
                "were not measured."
            ),
            differ=len(differ),
            even=even,
            missing=missing,
        )
    ]
    for c in differ[:12]:
        parts.append(
            words.say(
                mark("%(where)s: %(thicker)s by %(value)s."),
                where=counting.where(c.along, words),
                thicker=words.thicker(c),
                value=words.thick(abs(c.decision.value), 3),
            )
        )
    return " ".join(parts)


# --- pictures ---------------------------------------------------------------------------------


def _means(readings: Sequence[Reading], blade: Blade) -> list[tuple[float, float, float]]:
    """Return (along, across, mean thickness) of each place of a blade [m]."""
    groups: dict[tuple[int, int], list[Reading]] = defaultdict(list)
    for r in readings:
        if r.place.blade is blade:
            groups[round(r.place.along * 1e4), round(r.place.across * 1e4)].append(r)
    return [
        (
            fsum(r.place.along for r in g) / len(g),
            fsum(r.place.across for r in g) / len(g),
            fsum(r.thickness for r in g) / len(g),
        )
        for _, g in sorted(groups.items())
    ]


def blade_picture(group: Judged, blade: Blade, frame: Frame, *, words: Words, name: str) -> str:
    """Draw one blade: its readings, and left against right.

    Parameters
    ----------
    group : Judged
        Readings that may be compared.
    blade : Blade
        Which blade.
    frame : Frame
        See `frame_of`.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    points = _means(group.readings, blade)
    pairs = [
        c
        for c in group.differences.comparisons
        if c.pairing is Pairing.LEFT_RIGHT and c.blade is blade
    ]
    parts = [
        *_outline(frame),
        *_ruler(frame, words),
        *_sides(words, frame, mark("left"), mark("right")),
    ]
    labels = _Labels()
    marks: list[str] = []
    for along, across, _ in points:
        labels.keep_free(frame.x(across), frame.y(along), 4.0)
    few = len(points) <= _MANY
    for along, across, thickness in points if few else ():
        x, y = frame.x(across), frame.y(along)
        spots = [(x, y + 18), (x, y - 9), (x + 24, y + 4), (x - 24, y + 4)]
        labels.place(words.thin(thickness, 2), spots, css="thickness", em=12)
    for c in sorted(pairs, key=_importance):
        ends = [(frame.x(s * c.across), frame.y(c.along)) for s in (-1, 1)]
        marks.extend(_pair_marks(c, ends))
        if c.decision.outcome is Outcome.DIFFERS:
            y = ends[0][1]
            parts.append(f'<path d="M{ends[0][0]:g} {y:g}H{ends[1][0]:g}" class="tie"/>')
            _name_difference(labels, c, _CENTRE, y, words)
    if few:
        dots = "".join(_ring(frame.x(b), frame.y(a), "point", 2) for a, b, _ in points)
    else:
        path = "".join(f"M{frame.x(b):g} {frame.y(a):g}h0" for a, b, _ in points)
        dots = f'<path d="{path}" class="dots"/>'
    title = words.say(mark("%(blade)s, seen facing it, tip up"), blade=words.blade(blade))
    told = words.count("%(num)s place measured.", "%(num)s places measured.", len(points))
    told = f"{told} {words('Left against right:')} {_told(words, pairs, frame.counting)}"
    return _svg(name, frame, title, told, [*parts, *marks, dots, *labels.out])


def facing_picture(group: Judged, frame: Frame, *, words: Words, name: str) -> str:
    """Draw the marked blade against the plain one, at the places where both were measured.

    Parameters
    ----------
    group, frame, words, name
        As for `blade_picture`.

    Returns
    -------
    str
        An ``<svg>`` element; left and right are those of the marked blade.
    """
    pairs = [c for c in group.differences.comparisons if c.pairing is Pairing.MARKED_PLAIN]
    parts = [
        *_outline(frame),
        *_ruler(frame, words),
        *_sides(words, frame, mark("left"), mark("right")),
    ]
    labels = _Labels()
    marks: list[str] = []
    at: list[tuple[Comparison, float, float]] = []
    for c in sorted(pairs, key=_importance):
        sign = -1 if c.side is Side.LEFT else 1 if c.side is Side.RIGHT else 0
        x, y = frame.x(sign * c.across), frame.y(c.along)
        at.append((c, x, y))
        labels.keep_free(x, y, 6.0)
        match c.decision.outcome:
            case Outcome.DIFFERS:
                marks.append(_triangle(x, y, up=c.decision.value >= 0))
            case Outcome.NO_DIFFERENCE_SEEN:
                marks.append(_ring(x, y, "even"))
            case Outcome.NOT_MEASURED:
                marks.append(_ring(x, y, "unmeasured"))
    few = len(pairs) <= _MANY
    for c, x, y in at:
        if c.decision.outcome is Outcome.DIFFERS:
            _name_difference(labels, c, x, y, words)
        elif few and isfinite(c.decision.value):
            text = words.thin(c.decision.value, 3, signed=True)
            labels.place(text, [(x, y + 18), (x, y - 9)], css="thickness", em=11)
    title = words("marked blade against plain blade, as seen facing the marked one, tip up")
    told = _told(words, pairs, frame.counting)
    return _svg(name, frame, title, told, [*parts, *marks, *labels.out])


def _importance(c: Comparison) -> tuple[int, float]:
    order = (Outcome.DIFFERS, Outcome.NO_DIFFERENCE_SEEN, Outcome.NOT_MEASURED)
    size = abs(c.decision.value) if isfinite(c.decision.value) else 0.0
    return order.index(c.decision.outcome), -size


def _pair_marks(c: Comparison, ends: Sequence[tuple[float, float]]) -> list[str]:
    match c.decision.outcome:
        case Outcome.DIFFERS:
            left_up = c.decision.value >= 0
            return [_triangle(*ends[0], up=left_up), _triangle(*ends[1], up=not left_up)]
        case Outcome.NO_DIFFERENCE_SEEN:
            return [_ring(x, y, "even") for x, y in ends]
        case Outcome.NOT_MEASURED:
            return [_ring(x, y, "unmeasured") for x, y in ends]


def _name_difference(labels: _Labels, c: Comparison, x: float, y: float, words: Words) -> None:
    """Write a difference with its interval beside its mark; without it where there is no room."""
    d = c.decision
    value = words.thin(abs(d.value), 3)
    ends = sorted((abs(d.low), abs(d.high)))
    spread = "–".join(words.thin(e, 3) for e in ends)
    away = (0.0, 40.0, -40.0, 22.0, -22.0)
    spots = [(x + dx, y + dy) for dy in (-9, 20, 34) for dx in away]
    if not labels.place(f"{value} ({spread})", spots, css="difference", em=12):
        labels.place(value, [*spots, (x + 26, y + 4), (x - 26, y + 4)], css="difference", em=12)
