"""How long it takes to learn of a reed from bench measures, and how much they tell.

A typical reed, invented measures near what the model gives for it; one BLAS thread. Peer: solving
the blades of the same reed once, in the same run. No target was set. How much is told: the width of
an interval after the measurement as a share of the width before.

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_calibrate.py [--repeats 3]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import platform
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from crowlight.blade import Blades, build, evaluate, typical_scrape
from crowlight.calibrate import CrowPitch, ForceTest, Measurement, Pad, calibrate
from crowlight.calibrate.press import press

OUT = Path(__file__).parent / "results" / "calibrate.json"


def timed(run: Callable[[], object], repeats: int) -> dict[str, float]:
    """Median and processor seconds of a function."""
    wall, work = [], []
    for _ in range(repeats):
        w, c = time.perf_counter(), time.process_time()
        run()
        wall.append(time.perf_counter() - w)
        work.append(time.process_time() - c)
    return {"median_s": float(np.median(wall)), "processor_s": float(np.median(work))}


def left(blades: Blades, measured: Sequence[Measurement]) -> dict[str, float]:
    """Width of each interval after the measures as a share of that before."""
    found = calibrate(blades, measured, rng=np.random.default_rng(1))
    return {
        name: round((after.high - after.low) / (before.high - before.low), 3)
        for name, before in found.prior.items()
        if (after := found.posterior.get(name)) is not None and before.high > before.low
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    blades = Blades(typical_scrape(), interference=10e-6)
    usual = press(build(blades), Pad(), 0.1e-3).force
    cases: dict[str, list[Measurement]] = {
        "force": [ForceTest(1.1 * usual, 0.03)],
        "crow's pitch": [CrowPitch(950.0, 15.0)],
        "force and crow's pitch": [ForceTest(1.1 * usual, 0.03), CrowPitch(950.0, 15.0)],
    }
    once = timed(lambda: evaluate(blades, maps=False), repeats)
    times, told = {}, {}
    for name, measured in cases.items():
        rng = np.random.default_rng(1)
        times[name] = timed(lambda m=measured, r=rng: calibrate(blades, m, rng=r), repeats)
        told[name] = left(blades, measured)
        ratio = times[name]["processor_s"] / once["processor_s"]
        print(
            f"{name:24s} {times[name]['processor_s']:.2f} s of processor, {ratio:.1f} solved reeds"
        )
        print("  left of the width:", told[name])
    result = {
        "machine": {
            "processor": platform.processor() or platform.machine(),
            "system": platform.platform(),
            "python": platform.python_version(),
            "numpy": np.__version__,
            "cores": os.cpu_count(),
            "load_at_start": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
            "blas_threads": os.environ["OPENBLAS_NUM_THREADS"],
        },
        "times": times,
        "peer_one_reed_solved": once,
        "width_left": told,
    }
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
