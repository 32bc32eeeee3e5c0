"""``crowlight trials``: the advice against fixed rivals, on invented reeds."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import chain
from pathlib import Path
from typing import Annotated, Any

import typer

__all__ = ["trials"]

_Job = tuple[list[dict[str, Any]], list[str], list[int], str]


def trials(
    seeds: Annotated[
        int, typer.Option(help="How many invented reeds, from the first.", min=1, max=500)
    ] = 500,
    policy: Annotated[
        list[str] | None, typer.Option(help="Only this way of finishing reeds; may be repeated.")
    ] = None,
    variant: Annotated[
        str,
        typer.Option(
            help="usual; or with something wrong: material law off, no sound, half the points, "
            "unlike cane, gauge worse than it says, all of it."
        ),
    ] = "usual",
    to: Annotated[Path, typer.Option(help="File the results are added to, one line each.")] = Path(
        "crowlight-trials.jsonl"
    ),
    processes: Annotated[int, typer.Option(help="Processes, one core each.", min=1)] = 1,
    scheduler: Annotated[
        str, typer.Option(help="Use the workers of this Dask scheduler, on other machines too.")
    ] = "",
    development: Annotated[
        bool, typer.Option("--development", help="Use the 60 reeds the advice was developed on.")
    ] = False,
    summary: Annotated[
        bool, typer.Option("--summary", help="Run nothing; sum up what the file holds.")
    ] = False,
) -> None:
    """Try the advice and its rivals on invented reeds; says nothing about real ones.

    Ctrl-C loses nothing: the same command goes on where it stopped.
    """
    import json

    from crowlight.invented.trials import DEVELOPMENT, POLICIES, TEST, VARIANTS, summarise
    from crowlight.invented.trials.lines import complete, read_lines

    chosen = list(policy or POLICIES)
    for name in chosen:
        if name not in POLICIES:
            msg = f"{name!r} is none of: {', '.join(POLICIES)}"
            raise typer.BadParameter(msg)
    if variant not in VARIANTS:
        msg = f"{variant!r} is none of: {', '.join(VARIANTS)}"
        raise typer.BadParameter(msg)
    if not summary:
        numbers = list((DEVELOPMENT if development else TEST)[:seeds])
        _run(to, chosen, numbers, variant, processes, scheduler)
    kept = read_lines(to.read_text(encoding="utf-8")) if to.exists() else []
    found = summarise(complete(kept, chosen, variant))
    typer.echo(json.dumps(found, indent=1))


def _run(
    to: Path, policies: list[str], seeds: list[int], variant: str, processes: int, scheduler: str
) -> None:
    """Run what is missing and add it to the file, line by line."""
    import json

    from crowlight.invented.trials.lines import read_lines
    from crowlight.invented.trials.seeds import PER_PLAYER

    have: dict[int, list[dict[str, Any]]] = {}
    for line in read_lines(to.read_text(encoding="utf-8")) if to.exists() else []:
        have.setdefault(line["seed"] // PER_PLAYER, []).append(line)
    to.parent.mkdir(parents=True, exist_ok=True)
    # all reeds of one player in one process, which has then solved the loved reed once
    jobs: list[_Job] = [
        (have.get(player, []), policies, [s for s in seeds if s // PER_PLAYER == player], variant)
        for player in sorted({s // PER_PLAYER for s in seeds})
    ]
    written = 0
    with to.open("a+", encoding="utf-8") as file, _running(jobs, processes, scheduler) as results:
        if _ends_within_a_line(to):
            file.write("\n")  # an earlier run was killed while it wrote
        try:
            for line in results:
                file.write(json.dumps(line) + "\n")
                file.flush()
                written += 1
                typer.echo(f"{line['seed']} {line['policy']}", err=True)
        except KeyboardInterrupt:
            typer.echo(f"stopped; {written} results are kept in {to}", err=True)
            raise typer.Exit(130) from None


@contextmanager
def _running(
    jobs: list[_Job], processes: int, scheduler: str
) -> Iterator[Iterator[dict[str, Any]]]:
    """Give the results as they come: from here, from processes of this machine, or from others."""
    if scheduler:
        from crowlight.invented.trials import code_digest
        from crowlight.wiring.cluster import over_cluster

        with closing(over_cluster(scheduler, _job, jobs, same=code_digest)) as answers:
            yield chain.from_iterable(answers)
    elif processes == 1:
        yield (line for job in jobs for line in _lines_of(job))
    else:
        from multiprocessing import get_context

        with get_context("spawn").Pool(processes) as pool:
            yield chain.from_iterable(pool.imap_unordered(_job, jobs))


def _ends_within_a_line(file: Path) -> bool:
    text = file.read_bytes()
    return bool(text) and not text.endswith(b"\n")


def _lines_of(job: _Job) -> Iterator[dict[str, Any]]:
    from crowlight.invented.trials.lines import run_missing

    have, policies, seeds, variant = job
    return run_missing(have, policies=policies, seeds=seeds, variant=variant)


def _job(job: _Job) -> list[dict[str, Any]]:
    return list(_lines_of(job))
