"""The next cut at the command line: invented reeds, and one of which little is known."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest

from crowlight.bench.advice_kinds import Advised, AfterCheck, Guess
from crowlight.bench.kinds import Cut, Verdict
from crowlight.errors import Conflict, InputError
from crowlight.invented.workshop import REEDS, fill
from crowlight.wiring import open_desk


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("workshop")
    with open_desk(folder) as desk:
        fill(desk)
    return folder


#: What the fault that was hidden in each reed must be called, and where: blade and side as seen.
HIDDEN = {
    "Fulmar": None,  # six thousandths of a millimetre: no gauge tells, and nobody complains
    "Petrel": ("thick-corner", "marked", "left"),
    "Plover": ("heart-heavier", "marked", None),
    "Dunlin": ("hand-thins-one-corner", None, "right"),
    "Tern": ("heart-thin", None, None),
    "Knot": ("thin-side-of-heart", "plain", "right"),
}


@pytest.mark.parametrize("name", HIDDEN)
def test_each_invented_reed_comes_to_what_was_hidden_in_it(
    crowlight: Callable, workshop: Path, name: str
) -> None:
    done = crowlight("--folder", workshop, "plan", name, "--json")
    assert done.status == 0, done.err
    told = json.loads(done.out)
    assert set(HIDDEN) == {reed.name for reed in REEDS}
    first = told["findings"][0]
    hidden = HIDDEN[name]
    if hidden is None:
        assert told["answer"] == "no_finding"
        assert told["options"][told["advised"]]["kind"] == "leave"
        return
    assert told["answer"] == "findings"
    assert first["support"] in ("fair", "strong")
    assert (first["name"], first["blade"], first["side"]) == hidden
    assert first["for"]
    _contract(told)
    cuts = [o for o in told["options"] if o["kind"] in ("scrape", "clip")]
    if name == "Petrel":  # the thick side, never the thin one
        assert cuts
        assert all(o["blades"] == ["marked"] and "left" in o["part"] for o in cuts)
        assert "tear" in {c["name"] for o in cuts for c in o["cautions"]}
    if name == "Plover":  # the heavy heart, never the light one
        assert {(o["zone"], *o["blades"]) for o in cuts} == {("heart", "marked")}
    if name in ("Dunlin", "Knot", "Tern"):  # nothing puts cane back
        assert cuts == []


def _contract(told: dict[str, Any]) -> None:
    """Check what `plan --json` promises."""
    for finding in told["findings"]:
        assert {"name", "support", "for", "against", "advice", "basis"} <= set(finding)
    kinds = [o["kind"] for o in told["options"]]
    assert kinds[-2:] == ["leave", "rest"]
    assert len(kinds) <= 5
    for option in told["options"]:
        assert {"kind", "where", "how_much", "expected", "harm", "basis"} <= set(option)
        assert 0.0 <= option["harm"] <= 1.0
        assert option["basis"]
        for e in option["expected"]:
            low, middle, high = e["change"]
            assert low <= middle <= high
            assert e["basis"]
        if option["kind"] in ("scrape", "clip"):
            assert option["harm"] > 0.0  # no knife is without risk
            assert option["where"]
            assert option["how_much"]
            assert option["stop_when"]


def test_a_plan_reads_as_three_lines_then_why(crowlight: Callable, workshop: Path) -> None:
    text = crowlight("--folder", workshop, "plan", "Petrel").out
    lines = text.split("\n")
    assert lines[0] == "Petrel"
    following = [line for line in lines if line.startswith(("Next:", "Stop when:", "Afterwards:"))]
    assert len(following) == 3
    assert "left side of the marked blade" in text
    assert "To tell them apart:" in text
    assert "leave it" in text
    assert "rest it until tomorrow" in text
    assert "Cane left" in text
    quiet = crowlight("--folder", workshop, "plan", "Fulmar").out
    assert "Next: leave it" in quiet
    assert "Nothing stands out" in quiet


def test_what_was_done_is_written_down_with_what_was_advised(
    crowlight: Callable, workshop: Path, tmp_path: Path
) -> None:
    folder = copytree(workshop, tmp_path / "records")
    with open_desk(folder) as desk:
        before = desk.advice.plan("Plover")
        cut = next(i for i, o in enumerate(before.plan.options) if o.act.kind == "scrape")
    done = crowlight("did", "Plover", "--option", cut, "--strokes", 2)
    assert done.status == 0, done.err
    assert "crowlight after" in done.out
    assert crowlight("after", "Plover", "better", "--remark", "steadier").status == 0
    with open_desk(folder) as desk:
        entries = desk.sheet("Plover").entries
        advice, made, check = entries[-3:]
        assert isinstance(advice.payload, Advised)
        assert advice.payload.digest == before.digest
        assert advice.payload.seq == advice.seq - 1
        assert advice.payload.findings[0].name == "heart-heavier"
        assert [o.kind for o in advice.payload.options][-2:] == ["leave", "rest"]
        assert isinstance(made.payload, Cut)
        assert (made.payload.advised, made.payload.option) == (advice.uuid, cut)
        assert (made.payload.strokes, made.payload.zone) == (2, "heart")
        assert isinstance(check.payload, AfterCheck)
        assert check.payload.follows == made.uuid

        came = desk.advice.what_changed("Plover")
        assert (came.followed, came.result) == (True, "better")
        scored = desk.advice.guesses(desk.records.reed("Plover").maker)
        assert scored.predicted == (cut == before.plan.advised)

        # two strokes later the map is carried on: the heart is thinner by what they took
        after = desk.advice.plan("Plover")
        assert "carried" in after.notes
        assert "ask-again" in after.notes
        assert after.blades == "near"
        assert after.known.history.cuts_since_measured == 1
        assert after.known.playing.words == frozenset()  # what was said was before it helped
        heavy = [c.known.geometry.blades["heart"] for c in (before, after)]
        # 2 strokes of 3 µm; the zone reaches a little beyond where the knife was
        assert heavy[0].value - heavy[1].value == pytest.approx(6e-6, abs=1e-6)
        assert heavy[1].uncertainty > heavy[0].uncertainty  # strokes are known by half only

        with pytest.raises(Conflict, match="has changed since it was shown"):
            desk.advice.did("Plover", digest="f" * 64)


def test_a_reed_of_which_little_is_known(crowlight: Callable, tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        desk.add_reed("Whimbrel")
    bare = json.loads(crowlight("plan", "Whimbrel", "--json").out)
    _contract(bare)
    assert bare["answer"] == "cannot_tell"
    assert bare["options"][bare["advised"]]["name"] == "record"
    assert bare["target"] == "none"
    assert bare["distance"] is None
    with open_desk(tmp_path / "records") as desk:
        desk.write("Whimbrel", Verdict(words="It is closed and does not speak.", grade=2))
    told = json.loads(crowlight("plan", "Whimbrel", "--json").out)
    assert told["findings"][0]["for"][0]["text"].startswith("you say")
    assert not any(o["kind"] in ("scrape", "clip") for o in told["options"])
    assert "measure-first" in {n["name"] for n in told["notes"]}
    text = crowlight("plan", "Whimbrel").out
    assert "No cut is planned before both blades were gauged." in text

    refused = crowlight("after", "Whimbrel", "better")
    assert refused.status != 0
    assert "nothing was done to this reed yet" in refused.err
    refused = crowlight("did", "Whimbrel", "--option", 7)
    assert refused.status != 0
    assert "option 7 is not one of" in refused.err
    refused = crowlight("wish", "Whimbrel")
    assert refused.status != 0
    assert "nothing is wished" in refused.err


def test_something_else_was_done(crowlight: Callable, tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        desk.add_reed("Whimbrel")
    done = crowlight(
        "did", "Whimbrel", "--something-else", "--zone", "tip", "--part", "corners", "--strokes", 2
    )
    assert done.status == 0, done.err
    with open_desk(tmp_path / "records") as desk:
        advice, made = desk.sheet("Whimbrel").entries
        assert isinstance(made.payload, Cut)
        assert (made.payload.advised, made.payload.option) == (advice.uuid, None)
        assert made.payload.part == "corners"
        # sent again, whatever was read meanwhile: written once
        again = desk.advice.something_else("Whimbrel", made.payload, uuid=made.uuid)
        assert again.added == 0
        with pytest.raises(InputError, match="leaving a reed as it is needs no entry"):
            desk.advice.did("Whimbrel", 1)
        desk.advice.rest("Whimbrel")
        assert [e.payload.kind for e in desk.sheet("Whimbrel").entries][-1] == "rest"


def test_a_hunch_is_kept_before_the_tool_speaks(crowlight: Callable, tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        desk.add_reed("Whimbrel")
    assert crowlight("plan", "Whimbrel", "--guess", "the tip", "--who", "ann").status == 0
    with open_desk(tmp_path / "records") as desk:
        kinds = [e.payload for e in desk.sheet("Whimbrel").entries]
        assert isinstance(kinds[0], Guess)
        assert isinstance(kinds[1], Advised)
        assert (kinds[0].who, kinds[0].remark) == ("ann", "the tip")
        assert desk.advice.guesses().people["ann"].made == 1


def test_a_loved_reed_is_named_in_what_was_advised(
    crowlight: Callable, workshop: Path, tmp_path: Path
) -> None:
    copytree(workshop, tmp_path / "records")
    with open_desk(tmp_path / "records") as desk:
        loved = desk.records.reed("Fulmar").uuid
    assert crowlight("wish", "Knot", "--loved", "Fulmar").status == 0
    told = json.loads(crowlight("plan", "Knot", "--json").out)
    assert (told["target"], told["liked"]) == ("loved reed", "Fulmar")
    assert told["findings"][0]["name"] == "thin-side-of-heart"  # evenness whatever is loved
    assert crowlight("did", "Knot").status == 0
    with open_desk(tmp_path / "records") as desk:
        advice = desk.sheet("Knot").entries[-2].payload
        assert isinstance(advice, Advised)
        assert advice.target_reed == loved
        # what a player loves is wanted of their other reeds as well
        assert desk.advice.plan("Petrel").liked == "Fulmar"
