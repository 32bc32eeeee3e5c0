"""Tables of readings: what is read, and what is refused with its line number."""

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.errors import CrowlightError, InputError, TableError
from crowlight.files.tables import TableFiles, parse_number
from crowlight.reed import Blade, CaneState

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)


class StoppedClock:
    """A clock that stands still."""

    def now(self) -> datetime:
        return NOW


read = TableFiles(StoppedClock()).read
GOOD = (
    "# reed: Fulmar 3\n# length_mm: 70.2\n# state: wet\n"
    "blade,from_tip_mm,across_mm,thickness_mm\n"
    "marked,3,-2,0.14\nplain,3,-2,0.15\nmarked,3,-2,0.15\n"
)


def refused(text: str | bytes) -> str:
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(TableError) as caught:
        read(data, name="t.csv")
    return str(caught.value)


def test_reads_what_is_stated() -> None:
    table = read(GOOD.encode(), name="t.csv")
    first, second, third = table.readings
    assert first.place.blade is Blade.MARKED
    assert second.place.blade is Blade.PLAIN
    assert math.isclose(first.place.along, 67.2e-3)
    assert math.isclose(first.thickness, 0.14e-3)
    assert first.state is CaneState.WET
    assert (first.repeat, third.repeat) == (0, 1)
    assert table.facts["reed"] == "Fulmar 3"
    assert table.taken.model_dump()["origin"] == "tip"


@pytest.mark.parametrize(
    "other",
    [
        GOOD.replace(",", ";").replace("0.1", "0,1"),
        GOOD.replace(",", "\t"),
        GOOD.replace("\n", "\r\n"),
        "\ufeff" + GOOD,
        GOOD.replace("marked", "M").replace("plain", "p"),
        GOOD.replace("-2", "\N{MINUS SIGN}2"),
        GOOD.replace("0.14\n", "0.140\n\n"),
    ],
)
def test_same_table_typed_otherwise_is_the_same(other: str) -> None:
    assert read(other.encode()).digest == read(GOOD.encode()).digest


def test_utf16_from_a_spreadsheet() -> None:
    assert read(GOOD.encode("utf-16")).digest == read(GOOD.encode()).digest


def test_inches_can_be_stated() -> None:
    text = GOOD.replace("thickness_mm", "thickness_in").replace("0.14", "0.0055")
    assert math.isclose(
        read(text.replace("0.15", "0.0059").encode()).readings[0].thickness, 0.0055 * 25.4e-3
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("0.14", "-0.14"), r"line 5: thickness = -0.14 mm must be above 0 mm; check the zero"),
        (("0.14", "14"), "line 5: thickness = 14 mm is above 1.5 mm.*was the point left out"),
        (("0.14", "0.0055"), "line 5: .*if it was read in inches it is 0.14 mm: state the unit"),
        (("0.14", "nan"), "line 5: 'nan' is not a number"),
        (("0.14", ""), "line 5: '' is not a number"),
        (("0.14", "1.234,5"), "line 5: '1.234,5' is not a number|3 columns|5 cells"),
        (("marked,3,-2,0.14", "left,3,-2,0.14"), "line 5: blade 'left' must be marked or plain"),
        (("3,-2,0.14", "3,-7,0.14"), "line 5: position across = -7 mm is off the blade"),
        (("3,-2,0.14", "-1,-2,0.14"), "line 5: from_tip_mm = -1 mm lies off the blade"),
        (("3,-2,0.14", "60,-2,0.14"), "line 5: position along = 10.2 mm .* which end"),
        (("70.2", "2.76"), "line 2: length = 2.76 mm is outside 30 to 100 mm .inches"),
        (("wet", "damp"), "line 3: state 'damp' must be wet, dry or unknown"),
        (("across_mm", "side_mm"), "columns .'side_mm'. are not known"),
        (("across_mm", "thickness_mm"), "a column stands twice"),
        (("from_tip_mm", "from_rim_mm"), "line 5: position along = 3 mm from the bottom rim"),
        (("# length_mm: 70.2\n", ""), "from_tip_mm needs the line '# length_mm"),
        (("marked,3,-2,0.14", "marked,3,-2,0,14"), "line 5: 5 cells where 4 .* decimal comma"),
        (("marked,3", '"marked,3'), "quotation mark left open"),
    ],
)
def test_a_bad_row_refuses_the_table(change: tuple[str, str], said: str) -> None:
    text = GOOD.replace(change[0], change[1], 1)
    assert text != GOOD
    with pytest.raises(TableError, match=said):
        read(text.encode(), name="t.csv")


def test_every_bad_row_is_named() -> None:
    text = GOOD.replace("0.14", "-1").replace("0.15", "9")
    said = refused(text)
    assert "line 5:" in said
    assert "line 6:" in said
    assert "line 7:" in said


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\xff\xfe", b"\x80\x81\x82"])
def test_nothing_or_not_text(data: bytes) -> None:
    with pytest.raises(TableError, match=r"empty|not UTF-8"):
        read(data, name="t.csv")


def test_column_names_alone_are_not_a_table() -> None:
    assert "no rows" in refused("blade,from_rim_mm,across_mm,thickness_mm\n")


def test_control_characters_are_pointed_out() -> None:
    assert "control character U+0007 at position 3" in refused(GOOD.replace("Fulmar", "Fu\x07lmar"))


def test_huge_tables_are_refused_before_they_fill_the_memory() -> None:
    with pytest.raises(InputError, match="more than 20 MB"):
        read(b"x" * 20_000_001)
    row = "marked,3,-2,0.14\n"
    with pytest.raises(TableError, match="more than 100000 rows"):
        read((GOOD + row * 100_001).encode())


def test_ten_thousand_rows_are_read() -> None:
    assert len(read((GOOD + "marked,3,-2,0.14\n" * 10_000).encode()).readings) == 10_003


@given(st.text(max_size=300))
def test_any_text_gives_a_table_or_a_sentence(text: str) -> None:
    try:
        read(text.encode("utf-8", "surrogatepass"))
    except CrowlightError:
        return
    # Text that is a table by chance must start with the column names somewhere.
    assert "blade" in text.lower()


@given(st.floats(-999, 999).map(lambda x: round(x, 4)))
def test_numbers_with_either_mark(number: float) -> None:
    typed = f"{number:.4f}"
    assert parse_number(typed) == parse_number(typed.replace(".", ",")) == float(typed)


@pytest.mark.parametrize("typed", ["", ".", ",", "1e3", "0x10", "1 000", "١", "0.4 mm", "--1"])
def test_what_is_not_a_number(typed: str) -> None:
    with pytest.raises(InputError, match="is not a number; write it like"):
        parse_number(typed)


def test_a_name_is_refused_rather_than_cut_off() -> None:
    """Two long names with the same beginning would be the readings of one reed."""
    whole = "x" * 100
    assert read(GOOD.replace("Fulmar 3", whole).encode(), name="t.csv").facts["reed"] == whole
    assert "line 1: a name of 101 characters is too long" in refused(
        GOOD.replace("Fulmar 3", whole + "y")
    )


def test_more_digits_than_a_number_holds_are_said_to_be_that() -> None:
    told = refused(GOOD.replace("0.14", "9" * 400))
    assert "has 400 characters; is a separator missing?" in told
    assert "inf" not in told


@pytest.mark.parametrize(
    ("moment", "told"),
    [
        ("2099-01-01T00:00+00:00", "lies ahead: it is 2026-05-01T12:00"),
        ("2026-05-02T12:01+00:00", "lies ahead"),
        ("9999-12-31T23:59-23:59", "lies ahead"),
        ("1899-12-31T23:59+00:00", "before 1900"),
        ("0026-04-01T12:00+00:00", "four digits"),
        ("0001-01-01T00:00+23:59", "before 1900"),
    ],
)
def test_a_moment_that_cannot_be_meant_is_asked_about(moment: str, told: str) -> None:
    said = refused(f"# measured_at: {moment}\n{GOOD}")
    assert said.startswith("line 1: measured_at")
    assert told in said
    assert "orrect it" in said


@pytest.mark.parametrize("moment", ["2026-05-02T11:59+00:00", "1900-01-01T00:00+00:00"])
def test_a_moment_within_a_day_of_now_is_taken(moment: str) -> None:
    table = read(f"# measured_at: {moment}\n{GOOD}".encode())
    assert table.facts["measured_at"] == datetime.fromisoformat(moment)


def test_a_table_of_head_lines_only_is_not_called_empty() -> None:
    said = refused("# reed: Fulmar 3\n# length_mm: 70.2\n")
    assert "empty" not in said
    assert "no line of column names" in said
    assert "empty" in refused("\n \n")


def test_a_length_that_is_wrong_is_not_called_missing() -> None:
    said = refused(GOOD.replace("70.2", "0.0702"))
    assert "outside 30 to 100 mm" in said
    assert "needs the line" not in said
    assert "needs the line" in refused(GOOD.replace("# length_mm: 70.2\n", ""))
