"""Speed of findings and plan for one reed, given a solved blade.

Run with one BLAS thread::

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_cut.py

The best of several runs, beside a peer of the same run: solving the blades of the same reed once.
Results go to ``benchmarks/results/cut.json``.
"""

from __future__ import annotations

import json
import os
import platform
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

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
from crowlight.reed.styles import style
from crowlight.reed.thickness import map_thickness

RESULTS = Path(__file__).parent / "results" / "cut.json"


def best(action: Callable[[], object], repeats: int = 5) -> float:
    """Shortest of several runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


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

    solve = best(lambda: evaluate(blades.apart()), 3)
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
    }
    RESULTS.write_text(json.dumps(out, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(out, indent=2))


if __name__ == "__main__":
    main()
