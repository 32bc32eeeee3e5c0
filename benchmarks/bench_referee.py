"""The shell against CalculiX on the same blade: how far apart, and how much longer it takes.

Three reeds, one blade each: six modes free, six with the edges held, both first deflections, and
the gap at 2, 4 and 6 kPa. One thread each, in the same run. The solid's time is that of CalculiX
alone, its mesh already written; the shell's begins with the thickness map. Then, on the long
scrape: how far the solid's mesh and each thing assumed about it move its numbers.

    OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python benchmarks/bench_referee.py [--repeats 3]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import platform
import subprocess
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.referee import ccx
from tests.referee.reeds import (
    PRESSURES,
    REEDS,
    Numbers,
    by_shell,
    by_solid,
    free_deflections,
    recognised,
    scaled,
)
from tests.referee.solid import Bricks, Through, bricks

from crowlight.blade import CHECK_MESH, MeshSize

OUT = Path(__file__).parent / "results" / "referee.json"
COARSE = Bricks(across=8, front=8, behind=6)
FINE = Bricks(across=24, front=26, behind=18, through=2)
ASSUMED = {
    "E_R halved": Through(stiffness=0.5),
    "E_R doubled": Through(stiffness=2.0),
    "G_LR and G_TR halved": Through(shear=0.5),
    "G_LR and G_TR doubled": Through(shear=2.0),
    "nu_TR 0.45": Through(poisson=0.45),
}


def percent(shares: np.ndarray | float) -> list[float]:
    return np.round(100 * np.atleast_1d(shares), 2).tolist()


def apart(a: Numbers, b: Numbers) -> dict[str, list[float]]:
    """How far `a` is from `b`, per cent; gaps in per cent of the rest opening."""
    return {
        "free_frequencies": percent(a.free / b.free - 1),
        "held_frequencies": percent(a.held / b.held - 1),
        "free_tip_deflection": percent(a.free_tip / b.free_tip - 1),
        "held_tip_deflection": percent(a.held_tip / b.held_tip - 1),
        "gap_2_4_6_kpa": percent(a.gap - b.gap),
    }


def written(n: Numbers) -> dict[str, object]:
    return {
        "free_hz": n.free.round(1).tolist(),
        "held_hz": n.held.round(1).tolist(),
        "free_tip_mm_per_kpa": round(n.free_tip * 1e6, 5),
        "held_tip_mm_per_kpa": round(n.held_tip * 1e6, 5),
        "gap_share_of_rest": n.gap.round(4).tolist(),
        "processor_s": round(n.processor_s, 4),
        "wall_s": round(n.wall_s, 4),
    }


def fastest(runs: list[Numbers]) -> tuple[float, float]:
    """Least processor and wall seconds, which a busy machine stretches least."""
    return min(r.processor_s for r in runs), min(r.wall_s for r in runs)


def compared(name: str, repeats: int) -> dict[str, object]:
    """One reed, both models."""
    shells = [by_shell(REEDS[name]) for _ in range(repeats)]
    solids = [by_solid(REEDS[name]) for _ in range(repeats)]
    shell, solid = shells[0], solids[0]
    work, wall = (b / a for a, b in zip(fastest(shells), fastest(solids), strict=True))
    far = apart(shell, solid)
    print(f"{name}: CalculiX takes {work:.0f} times the processor time ({wall:.0f} times as long)")
    for what, values in far.items():
        print(f"  {what:22s}", " ".join(f"{v:+6.2f}" for v in values), "%")
    return {
        "shell": written(shell),
        "solid": written(solid),
        "shell_minus_solid_percent": far,
        "least_modal_assurance": round(
            float(
                min(
                    recognised(solid.free, shell.free_shapes, solid.free_shapes).min(),
                    recognised(solid.held, shell.held_shapes, solid.held_shapes).min(),
                )
            ),
            4,
        ),
        "fastest_s": {"shell": fastest(shells), "solid": fastest(solids)},
        "times_the_shell": {"processor": round(work, 1), "wall": round(wall, 1)},
    }


def with_equal_layers(name: str) -> dict[str, list[float]]:
    """Shell with all layers as wide as the inner face minus solid, per cent."""
    return apart(by_shell(REEDS[name], equal=True), by_solid(REEDS[name]))


def told(title: str, far: dict[str, list[float]]) -> dict[str, list[float]]:
    print(title, far)
    return far


def studied() -> dict[str, object]:
    """What moves the solid's numbers, each against the solid as tested."""
    blades = REEDS["long"]
    base = by_solid(blades)
    fine = by_solid(blades, count=FINE)
    coarse = by_solid(blades, count=COARSE)
    study: dict[str, object] = {
        "coarser_solid_mesh": {
            "mesh": str(COARSE),
            "nodes": len(bricks(*blades.blade(0)[:2], COARSE).nodes),
            "percent": told("coarse mesh - finer", apart(coarse, fine)),
            "processor_s": {"coarse": coarse.processor_s, "as_tested": base.processor_s},
        },
        "solid_mesh_against_finer": {
            "tested": str(Bricks()),
            "finer": str(FINE),
            "nodes": [len(bricks(*blades.blade(0)[:2], c).nodes) for c in (Bricks(), FINE)],
            "percent": told("tested mesh - finer", apart(base, fine)),
        },
        "shell_mesh_against_check": {
            "tested": str(MeshSize()),
            "finer": str(CHECK_MESH),
            "percent": apart(by_shell(blades), by_shell(blades, size=CHECK_MESH)),
        },
        "pressure_turns_with_the_inner_face": told(
            "turning, inner", apart(by_solid(blades, acts="inner"), base)
        ),
        "pressure_turns_with_the_outer_face": told(
            "turning, outer", apart(by_solid(blades, acts="outer"), base)
        ),
    }
    for name, through in ASSUMED.items():
        study[name] = told(name, apart(by_solid(blades, through=through), base))
    study["shell_with_equal_layers"] = {
        name: told(f"equal layers, {name}", with_equal_layers(name)) for name in REEDS
    }
    thinner, equal = {}, {}
    for name in REEDS:
        found = [free_deflections(scaled(REEDS[name], s)) for s in (1.0, 0.5, 0.25)]
        thinner[name] = percent(np.array([shell / solid - 1 for shell, _, solid in found]))
        equal[name] = percent(np.array([alike / solid - 1 for _, alike, solid in found]))
    thin = "free_tip_deflection_shell_minus_solid_percent_at_thickness_1_half_quarter"
    study[thin], study[f"{thin}_equal_layers"] = thinner, equal
    print("free tip, thinner blades:", thinner, "with equal layers:", equal)
    return study


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    version = subprocess.run([ccx.program(), "-v"], capture_output=True, text=True, check=False)
    result = {
        "machine": {
            "processor": platform.processor() or platform.machine(),
            "system": platform.platform(),
            "python": platform.python_version(),
            "numpy": np.__version__,
            "calculix": version.stdout.strip(),
            "cores": os.cpu_count(),
            "load_at_start": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
            "threads": 1,
        },
        "pressures_pa": PRESSURES,
        "reeds": {name: compared(name, repeats) for name in REEDS},
        "study_on_the_long_scrape": studied(),
    }
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
