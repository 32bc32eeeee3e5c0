"""How long the blade model takes, at its three speeds, and what the default mesh costs in accuracy.

Two different blades on the default mesh, one BLAS thread. Times are medians of repeated runs, and
processor time beside them, which a busy machine stretches less. Peers are timed in the same run on
the same matrices: SciPy's dense and sparse solvers. The calculation of the same reed as a solid is
compared elsewhere.

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_blade.py [--repeats 7]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import platform
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import splu

from crowlight.bench.cuts import Cut
from crowlight.bench.mechanics import mechanics
from crowlight.bench.warm import warm
from crowlight.bench.whatif import leverage, what_if
from crowlight.blade import (
    CHECK_MESH,
    Blades,
    Change,
    MeshSize,
    changed,
    evaluate,
    intervals,
    mesh_error,
    prepare,
    typical_scrape,
    usual_unknowns,
)
from crowlight.blade.band import factor
from crowlight.blade.equilibrium import settle
from crowlight.blade.vibration import free_modes
from crowlight.reed import Blade, CaneState, Place, Reading

OUT = Path(__file__).parent / "results" / "blade.json"
FLOORS = {
    "effects times change": 1e-3,
    "warm curve": 0.1,
    "page: a cut warm, of a reed solved before": 0.1,
    "full answer with maps, cold": 0.5,
}
STRETCH = {"warm curve": 0.03, "full answer with maps, cold": 0.12}


def timed(run: Callable[[], object], repeats: int) -> dict[str, float]:
    """Median, fastest and processor seconds of a function."""
    wall, work = [], []
    for _ in range(repeats):
        w, c = time.perf_counter(), time.process_time()
        run()
        wall.append(time.perf_counter() - w)
        work.append(time.process_time() - c)
    return {
        "median_s": float(np.median(wall)),
        "fastest_s": float(np.min(wall)),
        "processor_s": float(np.median(work)),
    }


def cold(blades: Blades) -> Callable[[], object]:
    return lambda: evaluate(blades)


def dense_of(stored: np.ndarray) -> np.ndarray:
    width, n = len(stored) - 1, stored.shape[1]
    full = np.zeros((n, n))
    for k in range(width + 1):
        full[np.arange(k, n), np.arange(n - k)] = stored[k, : n - k]
    return full + np.tril(full, -1).T


def sparse_of(stored: np.ndarray) -> csc_array:
    n = stored.shape[1]
    rows = [stored[k, : n - k] for k in range(len(stored))]
    lower = diags_array(rows, offsets=[-k for k in range(len(stored))])
    upper = diags_array(rows[1:], offsets=list(range(1, len(stored))))
    return csc_array(lower + upper)


def peers(answer, repeats: int) -> dict[str, dict[str, float]]:
    """Ours against SciPy on the same matrices."""
    body = answer.pair.bodies[0]
    shell = body.shell
    stored = shell.stiffness(shell.strain(np.zeros(shell.mesh.n_dof)))
    mass = shell.mass()
    free = np.setdiff1d(np.arange(shell.mesh.n_dof), shell.band.held)
    k, m = dense_of(stored)[np.ix_(free, free)], dense_of(mass)[np.ix_(free, free)]
    ours = free_modes(body)
    theirs = np.sqrt(eigh(k, m, eigvals_only=True, subset_by_index=[0, 5])) / (2 * np.pi)
    np.testing.assert_allclose(ours.frequencies, theirs, rtol=1e-6)
    a, b = (
        timed(lambda: free_modes(body), repeats),
        timed(lambda: eigh(k, m, subset_by_index=[0, 5]), repeats),
    )
    sparse = sparse_of(stored)
    c, d = timed(lambda: factor(stored), repeats), timed(lambda: splu(sparse), repeats)
    return {
        "six modes, ours (assembly included) against scipy.linalg.eigh": {
            "ours_s": a["median_s"],
            "peer_s": b["median_s"],
            "ratio": b["median_s"] / a["median_s"],
        },
        "factoring the stiffness, banded against scipy.sparse.linalg.splu": {
            "ours_s": c["median_s"],
            "peer_s": d["median_s"],
            "ratio": d["median_s"] / c["median_s"],
        },
    }


def readings() -> dict[str, object]:
    """Return readings of an invented reed, as a desk would send them."""
    rows = ((1, 2.5, 0.08), (3, 2.5, 0.13), (6, 2.0, 0.42), (9, 2.0, 0.46), (15, 1.8, 0.5))
    taken = tuple(
        Reading(Place(blade, 70e-3 - tip * 1e-3, side * out * 1e-3), t * 1e-3, state=CaneState.WET)
        for blade in Blade
        for tip, out, t in rows
        for side in (-1, 0, 1)
    )
    return {
        "name": "invented",
        "readings": taken,
        "style": "long",
        "length": 70e-3,
        "length_uncertainty": None,
        "thread_top": 47e-3,
        "opening": 0.7e-3,
        "tip_width": None,
    }


def on_the_page(repeats: int) -> dict[str, dict[str, float]]:
    """Tasks behind the page of the blades, from readings; each reed anew but for the warm cut."""
    sizes = iter(np.linspace(0.60e-3, 0.75e-3, 1000))
    few = max(2, repeats // 3)

    def anew(**more: object) -> dict[str, object]:
        return {**readings(), "opening": float(next(sizes)), **more}

    kept = {**readings(), "cut": Cut(zone="heart", depth=2e-5, blade=Blade.MARKED)}
    warm(kept)
    return {
        "page: effects of every zone, from readings": timed(lambda: leverage(anew()), few),
        "page: everything but the effects, from readings": timed(lambda: mechanics(anew()), few),
        "page: a cut warm, of a reed solved before": timed(lambda: warm(kept), 3 * repeats),
        "page: a cut in full, of a reed solved before": timed(lambda: what_if(kept), few),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=7)
    repeats = parser.parse_args().repeats

    blades = Blades(typical_scrape(), typical_scrape().changed(5e-6))
    answer = evaluate(blades)
    assert answer.effects is not None
    from_tip = 23e-3 - blades.marked.along
    heart = ((from_tip > 5.5e-3) & (from_tip < 10e-3))[:, None] * np.ones((1, 9))
    cut = Change(marked=-20e-6 * heart)
    ready = prepare(answer)
    curve = ready.solve(cut)
    full = evaluate(changed(blades, cut), maps=False)
    worst = max(
        abs(area - settle(full.pair, p, full.curve.nearest(p)).area)
        for p, area in zip(curve.pressures, curve.areas, strict=True)
    )
    times = {
        "effects times change": timed(
            lambda: answer.effects.predict(marked=cut.marked, clip=1e-4), 50 * repeats
        ),
        "warm curve": timed(lambda: ready.solve(cut), 3 * repeats),
        "keeping the factors for it": timed(lambda: prepare(answer), repeats),
        "full answer with maps, cold": timed(cold(blades), repeats),
        "full answer with maps, blades alike": timed(cold(Blades(typical_scrape())), repeats),
        "full answer without maps": timed(lambda: evaluate(blades, maps=False), repeats),
        "intervals, linearised": timed(
            lambda: intervals(answer, usual_unknowns(blades), samples=0), max(1, repeats // 3)
        ),
        "intervals, tried and bent where needed": timed(
            lambda: intervals(
                answer, usual_unknowns(blades), samples=12, rng=np.random.default_rng(1)
            ),
            max(1, repeats // 3),
        ),
        **on_the_page(repeats),
    }
    errors = mesh_error(answer, size=CHECK_MESH)
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
        "mesh": str(MeshSize()),
        "times": times,
        "floors_s": FLOORS,
        "stretch_s": STRETCH,
        "floor_met_by_median": {k: times[k]["median_s"] <= v for k, v in FLOORS.items()},
        "floor_met_by_processor_time": {k: times[k]["processor_s"] <= v for k, v in FLOORS.items()},
        "warm_curve": {
            "largest_area_error_m2": worst,
            "stated_area_error_m2": curve.area_error,
            "closing_pressure_error": curve.closing_pressure / full.values["closing_pressure"] - 1,
            "stated_closing_pressure_error": curve.closing_error,
        },
        "default_mesh_against_check_mesh": errors,
        "peers": peers(answer, repeats),
    }
    for name, t in times.items():
        print(f"{name:38s} {t['median_s'] * 1e3:9.2f} ms  (processor {t['processor_s'] * 1e3:.2f})")
    for name, p in result["peers"].items():
        print(f"{name}: peer takes {p['ratio']:.1f} times as long")
    print("default mesh against check mesh:")
    for name, share in errors.items():
        print(f"  {name:20s} {share:+.2%}")
    print(f"warm curve: area off by {worst * 1e6:.5f} mm², stated {curve.area_error * 1e6:.5f}")
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
