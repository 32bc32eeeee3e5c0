"""Sum up the trials of the advice against its rivals.

The trials themselves take hours; they are run, resumed and stopped at will with::

    gunzip --keep benchmarks/results/trials.jsonl.gz    # what has been run so far
    crowlight trials --to benchmarks/results/trials.jsonl
    crowlight trials --variant "no sound" --seeds 60 --to benchmarks/results/trials.jsonl

and summed up, for those reeds that every policy has finished with one and the same code, by::

    python benchmarks/bench_trials.py

which reads ``trials.jsonl`` beside the results, else ``trials.jsonl.gz``. Results go to
``benchmarks/results/trials.json``.
"""

from __future__ import annotations

import gzip
import json
import os
import platform
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from crowlight.invented.trials import POLICIES, TEST, VARIANTS, summarise
from crowlight.invented.trials.lines import complete, read_lines
from crowlight.invented.trials.seeds import PER_PLAYER

RESULTS = Path(__file__).parent / "results" / "trials.json"
LINES = (RESULTS.with_suffix(".jsonl"), RESULTS.with_suffix(".jsonl.gz"))


def ahead(lines: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    """Return how much oftener the planner succeeds than the fixed order on the same reeds.

    The error is that of the mean over players, as reeds of one player are not independent.
    """
    inside = {(line["policy"], line["seed"]): line["inside"] for line in lines}
    by_player: dict[int, list[float]] = {}
    for policy, seed in inside:
        if policy == "planner":
            more = float(inside["planner", seed]) - float(inside["fixed order", seed])
            by_player.setdefault(seed // PER_PLAYER, []).append(more)
    sums = np.array([sum(rows) for rows in by_player.values()])
    counts = np.array([len(rows) for rows in by_player.values()])
    share = sums.sum() / counts.sum()
    # of a ratio of sums: players may have different numbers of reeds
    error = float(np.sqrt(np.sum((sums - share * counts) ** 2)) / counts.sum())
    return {"share": float(share), "error": error}


def text_of(file: Path) -> str:
    """Return what a file holds, packed or not."""
    data = file.read_bytes()
    return (gzip.decompress(data) if file.suffix == ".gz" else data).decode("utf-8")


def main() -> None:
    given = [Path(name) for name in sys.argv[1:]] or [f for f in LINES if f.exists()][:1]
    lines = [line for file in given for line in read_lines(text_of(file))]
    lines = [line for line in lines if line["seed"] in TEST]
    policies = list(POLICIES)
    whole = complete(lines, policies, "usual")
    if not whole:
        print("no test reed was finished by every policy: run crowlight trials first")
        return
    sensitivity = {}
    for variant in VARIANTS:
        # the planner alone has anything to lose by them, beside doing nothing
        found = complete(lines, ["planner", "nothing"], variant)
        reeds = {line["seed"] for line in found}
        if variant == "usual":
            # the same reeds as the others, for comparison
            others = {x["seed"] for x in lines if x["variant"] != "usual"}
            found = [line for line in found if line["seed"] in others]
            reeds &= others
        if found:
            sensitivity[variant] = {"reeds": len(reeds), **summarise(found)}
    out = {
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, shared with other work",
        "asked": len(TEST),
        "reeds": len({line["seed"] for line in whole}),
        "code": whole[0]["code"] if whole else None,
        "ahead": ahead(whole),
        "policies": summarise(whole),
        "sensitivity": sensitivity,
    }
    RESULTS.write_text(json.dumps(out, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(out, indent=1))


if __name__ == "__main__":
    main()
