"""Prints at true scale, measured on the page that comes out of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import pytest
from tests.posted_desk import drawn, posted_desk, spots, text_of, told_of

from crowlight.bench.desk import Desk
from crowlight.errors import InputError
from crowlight.report.contours import contour
from crowlight.report.paper import Paper
from crowlight.report.prints import EDGE, LARGE, RULER, Label, labels_print, print_of
from crowlight.report.words import in_locale

WORDS = in_locale("en")
#: Pixels to a millimetre.
PER_MM = 10.0
DPI = round(PER_MM * 25.4)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with posted_desk(tmp_path_factory.mktemp("posted")) as opened:
        yield opened


# --- lines of equal height, against closed forms --------------------------------------------------


def _length(lines: np.ndarray) -> float:
    return float(np.hypot(*(lines[:, 1] - lines[:, 0]).T).sum())


def test_the_line_of_a_cone_is_a_circle():
    x, y = np.meshgrid(np.linspace(-2, 2, 401), np.linspace(-2, 2, 401))
    lines = contour(x, y, np.hypot(x, y), 1.3)
    # chords of a circle: shorter than 2 pi r, by less than the square of a cell over the radius
    assert _length(lines) == pytest.approx(2 * math.pi * 1.3, rel=1e-4)
    assert np.hypot(*lines.reshape(-1, 2).T) == pytest.approx(1.3, abs=1e-4)


def test_the_line_of_a_plane_is_straight_and_joined():
    x, y = np.meshgrid(np.linspace(0, 3, 7), np.linspace(0, 2, 5))
    lines = contour(x, y, x + 2 * y, 3.1)
    # from (3, 0.05) to (0, 1.55)
    assert _length(lines) == pytest.approx(math.hypot(3.0, 1.5))
    ends, counts = np.unique(lines.reshape(-1, 2).round(9), axis=0, return_counts=True)
    assert sorted(counts.tolist()) == [1, 1] + [2] * (len(counts) - 2)
    assert len(ends) == len(lines) + 1


def test_no_line_beyond_the_heights():
    x, y = np.meshgrid([0.0, 1.0], [0.0, 1.0])
    assert contour(x, y, x, 2.0).shape == (0, 2, 2)


# --- the page -------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("what", ["blades", "card", "labels"])
def test_the_ruler_is_a_hundred_millimetres_long(desk: Desk, what: str, paper: Paper):
    made = print_of(desk, what, ["Wigeon"], words=WORDS, paper=paper)
    assert made.accessible
    page = drawn(made.pdf, DPI)
    # ISO 216: A4 is 210 by 297 mm; ANSI: Letter is 8.5 by 11 inches
    size = (297.0, 210.0) if paper == "a4" else (279.4, 215.9)
    assert np.array(page.shape[:2]) / PER_MM == pytest.approx(size, abs=0.15)
    rows, columns = spots(page, RULER)
    first, last = int(columns.min()), int(columns.max())
    # the ticks at both ends stand half a line, 0.1 mm, over
    assert (last - first) / PER_MM == pytest.approx(100.0 + 0.2, abs=0.15)
    # a tick at every millimetre, found just below the line along the top
    below = np.unique(columns[rows == rows.min() + round(1.5 * PER_MM)])
    starts = below[np.diff(below, prepend=-10) > 1]
    assert len(starts) == 101
    assert np.diff(starts) / PER_MM == pytest.approx(1.0, abs=0.11)
    assert "Pages:           1" in told_of(made.pdf)


def test_blades_are_as_long_and_wide_on_paper_as_they_are(desk: Desk):
    page = drawn(print_of(desk, "blades", ["Wigeon"], words=WORDS).pdf, DPI)
    group = desk.sheet("Wigeon").assessment.groups[0]
    shown = group.mapped.shown
    long = (max(shown.along) - min(shown.along)) * 1e3
    wide = 2e3 * max(shown.half_width)
    rows, columns = spots(page, EDGE)
    assert rows.size
    # two drawings above each other, apart by more than a centimetre of empty paper
    there = np.unique(rows)
    gap = int(np.argmax(np.diff(there)))
    assert there[gap + 1] - there[gap] > 10 * PER_MM
    for scale, low, high in ((1, there[0], there[gap]), (LARGE, there[gap + 1], there[-1])):
        line = 0.2  # mm: the outline is drawn half inside, half outside
        assert (high - low) / PER_MM == pytest.approx(long * scale + line, abs=0.2)
        left = (rows >= low) & (rows <= high) & (columns < page.shape[1] // 2)
        across = (columns[left].max() - columns[left].min()) / PER_MM
        assert across == pytest.approx(wide * scale + line, abs=0.2)


def test_the_card_says_where_each_point_of_the_style_lies(desk: Desk):
    text = text_of(print_of(desk, "card", ["Wigeon"], words=WORDS).pdf)
    from crowlight.reed.styles import style

    placed = style("long").placed(desk.sheet("Wigeon").state.length)
    for point in placed.full:
        assert f" {point.code} " in f" {text} "
    # the first point: from the tip and from the rim they add up to the length
    first = placed.full[0]
    tip = max(max(zone.stop) for zone in placed.zones)
    assert f"{(tip - first.along) * 1e3:.1f} {first.along * 1e3:.1f}" in text


HOSTILE = '#panic("x") *b* $x$ `r` @ref <script>alert(1)</script> \\ =1+1 "q" \u202eevil'


def test_a_hostile_name_is_printed_as_it_is():
    label = Label(HOSTILE[:90], ("-2+3", "#let x = 1", "@sum", "[text]"))
    text = text_of(labels_print([label], words=WORDS).pdf)
    for part in ('#panic("x")', "*b*", "$x$", "@ref", "<script>alert(1)</script>", "=1+1"):
        assert part in text
    assert "[U+202E]evil" in text
    for part in ("-2+3", "#let x = 1", "@sum", "[text]"):
        assert part in text


def test_a_name_no_font_has_is_printed_all_the_same(desk: Desk):
    # from a plane of Unicode for private use: no font has it
    made = labels_print([Label("Reed \U000f1234", ())], words=WORDS)
    assert not made.accessible
    assert "Reed" in text_of(made.pdf)


def test_many_labels_go_over_several_pages():
    labels = [Label(f"Reed {n}", ("thread red",)) for n in range(80)]
    made = labels_print(labels, words=WORDS)
    text = text_of(made.pdf)
    assert "Reed 0 " in text
    assert "Reed 79" in text
    assert "Pages:           1" not in told_of(made.pdf)


@pytest.mark.parametrize("count", [0, 501])
def test_no_labels_or_too_many_are_refused(count: int):
    with pytest.raises(InputError, match=f"{count} labels; name 1 to 500 reeds"):
        labels_print([Label("a", ())] * count, words=WORDS)


@pytest.mark.parametrize(
    ("what", "said"), [("blades", "has no thickness map to print"), ("card", "is not known")]
)
def test_what_is_not_known_cannot_be_printed(desk: Desk, what: str, said: str):
    with pytest.raises(InputError, match=said):
        print_of(desk, what, ["Teal"], words=WORDS)


def test_a_label_says_what_tells_a_reed_apart(desk: Desk):
    text = text_of(print_of(desk, "labels", ["Wigeon", "Siskin"], words=WORDS).pdf)
    for part in ("Wigeon", "Siskin", "thread grey", "long scrape", "70.0", "Lene Aldersund"):
        assert part in text
    assert "invented" in text
    year = str(datetime.now(UTC).year)
    assert year in text
