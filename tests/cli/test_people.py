"""People, places, and whose a reed is, through the command line."""

import io
from collections.abc import Callable
from pathlib import Path

import pytest

TABLE = """\
# reed: Tern
blade,from_rim_mm,across_mm,thickness_mm
marked,67,-2,0.14
marked,67,2,0.10
"""


@pytest.fixture
def kept(crowlight: Callable, tmp_path: Path) -> Callable:
    path = tmp_path / "t.csv"
    path.write_text(TABLE, encoding="utf-8")
    assert crowlight("import", path).status == 0
    assert crowlight("people", "--maker", "Ann Brink").status == 0
    assert crowlight("people", "--player", "Bo", "--contact", "bo@example.org").status == 0
    return crowlight


def test_people_are_listed(kept: Callable) -> None:
    rows = [line.split("\t")[:2] for line in kept("people").out.splitlines()]
    assert rows == [["Ann Brink", "maker"], ["Bo", "player"]]
    assert "--player" in kept("people", "--contact", "x").err


def test_a_makers_hand_is_kept_and_changed(kept: Callable, tmp_path: Path) -> None:
    from crowlight.wiring import open_desk

    assert kept("people", "--maker", "ann brink", "--hand", "left").status == 0
    assert kept("people", "--maker", "Cy", "--hand", "right").status == 0
    with open_desk(tmp_path / "records") as desk:
        assert [(m.name, m.hand) for m in map(desk.people.maker, ("Ann Brink", "Cy"))] == [
            ("Ann Brink", "left"),
            ("Cy", "right"),
        ]
    assert "left or right" in kept("people", "--maker", "Cy", "--hand", "both").err
    assert "together with --maker" in kept("people", "--hand", "left").err


def test_places_are_in_everyday_units(kept: Callable) -> None:
    air = ("--altitude", 1650, "--temperature", 21.5, "--humidity", 28)
    done = kept("places", "--add", "High Town", "--of", "bo", *air)
    assert done.out == "High Town\tBo\t1650 m\t21.5 °C\t28 %\n"
    assert kept("places", "--add", "Quay", "--of", "Ann Brink").out == "Quay\tAnn Brink\t-\t-\t-\n"
    assert len(kept("places").out.splitlines()) == 2
    assert "whose place is 'Hut'?" in kept("places", "--add", "Hut").err
    assert "name it with --add" in kept("places", "--altitude", 3).err
    assert "did you mean 'Ann Brink'?" in kept("places", "--of", "An Brink").err


def test_a_reed_is_given_to_somebody(kept: Callable) -> None:
    done = kept("assign", "Tern", "--maker", "ann brink", "--player", "Bo", "--new-batch", "March")
    assert done.status == 0, done.err
    assert kept("reeds", "ann bo march").out.startswith("Tern\tMarch")
    assert kept("assign", "Tern", "--player", "").status == 0
    assert kept("reeds", "bo").out == ""
    assert kept("reeds", "ann march").out.startswith("Tern")
    assert "no maker is called 'Bo'" in kept("assign", "Tern", "--maker", "Bo").err
    assert "nothing to assign" in kept("assign", "Tern").err


def test_the_log_tells_whose_a_reed_became(kept: Callable, tmp_path: Path) -> None:
    from crowlight.bench.kinds import Note
    from crowlight.wiring import open_desk

    def told() -> list[str]:
        with open_desk(tmp_path / "records") as desk:
            tern = desk.records.reed("Tern").uuid
            notes = desk.records.entries_of_kinds({"note"}, reed=tern)
            return [e.payload.text for e in notes if isinstance(e.payload, Note)]

    kept("assign", "Tern", "--maker", "Ann Brink", "--player", "Bo", "--new-batch", "March")
    first = "Its maker was written down. Its player was written down. Put into the batch “March”."
    assert told() == [first]
    kept("people", "--player", "Cy")
    kept("assign", "Tern", "Tern", "--player", "Cy", "--new-batch", "April")
    second = "Its player was changed to another. Put into the batch “April”; it was of “March”."
    assert told() == [first, second]
    assert kept("assign", "Tern", "--player", "Cy", "--batch", "April").status == 0
    assert told() == [first, second], "what stays as it is was told as a change"
    kept("assign", "Tern", "--player", "", "--batch", "")
    last = "Its player was taken away: nobody is written down. Taken out of the batch “April”."
    assert told() == [first, second, last]
    # a log is never changed: a name in it could not be erased
    assert not any(name in text for name in ("Ann", "Bo", "Cy") for text in told())


def test_nothing_is_assigned_when_one_reed_is_not_there(kept: Callable) -> None:
    assert "no reed is called 'Gull'" in kept("assign", "Tern", "Gull", "--maker", "Ann Brink").err
    assert kept("reeds", "ann").out == ""


def test_erasing_asks_first(kept: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    kept("assign", "Tern", "--player", "Bo")
    kept("places", "--add", "High Town", "--of", "Bo")
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    refused = kept("erase", "Bo")
    assert refused.status == 1
    assert "Erase Bo with 1 places?" in refused.out
    assert "Bo\tplayer" in kept("people").out
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n"))
    done = kept("erase", "Bo")
    assert done.status == 0, done.err
    assert "backups" in done.out
    assert "Bo" not in kept("people").out + kept("places").out
    assert kept("reeds").out.startswith("Tern")
    assert kept("reeds", "bo").out == ""
    assert kept("erase", "Ann Brink", "--yes").status == 0
    assert kept("people").out == ""


def test_a_new_batch_of_a_name_that_is_kept_is_asked_about(kept: Callable) -> None:
    assert kept("assign", "Tern", "--new-batch", "March").status == 0
    done = kept("assign", "Tern", "--new-batch", "march")  # as when a command is repeated
    assert done.status == 1
    assert "'March' is kept already" in done.err
    assert kept("assign", "Tern", "--batch", "March").status == 0  # one batch, not two
