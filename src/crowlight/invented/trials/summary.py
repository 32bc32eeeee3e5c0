"""What the lines of a trial come to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from crowlight.invented.trials.seeds import PER_PLAYER

__all__ = ["summarise"]


def summarise(lines: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the summary of each policy.

    Parameters
    ----------
    lines : iterable of mapping
        Results of `run_one`.

    Returns
    -------
    dict
        By policy: ``n``, ``success``, ``success_curable``, ``ruined``, ``cane_removed`` (mean
        mm³), ``cuts``, ``minutes``, ``convergence`` (share of the remaining distance removed by a
        cut), ``coverage50``, ``coverage80``, ``predictions``, ``top1``, ``top3``, and standard
        errors of shares.
    """
    by: dict[str, list[Mapping[str, Any]]] = {}
    for line in lines:
        by.setdefault(line["policy"], []).append(line)
    return {policy: _of(rows) for policy, rows in by.items()}


def _of(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    n = len(rows)
    inside = np.array([r["inside"] for r in rows])
    outside = [r for r in rows if not r["inside_at_first"]]
    curable = [r for r in outside if r["curable"]]
    found = {
        "n": n,
        "success": _share(inside),
        "success_error": _error(inside, [r["seed"] // PER_PLAYER for r in rows]),
        "inside_at_first": _share([r["inside_at_first"] for r in rows]),
        "success_of_curable_outside": _share([r["inside"] for r in curable]),
        "spoilt_of_inside": _share([not r["inside"] for r in rows if r["inside_at_first"]]),
        "ruined": sum(r["ruined"] is not None for r in rows),
        "ruined_by": _counts(r["ruined"] for r in rows if r["ruined"]),
        "cane_removed": _mean([r["cane_mm3"] for r in rows]),
        "cuts": _mean([r["cuts"] for r in rows]),
        "minutes": _mean([r["minutes"] for r in rows]),
        "nights": _mean([r["nights"] for r in rows]),
        "convergence": _convergence(outside),
        "worse": _share([r["distance"] > r["distance_at_first"] + 0.25 for r in rows]),
    }
    pits = np.array([p for r in rows for _, p in r["pits"]])
    if len(pits):
        found |= {
            "predictions": len(pits),
            "coverage50": _share(np.abs(pits - 0.5) <= 0.25),
            "coverage80": _share(np.abs(pits - 0.5) <= 0.40),
            "by_output": {
                name: {
                    "n": int(sum(m == name for r in rows for m, _ in r["pits"])),
                    "coverage50": _share(
                        [abs(p - 0.5) <= 0.25 for r in rows for m, p in r["pits"] if m == name]
                    ),
                    "coverage80": _share(
                        [abs(p - 0.5) <= 0.40 for r in rows for m, p in r["pits"] if m == name]
                    ),
                }
                for name in sorted({m for r in rows for m, _ in r["pits"]})
            },
        }
    named = [r for r in rows if r["named"] is not None and r["faults"]]
    if named:
        ranks = [_rank(r) for r in named]
        found |= {
            "findings": len(ranks),
            "top1": _share([k == 1 for k in ranks]),
            "top3": _share([0 < k <= 3 for k in ranks]),
            "named": _share([any(x[3] in ("fair", "strong") for x in r["named"]) for r in named]),
        }
    sound = [r for r in rows if r["named"] is not None and not r["faults"]]
    if sound:
        found["named_on_sound_reeds"] = _share(
            [any(x[3] in ("fair", "strong") for x in r["named"]) for r in sound]
        )
    return found


def _rank(row: Mapping[str, Any]) -> int:
    """Return the rank of the first true finding; 0 if none is among the first five.

    On a reed whose every fault is too faint for a gauge, "cannot tell" is right: nothing with fair
    support, unless it is the fault.
    """
    true = [tuple(f[:3]) for f in row["faults"] if not f[4]]
    ranked = [tuple(x[:3]) for x in row["named"]]
    if not true:
        faint = [tuple(f[:3]) for f in row["faults"]]
        said = [tuple(x[:3]) for x in row["named"] if x[3] in ("fair", "strong")]
        return 1 if all(x in faint for x in said) else 0
    return next((i + 1 for i, x in enumerate(ranked) if x in true), 0)


def _convergence(rows: Sequence[Mapping[str, Any]]) -> dict[str, float | None]:
    """Share of the remaining distance each cut removed: overall per cut, and quartiles of cuts."""
    cut = [r for r in rows if r["cuts"]]
    if not cut:
        return {"per_cut": None, "lower": None, "median": None, "upper": None}
    left = [np.log(max(r["distance"], 1e-3) / max(r["distance_at_first"], 1e-3)) for r in cut]
    total = 1.0 - np.exp(np.sum(left) / sum(r["cuts"] for r in cut))
    shares = [s for r in cut for s in r["shares"]]
    low, middle, high = np.quantile(shares, [0.25, 0.5, 0.75])
    return {
        "per_cut": round(float(total), 4),
        "lower": round(float(low), 4),
        "median": round(float(middle), 4),
        "upper": round(float(high), 4),
    }


def _share(values: Any) -> float | None:
    x = np.asarray(list(values), float)
    return round(float(x.mean()), 4) if len(x) else None


def _mean(values: Sequence[float]) -> float:
    return round(float(np.mean(values)), 4)


def _error(values: Any, players: Sequence[int]) -> float:
    """Return the standard error of a mean, the reeds of one player hanging together."""
    x, of = np.asarray(values, float), np.asarray(players)
    off = x - x.mean()
    sums = np.array([off[of == player].sum() for player in np.unique(of)])
    return round(float(np.sqrt((sums**2).sum()) / len(x)), 4)


def _counts(values: Iterable[str]) -> dict[str, int]:
    out: dict[str, int] = {}
    for v in values:
        out[v] = out.get(v, 0) + 1
    return out
