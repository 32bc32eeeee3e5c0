"""The thickness map and the judgement drawn from it: speed, truth, power. Invented reeds only.

The reeds come from a generator whose forms are not those of the map; the seeds below are used
nowhere else. A good number means that the method does what it says on such reeds, not that it has
been tried on real ones.

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_map.py [--part speed] [--reeds 250]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import numpy as np
import sklearn
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

from crowlight.invented.map_trial import map_trial, summarise
from crowlight.invented.reeds import Fault, InventedReed, draw_reed, measure, planned_places
from crowlight.judge.decision import Outcome
from crowlight.judge.geometry import Against, Quantity, judge_geometry
from crowlight.judge.sums import zone_mean
from crowlight.reed import Blade, Place, Side
from crowlight.reed.styles import STYLE_CODES
from crowlight.reed.thickness import ThicknessMap, map_thickness

SEED = 31_001
MM = 1e-3

TARGET_MS = 50.0
COVERAGE = {"all": (0.93, 0.97)}
ZONES = (0.90, 0.98)

# zone, blade, side, change [mm], in how many mountings each point is read
FAULTS = (
    ("heart", 0, -0.05, 1),
    ("heart", 0, -0.07, 1),
    ("heart", 0, -0.07, 2),
    ("heart", 1, -0.06, 1),
    ("tip", 1, -0.03, 1),
    ("tip", 1, -0.03, 3),
    ("tip", 0, 0.04, 1),
    ("windows", 1, -0.10, 1),
)


def speed(_reeds: int) -> dict:
    """Both blades from 48 readings, beside scikit-learn's regression with as many points out."""
    rng = np.random.default_rng([SEED, 1])
    reed = draw_reed(rng)
    readings = measure(reed, planned_places(reed.style), rng, seconds=5.0)
    grid = map_thickness(readings, reed.style)
    inputs = {
        b: np.array([(r.place.along, r.place.across) for r in readings if r.place.blade is b])
        for b in Blade
    }
    outputs = {b: np.array([r.thickness for r in readings if r.place.blade is b]) for b in Blade}
    wanted = np.column_stack([np.repeat(grid.along, len(grid.fraction)), grid.across.ravel()])

    def ours() -> None:
        map_thickness(readings, reed.style)

    def peer() -> None:
        for b in Blade:
            kernel = ConstantKernel(1.0) * RBF([3.0, 1.5]) + WhiteKernel(0.01)
            model = GaussianProcessRegressor(kernel, normalize_y=True)
            model.fit(inputs[b] / MM, outputs[b] / MM).predict(wanted / MM, return_std=True)

    times = {"crowlight": [], "scikit-learn": []}
    for _ in range(31):
        for name, run in (("crowlight", ours), ("scikit-learn", peer)):
            start = time.process_time()
            run()
            times[name].append((time.process_time() - start) * 1e3)
    ms = {name: float(np.median(t)) for name, t in times.items()}
    many = [
        Place(b, float(s), float(c))
        for b in Blade
        for s, c in zip(
            rng.uniform(0.048, 0.0692, 200), rng.uniform(-1.2 * MM, 1.2 * MM, 200), strict=True
        )
    ]
    large = measure(reed, many, rng, per_mounting=25)
    start = time.process_time()
    found = map_thickness(large, reed.style)
    large_ms = (time.process_time() - start) * 1e3
    start = time.process_time()
    judge_geometry(grid)
    judge_ms = (time.process_time() - start) * 1e3
    return {
        "what": "one core, processor time, median of 31; fit, hyper-parameters and both grids",
        "grid_points": int(found.mean.size),
        "crowlight_ms": round(ms["crowlight"], 2),
        "scikit_learn_ms": round(ms["scikit-learn"], 2),
        "ratio_to_scikit_learn": round(ms["crowlight"] / ms["scikit-learn"], 3),
        "scikit_learn": sklearn.__version__,
        "target_ms": TARGET_MS,
        "met": ms["crowlight"] < TARGET_MS,
        "400_readings_ms": round(large_ms, 1),
        "judgement_ms": round(judge_ms, 1),
    }


def coverage(reeds: int) -> dict:
    """Share of true thickness inside the 95 % interval, and errors beside plain interpolation."""
    out: dict[str, dict] = {}
    for code in STYLE_CODES:
        for quick in (False, True):
            count = reeds if code == "long" else max(reeds // 10, 10)
            table = summarise(list(map_trial(SEED + 2 + quick, count, code=code, quick=quick)))
            rows = {
                zone: {
                    "blades": s.blades,
                    "coverage": round(s.coverage, 4),
                    "standard_error": round(s.error, 4),
                    "asked": COVERAGE.get(zone, ZONES),
                    "inside": COVERAGE.get(zone, ZONES)[0]
                    <= round(s.coverage, 4)
                    <= COVERAGE.get(zone, ZONES)[1],
                    "rmse_um": {
                        name: round(value * 1e6, 2)
                        for name, value in asdict(s).items()
                        if name in ("map", "residual", "raw", "claimed")
                    },
                    "never_worse": s.map <= min(s.residual, s.raw),
                }
                for zone, s in table.items()
            }
            name = f"{code}, {8 if quick else 24} points"
            out[name] = rows
            bad = [z for z, r in rows.items() if not (r["inside"] and r["never_worse"])]
            print(name, "all", rows["all"]["coverage"], "outside or worse:", bad)
    return out


def identical(reeds: int) -> dict:
    """How often identical blades are called uneven."""
    out: dict[str, dict] = {}
    for quick in (False, True):
        named, kinds = 0, Counter()
        for i in range(reeds):
            rng = np.random.default_rng([SEED + 10 + quick, i])
            reed = draw_reed(rng, twin=True)
            found = map_thickness(
                measure(reed, planned_places(reed.style, quick=quick), rng), reed.style
            )
            differing = [
                f for f in judge_geometry(found).differing() if f.against is not Against.STYLE
            ]
            named += bool(differing)
            kinds.update(f"{f.quantity} {f.zone} {f.against}" for f in differing)
        out["8 points" if quick else "24 points"] = {
            "reeds": reeds,
            "named": named,
            "share": named / reeds,
            "asked": 0.05,
            "met": named / reeds <= 0.05,
            "kinds": dict(kinds),
        }
        print("identical", quick, named, reeds)
    return out


def power(reeds: int) -> dict:
    """How often a stated difference is found, and how its estimate compares with the truth."""
    out: dict[str, dict] = {}
    count = max(reeds // 5, 10)
    for number, (zone, side, change, mountings) in enumerate(FAULTS):
        fault = Fault(zone=zone, blade=Blade.MARKED, side=side, amount=change * MM)
        against = Against.SIDES if side else Against.BLADES
        hits, rows = 0, []
        for i in range(count):
            rng = np.random.default_rng([SEED + 20, number, i])
            reed = draw_reed(rng, even=True, faults=[fault])
            places = [p for _ in range(mountings) for p in planned_places(reed.style)]
            found = map_thickness(measure(reed, places, rng), reed.style)
            true = true_difference(reed, found, zone, sides=bool(side))
            (hit,) = [
                f
                for f in judge_geometry(found).findings
                if f.quantity is Quantity.THICKNESS
                and f.zone == zone
                and f.against is against
                and f.blade in (None, Blade.MARKED)
            ]
            hits += hit.decision.outcome is Outcome.DIFFERS
            rows.append((true, hit.decision.value, hit.decision.standard_uncertainty))
        table = np.array(rows)
        name = f"{zone} {change:+.2f} mm, {against}, {mountings} mounting(s)"
        out[name] = {
            "reeds": count,
            "found": hits,
            "power": round(hits / count, 3),
            "mean_true_um": round(float(table[:, 0].mean()) * 1e6, 1),
            "mean_estimate_um": round(float(table[:, 1].mean()) * 1e6, 1),
            "mean_standard_uncertainty_um": round(float(table[:, 2].mean()) * 1e6, 1),
            "rms_error_over_uncertainty": round(
                float(np.sqrt((((table[:, 1] - table[:, 0]) / table[:, 2]) ** 2).mean())), 2
            ),
        }
        print(name, out[name])
    return out


def true_difference(reed: InventedReed, found: ThicknessMap, zone: str, *, sides: bool) -> float:
    """Return what the judged difference of a zone really is."""
    where = found.zones.zone(zone)
    if sides:
        left, right = (zone_mean(found.style, where, 0, s) for s in (Side.LEFT, Side.RIGHT))
        total = left - right
    else:
        total = zone_mean(found.style, where, 0) - zone_mean(found.style, where, 1)
    across = total.fraction * found.style.outline.half_width(total.along)
    thickness = np.choose(
        total.blade.astype(int), [reed.thickness(b, total.along, across) for b in Blade]
    )
    return float(total.weight @ thickness)


def main() -> None:
    """Run one part or all, and put it beside what is already in the results file."""
    parts: dict[str, Callable[[int], dict]] = {
        "speed": speed,
        "coverage": coverage,
        "identical": identical,
        "power": power,
    }
    parser = argparse.ArgumentParser()
    parser.add_argument("--reeds", type=int, default=250)
    parser.add_argument("--part", choices=sorted(parts), action="append")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "results" / "map.json")
    options = parser.parse_args()
    known = json.loads(options.out.read_text()) if options.out.exists() else {}
    known |= {
        "what": "invented reeds only; see the module's docstring",
        "machine": {
            "system": platform.platform(),
            "processor": platform.machine(),
            "cores": os.cpu_count(),
            "load_at_start": os.getloadavg()[0],
            "python": platform.python_version(),
            "numpy": np.__version__,
            "blas_threads": os.environ.get("OPENBLAS_NUM_THREADS", "not set"),
        },
        "seed": SEED,
    }
    for name in options.part or parts:
        started = time.perf_counter()
        known[name] = parts[name](options.reeds)
        print(name, "took", round(time.perf_counter() - started, 1), "s")
        options.out.parent.mkdir(exist_ok=True)
        options.out.write_text(json.dumps(known, indent=1) + "\n")


if __name__ == "__main__":
    main()
