"""How long the pages take on the server with 10,000 reeds of 50 entries each.

Every time is the median of its repeats of one whole request, straight into the application; next
to it stands the time of the use case alone in the same run, so that the ratio says what the page
itself costs. A reed is judged once and the judgement kept: the first look at a reed is stated on
its own.

The first page is also opened in Chromium, served on this machine, with nothing in the browser's
store: from asking for it until its scripts have run. Next to it stands a text file of the same
server, opened in the same run.

    python benchmarks/bench_pages.py [--reeds 10000]
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import platform
import random
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from uuid import UUID

import httpx
import uvicorn
from bench_store import GOALS, Clock, fill
from fastapi import FastAPI
from playwright.sync_api import sync_playwright

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Note
from crowlight.bench.ports import ReedQuery
from crowlight.reed.styles import style
from crowlight.store import open_records
from crowlight.web import create_app
from crowlight.wiring import open_desk


def median_ms(use: Callable[[], object], repeats: int = 21) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        use()
        times.append(time.perf_counter() - start)
    return round(1e3 * statistics.median(times), 2)


def judged_reed(desk: Desk, number: int) -> UUID:
    """Write a reed with 48 readings that a map is drawn from, and 48 notes; return its uuid."""
    long = style("long").placed(0.0702)
    rows = [f"# reed: Judged {number}\n# length_mm: 70.2\n# style: long\n# state: wet"]
    rows.append("blade,from_rim_mm,across_mm,thickness_mm")
    for blade in ("marked", "plain"):
        for p in (long.full * 2)[:24]:
            thick = float(long.thickness(p.along, p.across)) * 1e3 + 0.001 * number
            rows.append(f"{blade},{p.along * 1e3:.2f},{p.across * 1e3:.2f},{thick:.3f}")
    found = desk.import_table("\n".join(rows).encode(), name="judged.csv").reed.uuid
    for note in range(48):
        desk.write(found, Note(text=f"note {note}"))
    return found


def measure(folder: Path, count: int) -> dict[str, dict[str, float | bool]]:
    records = open_records(folder / "reeds.sqlite", Clock())
    fill(records, count, random.Random(1))  # noqa: S311  (made-up rows, no secret)
    with open_desk(folder) as opened:
        desk = replace(opened, records=records)
        app = create_app(desk)
        judged = [judged_reed(desk, n) for n in range(6)]
        loop = asyncio.new_event_loop()
        client = httpx.AsyncClient(
            transport=httpx.ASGITransport(app), base_url="http://127.0.0.1:8000"
        )

        def get(path: str) -> None:
            answer = loop.run_until_complete(client.get(path))
            assert answer.status_code == 200, answer.text[-700:]

        get("/")  # templates are read once
        uuid, others = judged[0], iter(judged[1:])
        found: dict[str, dict[str, float | bool]] = {}
        first = median_ms(lambda: get(f"/reeds/{next(others)}"), 5)
        get(f"/reeds/{uuid}")
        cases: dict[str, tuple[float, Callable[[], object], Callable[[], object]]] = {
            "list": (GOALS["list"], lambda: get("/"), lambda: desk.reeds(ReedQuery())),
            "search": (
                GOALS["search"],
                lambda: get("/?q=nowhere"),
                lambda: desk.reeds(ReedQuery(text="nowhere")),
            ),
            "reed": (GOALS["reed"], lambda: get(f"/reeds/{uuid}"), lambda: desk.sheet(uuid)),
        }
        for name, (goal, page, use_case) in cases.items():
            whole, alone = median_ms(page), median_ms(use_case)
            found[name] = {
                "milliseconds": whole,
                "use case alone": alone,
                "ratio": round(whole / alone, 2),
                "goal": goal * 1e3,
                "met": whole <= goal * 1e3,
            }
        found["reed, first look"] = {"milliseconds": first}
        found["list, in a browser"] = in_browser(app)
        loop.run_until_complete(client.aclose())
        loop.close()
    records.close()
    return found


USABLE = 300.0
"""Goal for the first page in a browser [ms]."""
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


def in_browser(app: FastAPI, repeats: int = 11) -> dict[str, float | bool]:
    """Return how long the first page takes until its scripts have run, beside a text file."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
        thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            times: dict[str, list[float]] = {"/": [], "/sw.js": []}
            for path in list(times) * (repeats + 1):
                context = browser.new_context()
                page = context.new_page()
                page.goto(address + path)
                times[path].append(
                    page.evaluate(
                        "performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
                    )
                )
                context.close()
            browser.close()
        server.should_exit = True
        thread.join(timeout=10)
    page, text = (statistics.median(times[path][1:]) for path in ("/", "/sw.js"))
    return {
        "milliseconds": round(page, 1),
        "slowest": round(max(times["/"][1:]), 1),
        "text file": round(text, 1),
        "ratio": round(page / text, 2),
        "goal": USABLE,
        "met": page <= USABLE,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reeds", type=int, default=10_000)
    count = parser.parse_args().reeds
    with tempfile.TemporaryDirectory() as folder:
        found = measure(Path(folder), count)
    result = {
        "machine": platform.platform(),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "load at the end": os.getloadavg()[0],
        "reeds": count,
        "pages": found,
    }
    text = json.dumps(result, indent=2)
    print(text)
    results = Path(__file__).parent / "results"
    results.mkdir(exist_ok=True)
    (results / "pages.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
