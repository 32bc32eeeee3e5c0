"""Results as lines of a file: one JSON object for each policy, seed, variant and code digest."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from crowlight.invented.trials.digest import code_digest
from crowlight.invented.trials.run import run_one

__all__ = ["complete", "read_lines", "run_missing"]

Line = Mapping[str, Any]


def _key(line: Line) -> tuple[str, int, str, str]:
    return line["policy"], line["seed"], line["variant"], line["code"]


def read_lines(text: str) -> list[dict[str, Any]]:
    r"""Return the results in a file; half a line at its end, from a run that was killed, is none.

    Examples
    --------
    >>> read_lines('{"seed": 1}\n{"se')
    [{'seed': 1}]
    """
    found: list[dict[str, Any]] = []
    for row in text.split("\n"):
        try:
            found.append(json.loads(row))
        except json.JSONDecodeError:
            continue
    return [x for x in found if isinstance(x, dict)]


def run_missing(
    have: Iterable[Line],
    *,
    policies: Sequence[str],
    seeds: Sequence[int],
    variant: str = "usual",
    report: Callable[[float], None] | None = None,
) -> Iterator[dict[str, Any]]:
    """Run what is not there yet, reed by reed, all policies on each, and yield the results.

    Parameters
    ----------
    have : iterable of mapping
        Results there are; those of other code do not count.
    policies, seeds : sequence
        What is wanted.
    variant : str
        A key of `VARIANTS`.
    report : callable
        Called with the share done; may raise `Cancelled`.
    """
    code, tell = code_digest(), report or (lambda _: None)
    there = {_key(line) for line in have}
    for i, seed in enumerate(seeds):
        for k, policy in enumerate(policies):
            tell((i + k / len(policies)) / len(seeds))
            if (policy, seed, variant, code) not in there:
                yield {**run_one(policy, seed, variant), "code": code}
    tell(1.0)


def complete(lines: Iterable[Line], policies: Sequence[str], variant: str) -> list[Line]:
    """Return the results of those seeds that every policy was run on, with one and the same code.

    The code with most such seeds is taken; a later line replaces an earlier one of its key.
    """
    by_code: dict[str, dict[tuple[str, int], Line]] = {}
    for line in lines:
        if line["variant"] == variant and line["policy"] in policies:
            by_code.setdefault(line["code"], {})[line["policy"], line["seed"]] = line
    best: list[Line] = []
    for rows in by_code.values():
        seeds = {seed for _, seed in rows}
        whole = {s for s in seeds if all((p, s) in rows for p in policies)}
        kept = [row for (_, seed), row in rows.items() if seed in whole]
        if len(kept) > len(best):
            best = kept
    return best
