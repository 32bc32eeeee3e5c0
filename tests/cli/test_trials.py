"""The trials from the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from crowlight.invented.trials.lines import read_lines


@pytest.fixture
def development(tmp_path: Path, crowlight: Callable) -> Callable:
    def run(*more: object):
        file = tmp_path / "lines.jsonl"
        return file, crowlight("trials", "--development", "--to", file, *more)

    return run


def test_a_reed_is_finished_by_the_advice_and_a_rival_and_not_twice(development: Callable) -> None:
    """Both start from the same reed; what is there already is not run again."""
    chosen = ("--seeds", 1, "--policy", "planner", "--policy", "nothing")
    file, ran = development(*chosen)
    assert ran.status == 0, ran.err
    lines = read_lines(file.read_text("utf-8"))
    assert [(x["policy"], x["seed"]) for x in lines] == [("planner", 2000), ("nothing", 2000)]
    planner, nothing = lines
    assert planner["felt_at_first"] == nothing["felt_at_first"] == nothing["felt"]
    assert planner["faults"] == nothing["faults"]
    assert planner["minutes"] > nothing["minutes"] == 0.0
    assert planner["ruined"] is None
    assert planner["failed"] is None
    summary = json.loads(ran.out)
    assert summary["planner"]["n"] == summary["nothing"]["n"] == 1
    before = file.read_bytes()
    file.write_bytes(before + b'{"policy": "noth')  # killed while it wrote
    _, again = development(*chosen)
    assert again.status == 0
    assert again.err == ""
    assert read_lines(file.read_text("utf-8")) == lines
    _, summed = development(*chosen, "--summary")
    assert json.loads(summed.out) == summary


@pytest.mark.parametrize("wrong", [("--policy", "magic"), ("--variant", "magic")])
def test_what_there_is_not_is_refused(development: Callable, wrong: tuple[str, str]) -> None:
    _, ran = development("--seeds", 1, *wrong)
    assert ran.status == 2
    assert "is none of" in ran.err
