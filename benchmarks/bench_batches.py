"""How long a batch of 60 reeds takes on its page, and the figures of 10,000 reeds.

The page is asked for once its reeds have been measured out; next to it stands the use case alone,
and a new answer after one reed changed. Figures are counted anew every time; next to them stands
the time the same entries take to be read into models, in the same run.

    python benchmarks/bench_batches.py [--reeds 10000]
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import httpx
import numpy as np
from bench_store import Clock
from sqlalchemy import insert

sys.path.insert(0, str(Path(__file__).parents[1]))
from tests.batch_reeds import make_batch, tips

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Note, Verdict
from crowlight.bench.making import KINDS_LOOKED_AT
from crowlight.bench.workshop_kinds import CaneTube, Minutes, Outcome, Played, ShapedWith, Stage
from crowlight.store import SqlRecords, open_records
from crowlight.store.schema import entry, reed
from crowlight.web import create_app
from crowlight.wiring import open_desk

START = datetime(2026, 1, 1, tzinfo=UTC)
Row = dict[str, float | bool]


def median_ms(use: Callable[[], object], repeats: int = 9) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        use()
        times.append(time.perf_counter() - start)
    return round(1e3 * statistics.median(times), 1)


def once_ms(use: Callable[[], object]) -> float:
    start = time.perf_counter()
    use()
    return round(1e3 * (time.perf_counter() - start), 1)


def batch_times(folder: Path) -> dict[str, Row]:
    with open_desk(folder) as desk:
        maker = desk.people.add_maker("Big maker", hand="left").uuid
        grades = [1 + i % 5 for i in range(60)]
        batch = make_batch(desk, "Sixty", faults=[tips(15e-6)] * 60, grades=grades, maker=maker)
        first = once_ms(lambda: desk.batches.of(batch))
        kept = median_ms(lambda: desk.batches.of(batch))
        page, size = page_ms(desk, batch)
        desk.write("Sixty 7", Note(text="changed"))
        changed = once_ms(lambda: desk.batches.of(batch))
    return {
        "batch page of 60 reeds": row(page, "use case alone", kept, 400.0) | {"bytes": size},
        "60 reeds, first look": {"milliseconds": first},
        "60 reeds, one of them changed": {"milliseconds": changed},
    }


def page_ms(desk: Desk, batch: UUID) -> tuple[float, int]:
    app, loop = create_app(desk), asyncio.new_event_loop()
    client = httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1:8000")

    def get() -> httpx.Response:
        answer = loop.run_until_complete(client.get(f"/batches/{batch}"))
        assert answer.status_code == 200, answer.text[-700:]
        return answer

    size = len(get().content)
    return median_ms(get), size


def fill(records: SqlRecords, count: int) -> None:
    """Write the way of `count` reeds past the checks: the port writes them one by one."""
    rng = np.random.default_rng(1)
    rows: dict[str, list[dict[str, object]]] = {"reed": [], "entry": []}
    for i in range(count):
        good = bool(rng.random() < 0.7)
        payloads = (
            Stage(stage="sold" if good else "scraped"),
            Minutes(duration=float(rng.gamma(4.0, 600.0)), cost=3.0, currency="EUR"),
            Outcome(outcome="sellable" if good else "given-up", reason="" if good else "crack"),
            Verdict(grade=int(rng.integers(1, 6))),
            Played(duration=float(rng.exponential(5e4)) + 60.0),
            CaneTube(lot=f"lot {i % 7}"),
            ShapedWith(tool=f"shape {i % 3}"),
        )
        at = START + timedelta(minutes=i)
        rows["reed"].append(
            {
                "id": i + 1,
                "uuid": uuid4(),
                "name": f"Reed {i}",
                "maker": None,
                "player": None,
                "batch": None,
                "invented": True,
                "created_at": at,
            }
        )
        rows["entry"] += [
            {
                "uuid": uuid4(),
                "reed": i + 1,
                "seq": seq,
                "kind": payload.kind,
                "version": 1,
                "happened_at": at,
                "recorded_at": at,
                "by": None,
                "replaces": None,
                "payload": payload.model_dump(mode="json"),
            }
            for seq, payload in enumerate(payloads, start=1)
        ]
    with records.database.write() as connection:
        for table in (reed, entry):
            connection.execute(insert(table), rows[table.name])


def figures_times(folder: Path, count: int) -> dict[str, Row]:
    records = open_records(folder / "reeds.sqlite", Clock())
    fill(records, count)
    with open_desk(folder) as opened:
        desk = replace(opened, records=records)
        assert desk.batches.figures().reeds == count
        figures = median_ms(desk.batches.figures, 5)
        models = once_ms(lambda: desk.records.entries_of_kinds(KINDS_LOOKED_AT))
    return {"figures": row(figures, "the same entries read into models", models, 2000.0)}


def row(ms: float, peer: str, peer_ms: float, goal: float) -> Row:
    return {
        "milliseconds": ms,
        peer: peer_ms,
        "ratio": round(ms / peer_ms, 2),
        "goal": goal,
        "met": ms <= goal,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reeds", type=int, default=10_000)
    count = parser.parse_args().reeds
    with tempfile.TemporaryDirectory() as folder:
        found = batch_times(Path(folder) / "batch") | figures_times(Path(folder), count)
    result = {
        "machine": platform.platform(),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "load at the end": os.getloadavg()[0],
        "reeds": count,
        "batches": found,
    }
    text = json.dumps(result, indent=2)
    (Path(__file__).parent / "results" / "batches.json").write_text(text + "\n", encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
