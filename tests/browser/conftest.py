"""A real Chromium, driven over pages served on a free port of this machine."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    Playwright,
    expect,
    sync_playwright,
)
from tests.canned_models import CannedJobs

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Described, Note, Opening
from crowlight.bench.ports import Jobs
from crowlight.web import create_app
from crowlight.wiring import open_desk

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


#: How long a page may take, on a machine that others use too [ms].
PATIENCE = 30_000
expect.set_options(timeout=PATIENCE)

#: What the browser itself says of answers like 422, and of a service worker without a server.
_ITS_OWN = ("Failed to load resource", "An unknown error occurred when fetching the script.")


@dataclass(frozen=True)
class Served:
    """Pages being served."""

    address: str
    desk: Desk
    reed: str


def table() -> str:
    """Return readings of an invented reed, one tip corner and one heart side too thick."""
    rows = ["# reed: Gull 7", "# length_mm: 70.2", "# thread_top_mm: 47", "# state: wet"]
    rows.append("blade,from_tip_mm,across_mm,thickness_mm")
    for blade in ("marked", "plain"):
        for tip, out, thick in ((1, 2.5, 0.08), (3, 2.5, 0.12), (6, 2, 0.42), (9, 2, 0.44)):
            for side in (-1, 0, 1):
                uneven = 0.09 if blade == "marked" and side < 0 and tip in (1, 6) else 0.0
                if blade == "plain" and tip == 9 and side > 0:
                    continue
                rows.append(f"{blade},{tip},{side * out},{thick + uneven:.2f}")
    return "\n".join(rows)


def fill(desk: Desk) -> str:
    """Write a reed with a bit of everything; return its address."""
    done = desk.import_table(table().encode(), name="gull.csv", invented=True)
    desk.write("Gull 7", Described(thread_colour="dark red", cork_number="7", style="long"))
    hostile = "<script>document.title='taken'</script> \u202eright to left\u202c \u200f"
    desk.write("Gull 7", Note(text=hostile))
    wrong = desk.write("Gull 7", Opening(height=0.9e-3)).entries[0]
    desk.withdraw("Gull 7", wrong.uuid, reason="wrong reed")
    desk.add_reed("<b>Tern</b>")
    return f"/reeds/{done.reed.uuid}"


@contextmanager
def serving(folder: Path, *, filled: bool, jobs: Jobs | None = None) -> Iterator[Served]:
    with open_desk(folder, jobs=jobs) as desk:
        reed = fill(desk) if filled else ""
        with socket.socket() as listener:
            listener.bind(("127.0.0.1", 0))
            address = f"http://127.0.0.1:{listener.getsockname()[1]}"
            config = uvicorn.Config(create_app(desk), log_level="warning", access_log=False)
            server = uvicorn.Server(config)
            thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
            thread.start()
            while not server.started and thread.is_alive():
                time.sleep(0.02)
            try:
                yield Served(address, desk, reed)
            finally:
                server.should_exit = True
                thread.join(timeout=10)


@pytest.fixture(scope="session")
def playing() -> Iterator[Playwright]:
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def chromium(playing: Playwright) -> Iterator[Browser]:
    if not CHROMIUM.exists():
        pytest.fail(
            f"{CHROMIUM} is missing; install it: "
            "sudo apt-get install --yes --no-install-recommends chromium"
        )
    browser = playing.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Pages with reeds on them, for tests that only look."""
    with serving(tmp_path_factory.mktemp("filled"), filled=True) as served:
        yield served


@pytest.fixture
def canned() -> CannedJobs:
    """Return jobs that answer for the models at once."""
    return CannedJobs()


@pytest.fixture
def modelled(tmp_path: Path, canned: CannedJobs) -> Iterator[Served]:
    """Pages over canned answers of the models."""
    with serving(tmp_path / "modelled", filled=True, jobs=canned) as served:
        yield served


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Served]:
    """Pages of this test alone, for tests that write."""
    with serving(tmp_path, filled=True) as served:
        yield served


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Served]:
    """Pages without any reed."""
    with serving(tmp_path / "empty", filled=False) as served:
        yield served


def until_seen(page: Page) -> None:
    """Load the pictures that are put off too, and wait until each is whole and has a size.

    `HTMLImageElement.decode` says less: it also rejects when the browser drops what it decoded.
    """
    page.evaluate("[...document.images].forEach((i) => { i.loading = 'eager'; })")
    page.wait_for_function("() => [...document.images].every((i) => i.complete)")
    broken = page.evaluate(
        "[...document.images].filter((i) => !(i.naturalWidth > 0)).map((i) => i.currentSrc)"
    )
    assert not broken, broken


def until_kept(page: Page, path: str) -> None:
    """Wait until the service worker keeps the page of this path."""
    page.evaluate(
        """async (path) => {
             for (let n = 0; n < 300; n += 1) {
               const keys = await (await caches.open('pages')).keys();
               if (keys.some((k) => new URL(k.url).pathname === path)) return;
               await new Promise((done) => setTimeout(done, 50)); }
             throw new Error(`${path} is not kept`); }""",
        path,
    )


@pytest.fixture
def window(chromium: Browser, window_of: Callable[..., Callable[..., Page]]) -> Callable[..., Page]:
    """Return a function that opens a browser window of its own; see `window_of`."""
    return window_of(chromium)


@pytest.fixture
def window_of() -> Iterator[Callable[[Browser], Callable[..., Page]]]:
    """Return a function that returns, for a browser, one that opens a window of its own.

    At the end of the test, whatever its pages complained of in the console makes it fail: a
    blocked script or style among them.
    """
    opened: list[BrowserContext] = []
    complaints: list[str] = []

    def open_window(
        browser: Browser, width: int = 1440, scheme: str = "light", **more: object
    ) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme=scheme,
            **more,  # pyright: ignore[reportArgumentType]
        )
        context.set_default_timeout(PATIENCE)
        opened.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console",
            lambda m: (
                complaints.append(m.text)
                if m.type in {"error", "warning"} and not m.text.startswith(_ITS_OWN)
                else None
            ),
        )
        return page

    yield lambda browser: partial(open_window, browser)
    for context in opened:
        context.close()
    assert complaints == []
