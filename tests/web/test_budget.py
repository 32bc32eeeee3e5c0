"""The first page stays small, and every page is made without a request to elsewhere."""

from __future__ import annotations

import gzip
import re


def weight(site, address: str) -> tuple[int, int]:
    """Return the gzipped bytes of a page with all it loads, and the number of requests."""
    page = site.get(address)
    waiting = re.findall(r'(?:src|href)="(/static/[^"]+)"', page.text)
    bodies = {address: page.content}
    while waiting:  # scripts import others
        asked = waiting.pop()
        if asked not in bodies:
            bodies[asked] = site.get(asked).content
            imported = re.findall(r'^import .* from "\./([^"]+)";$', bodies[asked].decode(), re.M)
            waiting += [f"{asked.rsplit('/', 1)[0]}/{name}" for name in imported]
    return sum(len(gzip.compress(b)) for b in bodies.values()), len(bodies)


def test_the_first_page_is_at_most_100_kb(site):
    for n in range(60):
        site.add_reed(f"Reed {n}")
    size, requests = weight(site, "/")
    assert size <= 100_000
    assert requests <= 8


def test_a_reed_page_is_at_most_100_kb(site):
    size, requests = weight(site, site.import_table())
    assert size <= 100_000
    assert requests <= 10


def test_the_recorder_is_at_most_100_kb(site):
    size, _ = weight(site, f"{site.add_reed()}/record")
    assert size <= 100_000


def test_what_the_service_worker_keeps_ahead_is_at_most_100_kb(site):
    frame = re.findall(r'"(/static/[^"]+)"', site.get("/sw.js").text)
    assert len(frame) > 5
    assert sum(len(gzip.compress(site.get(a).content)) for a in frame) <= 100_000


def test_static_files_may_be_kept_for_good_because_their_address_changes(site):
    (css,) = re.findall(r'href="(/static/[^"]+\.css)"', site.get("/").text)
    answer = site.get(css)
    assert "immutable" in answer.headers["cache-control"]
    assert answer.headers["content-type"].startswith("text/css")
    assert len(css.split("/")[2]) == 12
    site.get("/static/x/../../app.py", 404)
    site.get("/static/x/..%2f..%2fapp.py", 404)
    site.get("/static/x/app.py", 404)
