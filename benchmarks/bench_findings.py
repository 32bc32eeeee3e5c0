"""Speed of ranking what may be wrong with a reed.

Run with one BLAS thread::

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_findings.py

The best of several runs, beside a peer of the same run: one judgement of the same reed's shape from
its thickness map. Results go to ``benchmarks/results/findings.json``.
"""

from __future__ import annotations

import json
import os
import platform
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.judge.findings import (
    Crow,
    Known,
    Measured,
    Playing,
    Trials,
    as_data,
    geometry_known,
    heard,
    rank,
)
from crowlight.judge.geometry import judge_geometry
from crowlight.reed.styles import style
from crowlight.reed.thickness import map_thickness

RESULTS = Path(__file__).parent / "results" / "findings.json"


def best(action: Callable[[], object], repeats: int = 15) -> float:
    """Shortest of several runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    rng = np.random.default_rng(7)
    reed = draw_reed(rng)
    found = map_thickness(measure(reed, planned_places(reed.style), rng), reed.style)
    known = Known(
        geometry=geometry_known(judge_geometry(found), style("long")),
        crow=Crow(clean=0.2, mixed=0.3, rattling=0.5, cents=Measured(-20.0, 8.0)),
        playing=Playing(low_soft_attack="no", words=heard("stuffy and late")),
        trials=Trials(leaks="no", looked=True),
    )
    start = time.perf_counter()
    ranked = rank(known)
    first = time.perf_counter() - start
    shape = best(lambda: judge_geometry(found), 5)
    again = replace(known, trials=replace(known.trials, control_reed="fine"))
    result = {
        "machine": f"{platform.machine()}, {os.cpu_count()} cores",
        "python": platform.python_version(),
        "findings_at_places": len(ranked.ranked),
        "judge_shape_s": shape,
        "rank_first_call_s": first,
        "rank_s": best(lambda: rank(known)),
        "rank_after_one_answer_s": best(lambda: rank(again)),
        "rank_nothing_known_s": best(lambda: rank(Known())),
        "as_data_s": best(lambda: as_data(ranked)),
    }
    result["rank_over_judge_shape"] = result["rank_s"] / shape
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps(result, indent=1) + "\n")
    print(json.dumps(result, indent=1))


if __name__ == "__main__":
    main()
