"""The trials from the command line."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from distributed import LocalCluster

from crowlight.errors import InputError
from crowlight.invented.trials import VARIANTS
from crowlight.invented.trials.lines import read_lines
from crowlight.wiring.cluster import over_cluster


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


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """Address of a Dask scheduler with one worker, both in this process."""
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=":0", protocol="tcp"
    ) as cluster:
        yield cluster.scheduler_address


def test_other_machines_give_the_same_results(development: Callable, scheduler: str) -> None:
    chosen = ("--seeds", 1, "--policy", "nothing")
    file, ran = development(*chosen)
    assert ran.status == 0, ran.err
    here = file.read_bytes()
    file.unlink()
    _, ran = development(*chosen, "--scheduler", scheduler)
    assert ran.status == 0, ran.err
    assert file.read_bytes() == here
    _, again = development(*chosen, "--scheduler", scheduler)
    assert again.status == 0
    assert "2000 nothing" not in again.err  # what is there is not run again
    assert file.read_bytes() == here


def test_workers_with_other_code_are_refused(scheduler: str) -> None:
    def other() -> str:  # another answer each time it is asked
        return uuid4().hex

    def missing() -> str:
        name = "no module named 'crowlight'"
        raise ImportError(name)

    with pytest.raises(InputError, match=r"has other code .* install the same crowlight on both"):
        list(over_cluster(scheduler, abs, [-1], same=other))
    asked = iter(["here"])
    with pytest.raises(InputError, match=r"cannot run crowlight \(.*no module named"):
        list(over_cluster(scheduler, abs, [-1], same=lambda: next(asked, None) or missing()))
    assert list(over_cluster(scheduler, abs, [-1], same=lambda: "alike")) == [1]


def test_a_scheduler_that_is_not_there_is_said_so(
    development: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("crowlight.wiring.cluster._PATIENCE", 0.2)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # and not listening
        at = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        for address in (at, "nowhere at all", "tcp://"):
            _, ran = development("--seeds", 1, "--policy", "nothing", "--scheduler", address)
            assert ran.status == 1, ran.err
            assert "no Dask scheduler answers" in ran.err
            assert "crowlight met a fault" not in ran.err


def test_the_help_names_every_variant(crowlight: Callable) -> None:
    told = " ".join(crowlight("trials", "--help").out.replace("│", " ").split())
    assert [name for name in VARIANTS if name not in told] == []
