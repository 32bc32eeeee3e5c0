"""Input decks for CalculiX, running it in a folder of its own, and reading what it prints.

Reference: Dhondt, G. CalculiX CrunchiX User's Manual, version 2.20, keywords named below.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import subprocess
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.referee.solid import Solid, Through

from crowlight.blade import Cane

__all__ = ["Answer", "Loaded", "linear", "loaded", "run"]

INSTALL = "apt-get install --yes --no-install-recommends calculix-ccx"
LONGEST = 600.0  # seconds
LINEAR_LOAD = 1e-6  # MPa


@dataclass(frozen=True)
class Answer:
    """What a run says: frequencies [Hz], shapes (mode, node, 3), displacements [mm] per step."""

    frequencies: np.ndarray
    shapes: np.ndarray
    displacements: np.ndarray
    processor_s: float
    wall_s: float


def block(keyword: str, rows: Sequence[str]) -> str:
    return "\n".join([f"*{keyword}", *rows]) + "\n"


def numbers(ids: np.ndarray) -> list[str]:
    """Numbers from 1, a few on each line."""
    return [", ".join(map(str, ids[k : k + 8] + 1)) for k in range(0, len(ids), 8)]


def model(solid: Solid, cane: Cane, through: Through) -> str:
    """Mesh, cane and sets, up to the first step."""
    constants = [f"{c:.9g}" for c in through.constants(cane)]
    rows = [f"{k + 1}, " + ", ".join(f"{v:.12g}" for v in p) for k, p in enumerate(solid.nodes)]
    bricks = []
    for k, nodes in enumerate(solid.elements + 1):
        bricks += [", ".join(map(str, [k + 1, *nodes[:10]])) + ",", ", ".join(map(str, nodes[10:]))]
    axes = [", 1, 0, 0, 0, 1, 0"]
    axes += [
        f"{k + 1}, " + ", ".join(f"{v:.12g}" for v in pair.ravel())
        for k, pair in enumerate(solid.axes)
    ]
    return "".join(
        [
            block("NODE, NSET=ALL", rows),
            block("ELEMENT, TYPE=C3D20R, ELSET=BLADE", bricks),
            block("NSET, NSET=THREAD", numbers(solid.where(eta=0.0))),
            block("NSET, NSET=EDGES", numbers(solid.edges)),
            block("NSET, NSET=INNER", numbers(solid.where(out=0.0))),
            block("DISTRIBUTION, NAME=FIBRES", axes),
            block("ORIENTATION, NAME=AXES, SYSTEM=RECTANGULAR", ["FIBRES"]),
            block("MATERIAL, NAME=CANE", []),
            block(
                "ELASTIC, TYPE=ENGINEERING CONSTANTS",
                [", ".join(constants[:8]) + ",", f"{constants[8]}, 293."],
            ),
            block("DENSITY", [f"{cane.density * 1e-12:.9g}"]),
            block("SOLID SECTION, ELSET=BLADE, MATERIAL=CANE, ORIENTATION=AXES", []),
            block("BOUNDARY", ["THREAD, 1, 3"]),
        ]
    )


HOLD = block("BOUNDARY", ["EDGES, 3, 3"])
PRINT = block("NODE PRINT, NSET=INNER", ["U"])
END = block("END STEP", [])


def nodal(forces: np.ndarray, pressure: float) -> str:
    """Put a closing pressure [MPa] as forces that keep their direction."""
    rows = [
        f"{k + 1}, {c + 1}, {pressure * forces[k, c]:.9g}"
        for k, c in zip(*np.nonzero(forces), strict=True)
    ]
    return block("CLOAD", rows)


def turning(solid: Solid, pressure: float, face: str) -> str:
    """Let a closing pressure [MPa] turn with the face it acts on, "inner" or "outer"."""
    layers = len(solid.elements) // len(solid.inner_faces)
    k = np.arange(len(solid.elements)) % layers
    chosen = np.flatnonzero(k == (0 if face == "inner" else layers - 1))
    load = f"P1, {-pressure:.9g}" if face == "inner" else f"P2, {pressure:.9g}"
    return block("DLOAD", [f"{e + 1}, {load}" for e in chosen])


def linear(
    solid: Solid, cane: Cane, *, held: bool, modes: int = 6, through: Through | None = None
) -> str:
    """Deck: lowest modes, then small deflection under 1 Pa; inner edges held in z or not."""
    return "".join(
        [
            model(solid, cane, through or Through()),
            HOLD if held else "",
            *("*STEP\n", block("FREQUENCY", [str(modes)]), PRINT, END),
            *("*STEP\n", block("STATIC", [])),
            nodal(solid.closing_forces(), LINEAR_LOAD),
            *(PRINT, END),
        ]
    )


@dataclass(frozen=True)
class Loaded:
    """Closing pressures [MPa] to be followed, and how they act: "dead", "inner" or "outer"."""

    pressures: tuple[float, ...]
    acts: str = "dead"


def loaded(solid: Solid, cane: Cane, load: Loaded, *, through: Through | None = None) -> str:
    """Deck: large deflection with the inner edges held, one step for each pressure."""
    forces = solid.closing_forces()
    steps = []
    for p in load.pressures:
        push = nodal(forces, p) if load.acts == "dead" else turning(solid, p, load.acts)
        steps += ["*STEP, NLGEOM\n", block("STATIC, DIRECT", ["1., 1."]), push, PRINT, END]
    return "".join([model(solid, cane, through or Through()), HOLD, *steps])


def program() -> str:
    """Path of CalculiX."""
    found = shutil.which("ccx")
    assert found, f"CalculiX (ccx) is missing, so the blade has no referee; run: {INSTALL}"
    return found


def run(deck: str) -> Answer:
    """Solve a deck on one thread in a folder that is removed afterwards."""
    ccx = program()
    with tempfile.TemporaryDirectory(prefix="referee-") as folder:
        Path(folder, "blade.inp").write_text(deck)
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        done = subprocess.run(
            [ccx, "-i", "blade"],
            cwd=folder,
            env={**os.environ, "OMP_NUM_THREADS": "1", "CCX_NPROC_EQUATION_SOLVER": "1"},
            capture_output=True,
            text=True,
            timeout=LONGEST,
            check=False,
        )
        wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
        bad = done.returncode != 0 or "*ERROR" in done.stdout
        assert not bad, f"CalculiX failed:\n{done.stdout[-3000:]}{done.stderr[-1000:]}"
        printed = Path(folder, "blade.dat").read_text()
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return read(printed, spent, wall)


def read(printed: str, spent: float, wall: float) -> Answer:
    """Frequencies and displacements from a .dat file, modes first as the decks ask for them."""
    table = re.search(
        r"E I G E N V A L U E   O U T P U T(.*?)(?=P A R T|displacements|\Z)", printed, re.S
    )
    rows = re.findall(r"^ +\d+((?: +-?\d\.\d+E[+-]\d+){4})", table[1] if table else "", re.M)
    frequencies = np.array([float(row.split()[2]) for row in rows])
    fields = re.split(r"displacements \(vx,vy,vz\) for set INNER[^\n]*\n", printed)[1:]
    moved = []
    for field in fields:
        rows = re.findall(r"^ +\d+((?: +-?\d\.\d+E[+-]\d+){3})\s*$", field, re.M)
        moved.append([[float(v) for v in row.split()] for row in rows])
    u = np.array(moved)
    n = len(frequencies)
    return Answer(frequencies, u[:n], u[n:], spent, wall)
