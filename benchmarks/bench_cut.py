"""Speed of findings and plan for one reed, given a solved blade; and through the desk.

Run with one BLAS thread::

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_cut.py

The best of several runs, beside a peer of the same run: solving the blades of the same reed once.
Through the desk, everything counts that a maker waits for: reading the log, carrying readings past
cuts, other reeds of the maker; in the processor's own time, as others use the machine.
Results go to ``benchmarks/results/cut.json``.
"""

from __future__ import annotations

import json
import os
import platform
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from crowlight.bench.kinds import (
    Cut,
    Described,
    Lengths,
    Opening,
    PlayingTest,
    ReadingsTaken,
    Verdict,
)
from crowlight.bench.mechanics import reed_blades
from crowlight.blade import evaluate, usual_unknowns
from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.judge.findings import Crow, Findings, Known, Measured, Playing, geometry_known, rank
from crowlight.judge.geometry import judge_geometry
from crowlight.plan.cut import (
    ReedNow,
    Words,
    draw_chance,
    next_cut,
    reed_now,
    target,
    unknown_slopes,
)
from crowlight.reed import Blade, CaneState, Reading
from crowlight.reed.styles import style
from crowlight.reed.thickness import map_thickness
from crowlight.wiring import open_desk

RESULTS = Path(__file__).parent / "results" / "cut.json"


def best(action: Callable[[], object], repeats: int = 5) -> float:
    """Shortest of several runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def by_processor(action: Callable[[], object]) -> float:
    """Processor time of one run [s]."""
    start = time.process_time()
    action()
    return time.process_time() - start


def through_the_desk() -> dict[str, float]:
    """Processor times of first advice, advice again and re-plans on a kept reed [s]."""
    with (
        tempfile.TemporaryDirectory(prefix="crow-bench-") as folder,
        open_desk(Path(folder)) as desk,
    ):
        maker = desk.people.add_maker("Bench (invented)")
        rng = np.random.default_rng(7)
        for number in range(3):
            drawn = draw_reed(rng, even=True)
            desk.add_reed(f"Reed {number}", maker=maker.uuid, invented=True)
            desk.write(f"Reed {number}", Described(style="long"))
            desk.write(f"Reed {number}", Lengths(overall=drawn.style.length, thread_top=0.047))
            readings = measure(drawn, planned_places(drawn.style), rng, repeats=2)
            desk.write(f"Reed {number}", ReadingsTaken(), readings=readings)
            desk.write(f"Reed {number}", Opening(height=0.65e-3))
            desk.write(f"Reed {number}", Verdict(words="wobbles", grade=2 if number == 0 else 4))
        desk.advice.plan("Reed 1")  # imports, and the other reeds' shapes
        key = "Reed 0"
        times = {"first advice, blades solved": by_processor(lambda: desk.advice.plan(key))}
        times["the same again, kept"] = by_processor(lambda: desk.advice.plan(key))
        desk.write(key, PlayingTest(low_soft_attack="no"))
        times["after a playing test"] = by_processor(lambda: desk.advice.plan(key))
        place = planned_places(style("long"))[0]
        one = Reading(place, 0.08e-3, instrument="dial", state=CaneState.WET)
        desk.write(key, ReadingsTaken(), readings=(one,))
        times["after one more thickness reading"] = by_processor(lambda: desk.advice.plan(key))
        cut = Cut(zone="heart", blades=(Blade.MARKED,), strokes=2)
        desk.write(key, cut)
        times["after a cut of two strokes"] = by_processor(lambda: desk.advice.plan(key))
        return times


def main() -> None:
    rng = np.random.default_rng(7)
    drawn = draw_reed(rng)
    found = map_thickness(measure(drawn, planned_places(drawn.style), rng), drawn.style)
    blades, _, _ = reed_blades(found, opening=0.65e-3, tip_width=None)
    answer = evaluate(blades.apart())
    slopes = unknown_slopes(answer, usual_unknowns(blades))

    def known() -> Known:
        return Known(
            geometry=geometry_known(judge_geometry(found), style("long")),
            crow=Crow(cents=Measured(-20.0, 8.0), unsteadiness=Measured(15.0, 6.0)),
            playing=Playing(words=frozenset({"wobbles", "hard"})),
        )

    def prepare() -> ReedNow:
        return reed_now(found, answer, by_unknown=slopes, rng=np.random.default_rng(1))

    of, reed = known(), prepare()

    def plan(findings: Findings) -> object:
        wanted = target(reed, words=Words(easy_resistant=-1.0))
        return next_cut(reed, wanted, findings, of, draw_chance(reed, np.random.default_rng(2)))

    def all_of_it() -> object:
        return prepare(), rank(known()), plan(rank(of))

    desk = through_the_desk()
    solve = best(lambda: evaluate(blades.apart()), 3)
    solve_processor = min(by_processor(lambda: evaluate(blades.apart())) for _ in range(3))
    times = {
        "slopes by what is unknown, once for a solved blade": best(
            lambda: unknown_slopes(answer, usual_unknowns(blades)), 3
        ),
        "judge shape and rank findings": best(lambda: rank(known())),
        "draw 200 reeds and their outputs": best(prepare),
        "plan the next cut": best(lambda: plan(rank(of))),
        "findings and plan": best(all_of_it),
    }
    out = {
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, shared with other work",
        "python": platform.python_version(),
        "blas_threads": os.environ.get("OPENBLAS_NUM_THREADS", "not set"),
        "peer": "solving the blades of the same reed once, in the same run",
        "peer_seconds": round(solve, 4),
        "seconds": {k: round(v, 4) for k, v in times.items()},
        "times_the_peer": {k: round(v / solve, 3) for k, v in times.items()},
        "desk_peer_processor_seconds": round(solve_processor, 4),
        "desk_processor_seconds": {k: round(v, 4) for k, v in desk.items()},
        "desk_times_the_peer": {k: round(v / solve_processor, 3) for k, v in desk.items()},
    }
    RESULTS.write_text(json.dumps(out, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(out, indent=2))


if __name__ == "__main__":
    main()
