"""`crowlight batch` and `crowlight figures`: the hidden habit comes out of the demo's batch."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.batch_reeds import make_batch, tips

from crowlight.bench.batch_kinds import SplitTest
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Described, Note, Opening
from crowlight.bench.ports import Maker, Player
from crowlight.errors import NotFound
from crowlight.invented.april import APRIL, HABIT, fill_april
from crowlight.wiring import open_desk


@pytest.fixture(scope="module")
def april(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Desk]]:
    """Write down the invented batch alone."""
    folder = tmp_path_factory.mktemp("april") / "records"
    with open_desk(folder) as desk:
        maker = desk.people.add_maker("Isa (invented)", hand="right")
        player = desk.people.add_player("Tove (invented)")
        assert isinstance(maker, Maker)
        assert isinstance(player, Player)
        assert fill_april(desk, maker=maker.uuid, player=player.uuid) == [r.name for r in APRIL]
        assert fill_april(desk, maker=maker.uuid, player=player.uuid)  # twice changes nothing
        yield folder, desk


def test_no_reed_alone_shows_the_habit(april) -> None:
    _, desk = april
    assert [desk.assess(r.name).differing for r in APRIL] == [0] * len(APRIL)


def test_the_batch_tells_the_hidden_habit(april, crowlight: Callable) -> None:
    folder, _ = april
    done = crowlight("--folder", folder, "batch", "april", "--json")
    assert done.status == 0, done.err
    told = json.loads(done.out)
    assert told["invented"]
    first = told["steady"]["consistent"][0]
    zone, side = HABIT
    assert (first["quantity"], first["contrast"], first["pattern"]) == (zone, "seen", "hand")
    assert side == 1
    assert first["mean"] > 0  # left less right
    true = 1e3 * sum(r.thinner for r in APRIL) / len(APRIL)
    assert first["low"] < true < first["high"]
    assert told["steady"]["linked"]
    assert first["same_sign"] == 8
    assert "right side, as you see it, is thinner" in told["steady"]["said"][0]
    assert any("knife in the right hand: this is the side of that hand" in s
               for s in told["steady"]["said"])  # fmt: skip
    assert told["split_test"]["each"] >= 3
    assert len(told["split_test"]["order"]) == 2 * told["split_test"]["each"]
    text = crowlight("--folder", folder, "batch", "April")
    assert "The steady difference" in text.out
    assert "candidates for a test, not causes" in text.out


def test_the_answer_is_kept_and_the_same(april, crowlight: Callable) -> None:
    folder, _ = april
    one, two = (crowlight("--folder", folder, "batch", "April", "--json") for _ in range(2))
    assert one.out == two.out


def test_a_note_written_later_does_not_deal_the_next_reeds_out_anew(april) -> None:
    _, desk = april
    before = desk.batches.of("April").found.plan
    assert before is not None
    desk.write(APRIL[2].name, Note(text="written later"))
    after = desk.batches.of("April").found.plan
    assert after is not None
    assert after.order == before.order


def test_the_figures_have_failures_in_the_denominator(april, crowlight: Callable) -> None:
    folder, _ = april
    told = json.loads(crowlight("--folder", folder, "figures", "--json").out)
    minutes = sum(r.minutes for r in APRIL)
    good = sum(not r.failed for r in APRIL)
    assert told["minutes_per_sellable"]["value"] == pytest.approx(minutes / good, abs=1e-4)
    assert told["sellable"]["count"] == good
    assert told["rejected"][0]["reason"] == "chirps"
    assert "minutes" in crowlight("--folder", folder, "figures").out


def test_a_batch_that_is_not_there(crowlight: Callable) -> None:
    done = crowlight("batch", "Nowhere")
    assert done.status == 1
    assert "no batch is called 'Nowhere'" in done.err


def test_an_empty_batch_says_what_to_do(tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        desk.people.add_batch("Empty")
        with pytest.raises(NotFound, match="crowlight assign"):
            desk.batches.of("Empty")


def test_a_fault_of_the_shape_is_told_from_a_habit(tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        make_batch(desk, "Shape", faults=[tips(30e-6, edge=True)] * 7)
        first = desk.batches.of("Shape").found.steady.first
        assert first is not None
        assert (first.quantity, first.pattern.value) == ("tip", "edge")


def test_a_split_test_is_evaluated_when_it_comes(tmp_path: Path) -> None:
    kinds = ["usual", "changed"] * 4
    with open_desk(tmp_path / "records") as desk:
        make_batch(
            desk,
            "Next",
            faults=[tips(40e-6) if k == "usual" else () for k in kinds],
            more=[(SplitTest(test="tip/seen", made=k),) for k in kinds],
        )
        (split,) = desk.batches.of("Next").found.splits
    assert split.test == "tip/seen"
    assert (split.result.usual, split.result.changed) == (4, 4)
    assert split.result.answer == "smaller"
    assert split.before > 0.01e-3


def test_few_reeds_say_how_many_are_missing(tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        make_batch(desk, "Few", faults=[()] * 3)
        found = desk.batches.of("Few").found
    assert found.steady.missing == 3
    assert found.steady.first is None
    assert found.plan is None
    assert all(c.chart is None for c in found.charted)


def test_openings_read_off_alike_do_not_stop_the_rest(tmp_path: Path) -> None:
    heights = [0.70e-3] * 5 + [0.75e-3, 0.65e-3]
    with open_desk(tmp_path / "records") as desk:
        make_batch(desk, "Alike", faults=[()] * 7, more=[(Opening(height=h),) for h in heights])
        found = desk.batches.of("Alike").found
    codes = [a.codes for a in found.apart]
    assert ("opening",) not in codes
    assert ("tip-thickness",) in codes
    assert any(c.code == "opening" for c in found.charted)


def test_reeds_of_another_scrape_are_no_measure(tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        maker = desk.people.add_maker("Ann").uuid
        make_batch(desk, "Long", faults=[()] * 2, maker=maker)
        make_batch(desk, "Other", faults=[()] * 2, maker=maker, seed=800)
        assert desk.batches.of("Long").found.compared == 4
        for name in ("Other 1", "Other 2"):
            desk.write(name, Described(style="short-u"))
        assert desk.batches.of("Long").found.compared == 2
