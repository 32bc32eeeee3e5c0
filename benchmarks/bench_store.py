"""How long lists, searches and reeds take with 10,000 reeds of 50 entries each.

Every time is the median of its repeats, next to a statement of raw `sqlite3` in the same run that
reads the same rows, so that the ratio says what our layers cost.

The goals are those of whole pages on the server; these are the records' share of them.

    python benchmarks/bench_store.py [--reeds 10000] [--postgresql ADDRESS-OF-AN-EMPTY-DATABASE]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID

from sqlalchemy import insert, select, text

from crowlight.bench.kinds import (
    Cut,
    Described,
    Lengths,
    Note,
    Opening,
    Payload,
    ReadingsTaken,
    Verdict,
    Wetting,
)
from crowlight.bench.ports import Batch, Maker, NewEntry, Player, ReedQuery
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.store import SqlRecords, open_records
from crowlight.store.rows import reading_row
from crowlight.store.schema import batch, entry, person, reading, reed, reed_summary
from crowlight.store.summary import refresh

ENTRIES = 50
READINGS = 24
START = datetime(2025, 1, 1, tzinfo=UTC)
#: What the job asks for [s].
GOALS = {"list": 0.100, "search": 0.050, "reed": 0.150}


class Clock:
    """The time of this machine."""

    def now(self) -> datetime:
        return datetime.now(UTC)


def payloads(rng: random.Random, number: int) -> list[Payload]:
    """Return what happened to one reed."""
    made: list[Payload] = [
        Described(
            thread_colour=rng.choice(["red", "dark blue", "grün", "white", "black"]),
            cork_number=str(number % 100),
            style=rng.choice(["long", "short-u", "short-v", "short-w"]),
        ),
        Lengths(overall=rng.uniform(0.069, 0.071), thread_top=0.047),
    ]
    while len(made) < ENTRIES:
        made.append(
            rng.choice(
                [
                    ReadingsTaken(),
                    ReadingsTaken(),
                    Cut(zone="tip", blades=(Blade.MARKED, Blade.PLAIN), depth=1e-5),
                    Opening(height=rng.uniform(0.4e-3, 0.8e-3)),
                    Verdict(words="a little stiff", grade=rng.randint(1, 5)),
                    Wetting(how="soaked", duration=120.0),
                    Note(text="left side of the heart is still brighter"),
                ]
            )
        )
    return made


def fill(records: SqlRecords, count: int, rng: random.Random) -> None:
    """Write `count` reeds past the checks: the port writes them one by one."""
    people: list[UUID] = []
    for number in range(40):
        people.append(uuid(rng))
        kind = Maker if number % 2 else Player
        records.add_person(kind(uuid=people[-1], name=f"Person {number} of Nowhere"))
    batches = [uuid(rng) for _ in range(count // 20 or 1)]
    for number, one in enumerate(batches):
        records.add_batch(Batch(uuid=one, name=f"Batch {number}"))
    with records.database.engine.connect() as connection:
        ids = connection.execute(select(person.c.id)).scalars().all()
        batch_ids = connection.execute(select(batch.c.id)).scalars().all()
    next_entry = 1
    for start in range(0, count, 500):
        rows: dict[str, list[dict[str, object]]] = {"reed": [], "entry": [], "reading": []}
        for number in range(start + 1, min(start + 500, count) + 1):
            rows["reed"].append(
                {
                    "id": number,
                    "uuid": uuid(rng),
                    "name": f"Reed {number}",
                    "maker": rng.choice(ids),
                    "player": rng.choice(ids),
                    "batch": rng.choice(batch_ids),
                    "invented": True,
                    "created_at": START,
                }
            )
            at = START + timedelta(minutes=rng.randint(0, 500_000))
            for seq, payload in enumerate(payloads(rng, number), start=1):
                at += timedelta(minutes=rng.uniform(1, 600))
                rows["entry"].append(
                    {
                        "id": next_entry,
                        "uuid": uuid(rng),
                        "reed": number,
                        "seq": seq,
                        "kind": payload.kind,
                        "version": 1,
                        "happened_at": at,
                        "recorded_at": at,
                        "by": rng.choice(ids),
                        "replaces": None,
                        "payload": payload.model_dump(mode="json"),
                    }
                )
                if payload.kind == "readings":
                    rows["reading"] += [
                        reading_row(next_entry, place, some_reading(rng))
                        for place in range(READINGS)
                    ]
                next_entry += 1
        with records.database.write() as connection:
            for table in (reed, entry, reading):
                connection.execute(insert(table), rows[table.name])
            for row in rows["reed"]:
                refresh(connection, int(str(row["id"])))
    with records.database.write() as connection:
        if records.database.path is None:
            for table in ("reed", "entry"):
                connection.execute(
                    text(
                        f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), "  # noqa: S608 - own names
                        f"(SELECT max(id) FROM {table}))"
                    )
                )
        connection.execute(text("ANALYZE"))


def uuid(rng: random.Random) -> UUID:
    return UUID(int=rng.getrandbits(128), version=4)


def some_reading(rng: random.Random) -> Reading:
    return Reading(
        Place(rng.choice(list(Blade)), rng.uniform(0.05, 0.07), rng.uniform(-3e-3, 3e-3)),
        rng.uniform(0.1e-3, 0.6e-3),
        state=CaneState.WET,
    )


def median_time(use: Callable[[], object], repeats: int = 25) -> float:
    use()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        use()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def measure(records: SqlRecords, count: int) -> dict[str, float]:
    """Return the median time of each use [s]."""
    chosen = records.reed(f"Reed {count // 2}").uuid
    queries = {
        "list": ReedQuery(),
        "list by name": ReedQuery(sort="name", descending=False),
        "list by length": ReedQuery(sort="length"),
        "list by grade, last page": ReedQuery(sort="grade", offset=count - 50),
        "list of a batch": ReedQuery(batch="Batch 3"),
        "search": ReedQuery(text="nowhere grun short"),
        "search for a name": ReedQuery(text=f"reed {count // 3}"),
        "search in vain": ReedQuery(text="no such reed anywhere"),
    }
    times = {
        name: median_time(lambda query=query: records.reeds(query))
        for name, query in queries.items()
    }
    times["reed"] = median_time(lambda: records.entries(chosen))
    times["reed by name"] = median_time(lambda: records.reed(f"Reed {count // 2}"))

    def write() -> None:
        note = NewEntry(uuid=UUID(bytes=os.urandom(16)), payload=Note(text="x"), happened_at=START)
        records.append(chosen, [note])

    times["append a note"] = median_time(write)
    return times


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reeds", type=int, default=10_000)
    parser.add_argument("--postgresql", help="address of an empty database")
    options = parser.parse_args()
    target = Path(__file__).parent / "results" / "store.json"
    target.parent.mkdir(exist_ok=True)
    found: dict[str, object] = json.loads(target.read_text()) if target.exists() else {}
    if options.postgresql:
        with open_records(options.postgresql, Clock()) as records:
            rows = measured(records, options.reeds, {})
        found["postgresql"] = about(options.reeds) | rows
    else:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "reeds.sqlite"
            with open_records(path, Clock()) as records:
                rows = measured(records, options.reeds, peers(path, options.reeds))
            facts = {"version": sqlite3.sqlite_version, "bytes": path.stat().st_size}
        found["sqlite"] = about(options.reeds) | facts | rows
    target.write_text(json.dumps(found, indent=2) + "\n")
    print(json.dumps(found, indent=2))


def about(count: int) -> dict[str, object]:
    """Name the machine and the size."""
    return {
        "machine": platform.platform(),
        "cores": os.cpu_count(),
        "load at the end": [round(load, 1) for load in os.getloadavg()],
        "python": platform.python_version(),
        "reeds": count,
        "entries each": ENTRIES,
    }


def peers(path: Path, count: int) -> dict[str, Callable[[], object]]:
    """Return what reads the same rows with `sqlite3` alone."""
    columns = ", ".join(f"reed_summary.{c.name}" for c in reed_summary.c)
    chosen = int(count) // 2
    statements = {
        "list": f"SELECT reed.uuid, reed.name, reed.invented, {columns} "  # noqa: S608 - own names
        f"FROM reed JOIN reed_summary ON reed.id = reed_summary.reed "
        f"ORDER BY last_at DESC LIMIT 50",
        "search": f"SELECT {columns} FROM reed_summary "  # noqa: S608 - own names
        f"WHERE search LIKE '%nowhere%' AND search LIKE '%grun%' "
        f"AND search LIKE '%short%' ORDER BY last_at DESC LIMIT 50",
        "reed": "SELECT entry.*, reading.* FROM entry "  # noqa: S608 - own names
        "LEFT JOIN reading ON reading.entry = entry.id "
        f"WHERE entry.reed = {chosen}",
    }

    def reads(statement: str) -> Callable[[], object]:
        def read() -> object:
            with closing(sqlite3.connect(path)) as connection:
                return connection.execute(statement).fetchall()

        return read

    return {name: reads(statement) for name, statement in statements.items()}


def measured(
    records: SqlRecords, count: int, others: dict[str, Callable[[], object]]
) -> dict[str, object]:
    """Fill the records and return every time in milliseconds."""
    start = time.perf_counter()
    fill(records, count, random.Random(1))  # noqa: S311 - invented data
    rows: dict[str, object] = {"filling [s]": round(time.perf_counter() - start, 1)}
    times = measure(records, count)
    return rows | report(times, {name: median_time(use) for name, use in others.items()})


def report(times: dict[str, float], peers: dict[str, float]) -> dict[str, dict[str, object]]:
    """Put times, goals and ratios to raw sqlite3 side by side."""
    rows: dict[str, dict[str, object]] = {}
    for name, seconds in times.items():
        rows[name] = {"milliseconds": round(seconds * 1e3, 2)}
        goal = GOALS.get(name.split()[0])
        if goal is not None:
            rows[name] |= {"goal": goal * 1e3, "met": seconds < goal}
        if name in peers:
            rows[name] |= {
                "sqlite3 alone": round(peers[name] * 1e3, 2),
                "ratio": round(seconds / peers[name], 1),
            }
    return rows


if __name__ == "__main__":
    main()
