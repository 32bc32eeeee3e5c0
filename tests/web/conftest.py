"""The pages on records of this test alone, and a reader of their forms."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from crowlight.bench.desk import Desk
from crowlight.reed.styles import style
from crowlight.web import create_app
from crowlight.wiring import open_desk

TABLE = """\
# reed: Gull 7
# length_mm: 70.2
# thread_top_mm: 47
# state: wet
blade,from_tip_mm,across_mm,thickness_mm
marked,1,-2.5,0.19
marked,1,2.5,0.07
plain,1,-2.5,0.07
plain,1,2.5,0.07
marked,6,-2,0.44
marked,6,0,0.46
marked,6,2,0.44
plain,6,-2,0.44
plain,6,0,0.46
"""


def styled_table(name: str = "Ruff") -> str:
    """Return readings of every standard point of a long scrape, exactly as the style has them."""
    long = style("long").placed(0.0702)
    rows = [f"# reed: {name}", "# length_mm: 70.2", "# thread_top_mm: 47", "# state: wet"]
    rows += ["# style: long", "blade,from_rim_mm,across_mm,thickness_mm"]
    rows += [
        f"{b},{p.along * 1e3:.3f},{p.across * 1e3:.3f},"
        f"{float(long.thickness(p.along, p.across)) * 1e3:.3f}"
        for b in ("marked", "plain")
        for p in long.full
    ]
    return "\n".join(rows)


class _Forms(HTMLParser):
    """Collects what a browser would send with the form that posts."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.fields: dict[str, list[str]] = {}
        self.action = ""
        self._inside = False
        self._select = ""
        self._area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        a = dict(attrs)
        if tag == "form" and a.get("method") == "post":
            self._inside, self.action = True, a.get("action") or ""
        if not self._inside:
            return
        name = a.get("name") or ""
        if tag == "input" and name:
            kind = a.get("type", "text")
            if kind in {"radio", "checkbox"}:
                if "checked" in a:
                    self.fields.setdefault(name, []).append(a.get("value") or "")
            elif kind != "file":
                self.fields.setdefault(name, []).append(a.get("value") or "")
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select:
            if "selected" in a or self._select not in self.fields:
                self.fields[self._select] = [a.get("value") or ""]
        elif tag == "textarea":
            self._area = name
            self.fields[name] = [""]

    def handle_data(self, data: str) -> None:
        if self._area:
            self.fields[self._area][0] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
        elif tag == "select":
            self._select = ""
        elif tag == "textarea" and self._area:
            self.fields[self._area][0] = self.fields[self._area][0].removeprefix("\n")
            self._area = ""


def fields_of(page: httpx.Response) -> dict[str, list[str]]:
    """Return what a browser would send with the form of a page."""
    forms = _Forms()
    forms.feed(page.text)
    return forms.fields


def _run(question: Coroutine[Any, Any, httpx.Response]) -> httpx.Response:
    """Run a coroutine in a thread of its own: a real browser's loop may be running in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, question).result()


class Browser:
    """Sends requests straight into an application, with a cookie jar.

    Computations are waited for, however slow the machine: what a page shows meanwhile is the matter
    of tests that set `app.state.running.patience` themselves.

    Parameters
    ----------
    app : FastAPI
        The application.
    raise_bugs : bool
        Whether an error nobody handled is raised here, besides being answered.
    """

    def __init__(self, app: FastAPI, *, raise_bugs: bool = True) -> None:
        self.app = app
        app.state.running.patience = 60.0
        self._raise_bugs = raise_bugs
        self._cookies = httpx.Cookies()

    def get(self, path: str, **more: Any) -> httpx.Response:
        return _run(self._ask("GET", path, more))

    def post(self, path: str, **more: Any) -> httpx.Response:
        return _run(self._ask("POST", path, more))

    async def _ask(self, method: str, path: str, more: dict[str, Any]) -> httpx.Response:
        transport = httpx.ASGITransport(self.app, raise_app_exceptions=self._raise_bugs)
        async with httpx.AsyncClient(
            transport=transport, base_url="http://127.0.0.1:8000", cookies=self._cookies
        ) as client:
            answer = await client.request(method, path, **more)
            self._cookies = client.cookies
            return answer


@dataclass
class Site:
    """The pages, with a browser's cookie jar."""

    client: Browser
    desk: Desk

    def get(self, path: str, status: int = 200) -> httpx.Response:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text[:2000]
        return answer

    def send(
        self, path: str, changes: dict[str, Any], *, page: httpx.Response | None = None
    ) -> httpx.Response:
        """Fill in the form of a page and send it."""
        sent = {**fields_of(page or self.get(path)), **changes}
        sent = {k: v for k, v in sent.items() if v is not None}
        return self.client.post(path, data=sent)

    def add_reed(self, name: str = "Gull 7") -> str:
        return f"/reeds/{self.desk.add_reed(name).uuid}"

    def import_table(self, text: str = TABLE, **more: str) -> str:
        done = self.desk.import_table(text.encode(), name="gull.csv", **more)
        return f"/reeds/{done.reed.uuid}"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "records") as opened:
        yield opened


@pytest.fixture
def site(desk: Desk) -> Site:
    return Site(Browser(create_app(desk)), desk)
