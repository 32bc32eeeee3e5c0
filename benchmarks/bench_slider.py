"""How long from moving a slider of the what-if panel to the prediction being redrawn.

In Chromium, over pages served on this machine, for a reed of a long scrape whose blades were solved
before. Each step moves the slider of the depth and waits until the browser has painted; next to it
stands a bare number that is changed and painted in the same page and run, so that the difference
says what the prediction itself costs. The goal is the 95th percentile of the whole.

    python benchmarks/bench_slider.py [--steps 200]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from bench_pages import judged_reed
from fastapi import FastAPI
from playwright.sync_api import Page, sync_playwright

from crowlight.web import create_app
from crowlight.wiring import open_desk

GOAL = 60.0
"""95th percentile from slider to redrawn prediction [ms]."""
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]

MOVES = """async ([steps, bare]) => {
  const painted = () => new Promise((done) => requestAnimationFrame(() => {
    const after = new MessageChannel();
    after.port1.onmessage = done;
    after.port2.postMessage(0);
  }));
  const slider = document.querySelector('.slider[data-for=depth]');
  const told = document.querySelector('tr[data-output=closing_pressure] .after');
  const number = document.body.appendChild(document.createElement('output'));
  document.querySelector('#f-zone').value = 'heart';
  const times = [], seen = new Set();
  for (let n = 0; n < steps; n += 1) {
    await painted();
    const start = performance.now();
    if (bare) {
      number.textContent = String(n);
    } else {
      slider.value = String(0.1 + (n % 50) / 10);
      slider.dispatchEvent(new Event('input', { bubbles: true }));
      seen.add(told.textContent);
    }
    await painted();
    times.push(performance.now() - start);
  }
  number.remove();
  return [times, seen.size];
}"""


@contextmanager
def served_at(app: FastAPI) -> Iterator[str]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
        thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        server.should_exit = True
        thread.join(timeout=10)


def percentile(times: list[float], share: float) -> float:
    return round(statistics.quantiles(times, n=100)[round(100 * share) - 1], 1)


def moved(page: Page, steps: int) -> dict[str, dict[str, float | bool]]:
    found: dict[str, dict[str, float | bool]] = {}
    for name, bare in (("slider to redrawn prediction", False), ("a bare number, redrawn", True)):
        times, seen = page.evaluate(MOVES, [steps, bare])
        if not bare and seen < steps // 10:
            msg = f"only {seen} predictions were drawn in {steps} steps"
            raise RuntimeError(msg)
        found[name] = {
            "median_milliseconds": round(statistics.median(times), 1),
            "p95_milliseconds": percentile(times, 0.95),
            "steps": steps,
        }
    whole = found["slider to redrawn prediction"]
    whole["goal_p95"] = GOAL
    whole["met"] = whole["p95_milliseconds"] <= GOAL
    peer = found["a bare number, redrawn"]["median_milliseconds"]
    whole["ratio_to_bare"] = round(whole["median_milliseconds"] / peer, 2)
    return found


def measure(folder: Path, steps: int) -> dict[str, dict[str, float | bool]]:
    with open_desk(folder) as desk:
        reed = judged_reed(desk, 0)
        start = time.perf_counter()
        desk.models.blades(reed)
        desk.models.leverage(reed)
        solved = time.perf_counter() - start
        with served_at(create_app(desk)) as address, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            page = browser.new_page()
            page.goto(f"{address}/reeds/{reed}/blades")
            page.locator(".slider:visible").first.wait_for()
            found = moved(page, steps)
            browser.close()
    found["blades and levers, solved once"] = {"seconds": round(solved, 1)}
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=200)
    steps = parser.parse_args().steps
    with tempfile.TemporaryDirectory() as folder:
        found = measure(Path(folder), steps)
    result = {
        "machine": platform.platform(),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "load at the end": os.getloadavg()[0],
        "slider": found,
    }
    text = json.dumps(result, indent=2)
    print(text)
    results = Path(__file__).parent / "results"
    results.mkdir(exist_ok=True)
    (results / "slider.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
