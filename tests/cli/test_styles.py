"""Styles of one's own through the command line."""

import json
from collections.abc import Callable
from pathlib import Path

from crowlight.bench.kinds import Described
from crowlight.invented.workshop import fill
from crowlight.wiring import open_desk


def test_a_style_from_these_reeds_of_mine(crowlight: Callable, tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        fill(desk)
    done = crowlight("style", "ours", "--from", "Fulmar", "--from", "Petrel", "--from", "Fulmar")
    assert done.status == 0, done.err
    assert "figures are your own" in done.out
    listed = [line.split("\t") for line in crowlight("styles").out.splitlines()]
    assert ["long", "comes with crowlight"] in listed
    assert listed[-1][:2] == ["ours", "Isa Brendmoor (invented)"]
    assert "another style has the name 'ours'" in crowlight("style", "ours", "--from", "Tern").err
    assert "no reed is called 'Gull'" in crowlight("style", "x", "--from", "Gull").err
    with open_desk(tmp_path / "records") as desk:
        described = desk.sheet("Tern").state.described
        desk.write("Tern", Described(**{**dict(described), "style": "ours"}))
    found = json.loads(crowlight("assess", "Tern", "--json").out)
    assert found["groups"][0]["map"]["style"] == "ours"
    crowlight("export", tmp_path / "out")
    assert "ours" in (tmp_path / "out" / "style.csv").read_text(encoding="utf-8-sig")
