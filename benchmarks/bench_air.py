"""Speed of air, thresholds, sound and travel advice.

Run with one BLAS thread::

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_air.py

Each time is the best of several runs and stands beside a peer measured in the same run: CoolProp
for air, bisection on eigenvalues for thresholds, LSODA and the numpy loop for sound. Results go
to ``benchmarks/results/air.json``.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from CoolProp.CoolProp import HAPropsSI
from scipy.integrate import solve_ivp

from crowlight.crow import (
    ReedParameters,
    draw_reeds,
    find_resonances,
    onsets,
    onsets_from,
    simulate,
    sound_strip,
    stacked,
    staple_bore,
)
from crowlight.crow.stability import equilibrium, growth_modes
from crowlight.crow.timedomain import rates
from crowlight.materials import Place, breath, room_air
from crowlight.plan import Journey, ReedState, Site, travel_advice, usual_climate
from crowlight.plan.travel_bores import bores_at

RESULTS = Path(__file__).parent / "results" / "air.json"
REED = ReedParameters()
BORE = find_resonances(staple_bore(), breath(101325.0))


def best(action: Callable[[], object], repeats: int = 5) -> float:
    """Shortest of several runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def air() -> dict[str, float]:
    points = 20_000
    rng = np.random.default_rng(1)
    t, p, h = rng.uniform(289, 299, points), rng.uniform(7e4, 1.05e5, points), rng.random(points)
    ours = best(lambda: room_air(t, p, h)) / points

    def peer() -> None:
        for i in range(500):
            for name in ("Vha", "speed_of_sound", "mu", "K"):
                HAPropsSI(name, "T", t[i], "P", p[i], "R", h[i])

    theirs = best(peer, 3) / 500
    return {
        "microseconds_per_state": 1e6 * ours,
        "target_microseconds": 20.0,
        "coolprop_microseconds": 1e6 * theirs,
        "times_faster_than_coolprop": theirs / ours,
    }


def _bisected(steps: int = 40) -> float:
    """Threshold by a scan and bisection on eigenvalues: the plain way."""
    reeds = stacked([REED])

    def grows(share: float) -> bool:
        modes = growth_modes(reeds, BORE, np.array([share * REED.closing_pressure]))
        return bool(modes.real.max() > 0.0)

    scan = np.linspace(0.08, 0.97, 13)
    high = next(s for s in scan if grows(float(s)))
    low = high - (scan[1] - scan[0])
    for _ in range(steps):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if grows(middle) else (middle, high)
    return 0.5 * (low + high) * REED.closing_pressure


def thresholds() -> dict[str, float]:
    reeds = draw_reeds(np.random.default_rng(1), 200)
    home = onsets(reeds, BORE)
    there = find_resonances(staple_bore(), breath(83528.0))
    one = best(lambda: onsets([REED], BORE), 20)
    plain = best(_bisected, 5)
    fresh, followed = (
        best(lambda: onsets(reeds, there), 5),
        best(lambda: onsets_from(home, reeds, there), 5),
    )
    difference = abs(float(onsets([REED], BORE).pressure[0]) / _bisected() - 1.0)
    return {
        "poles_ms": 1e3 * best(lambda: find_resonances(staple_bore(), breath(101325.0))),
        "one_threshold_ms": 1e3 * one,
        "target_ms": 15.0,
        "bisection_on_eigenvalues_ms": 1e3 * plain,
        "times_faster_than_bisection": plain / one,
        "difference_from_bisection": difference,
        "draws_200_fresh_ms": 1e3 * fresh,
        "draws_200_followed_ms": 1e3 * followed,
        "followed_over_fresh": followed / fresh,
    }


def _lsoda(seconds: float, blowing: float = 6000.0) -> None:
    still = equilibrium(stacked([REED]), BORE, np.array([blowing]))
    modes = -BORE.residues / BORE.poles * still.flow[0]
    start = np.concatenate([[still.opening[0] - 0.99, 0.0, still.flow[0]], modes.real, modes.imag])
    solve_ivp(
        lambda _, y: rates(y, REED, BORE, blowing),
        (0.0, seconds),
        start,
        method="LSODA",
        rtol=1e-6,
        atol=1e-9,
    )


def sound() -> dict[str, float]:
    second = np.full(48_000, 6000.0)
    simulate([REED], BORE, second[:100])  # compile, or fetch from disk
    fast = best(lambda: simulate([REED], BORE, second, sample_rate=48e3, kick=1e-2), 10)
    tenth = best(
        lambda: simulate([REED], BORE, second[:4800], sample_rate=48e3, kick=1e-2, engine="numpy"),
        3,
    )
    peer = best(lambda: _lsoda(0.02), 2)
    strip = best(lambda: sound_strip(REED, BORE, rng=np.random.default_rng(1)), 2)
    return {
        "one_second_48_khz_ms": 1e3 * fast,
        "target_ms": 10.0,
        "numpy_loop_ms": 1e4 * tenth,
        "times_faster_than_numpy_loop": 10.0 * tenth / fast,
        "lsoda_ms": 5e4 * peer,
        "times_faster_than_lsoda": 50.0 * peer / fast,
        "strip_16_by_9_runs_ms": 1e3 * strip,
    }


_FIRST_SOUND = """
import time, numpy as np
from crowlight.crow import ReedParameters, find_resonances, simulate, staple_bore
from crowlight.materials import breath
bore = find_resonances(staple_bore(), breath(101325.0))
start = time.perf_counter()
simulate([ReedParameters()], bore, np.full(100, 6000.0))
print(time.perf_counter() - start)
"""


def compilation() -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "NUMBA_CACHE_DIR": folder}
        times = [
            float(
                subprocess.run(
                    [sys.executable, "-c", _FIRST_SOUND],
                    env=environment,
                    capture_output=True,
                    text=True,
                    check=True,
                ).stdout
            )
            for _ in range(2)
        ]
    return {
        "first_sound_compiling_s": times[0],
        "first_sound_from_disk_s": times[1],
        "disk_over_compiling": times[1] / times[0],
    }


def travel() -> dict[str, float]:
    home = Site(Place("Saltmarsh", 5.0), usual_climate("mild-season"))
    there = Site(Place("Highfold", 2100.0), usual_climate("heated-winter"))
    rng = np.random.default_rng(1)
    reeds = draw_reeds(rng, 200)

    def advise() -> None:
        bores_at.cache_clear()
        travel_advice(Journey(home, there), reeds, ReedState.CANE, rng=rng)

    told = travel_advice(Journey(home, there), reeds, ReedState.CANE, rng=rng)
    seconds = best(advise, 3)
    return {
        "advice_200_draws_s": seconds,
        "target_s": 5.0,
        "share_of_target": seconds / 5.0,
        "followed_against_20_exact_draws": told.effects.exact_error,
    }


def main() -> None:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    results = {
        "machine": {
            "system": platform.platform(),
            "processor": platform.processor() or platform.machine(),
            "cores": os.cpu_count(),
            "load_at_start": os.getloadavg()[0],
            "python": platform.python_version(),
            "numpy": np.__version__,
            "blas_threads": os.environ["OPENBLAS_NUM_THREADS"],
        },
        "air": air(),
        "thresholds": thresholds(),
        "sound": sound(),
        "compilation": compilation(),
        "travel": travel(),
    }
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps(results, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(results, indent=2))


if __name__ == "__main__":
    main()
