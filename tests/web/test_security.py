"""Only these pages, on this machine, may change anything."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from crowlight.bench.desk import Desk
from crowlight.bench.ports import ReedQuery
from crowlight.web import create_app
from crowlight.web.security import BODY_LIMIT, FILE_LIMIT

from .conftest import Browser


@pytest.mark.parametrize(
    "host", ["evil.test", "127.0.0.1.evil.test", "192.168.1.7:8000", "", "[::1", "localhost@x"]
)
def test_a_foreign_host_is_refused(site, host):
    answer = site.client.get("/", headers={"host": host})
    assert answer.status_code == 400
    assert "this machine" in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:9", "localhost:8000", "[::1]:8000"])
def test_names_of_this_machine_are_served(site, host):
    assert site.client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.test"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://127.0.0.1:8000", "sec-fetch-site": "cross-site"},
    ],
)
def test_another_site_cannot_write(site, headers):
    page = site.get("/reeds/new")
    from_form = {"token": _token(page.text), "name": "Tern"}
    answer = site.client.post("/reeds/new", data=from_form, headers=headers)
    assert answer.status_code == 403
    assert site.desk.reeds(ReedQuery()).total == 0


def _token(text: str) -> str:
    return text.split('name="token" value="')[1].split('"')[0]


def test_our_own_pages_can_write(site):
    page = site.get("/reeds/new")
    answer = site.client.post(
        "/reeds/new",
        data={"token": _token(page.text), "name": "Tern"},
        headers={"origin": "http://127.0.0.1:8000", "sec-fetch-site": "same-origin"},
    )
    assert answer.status_code == 303


def test_without_its_token_a_form_writes_nothing_and_keeps_what_was_typed(site):
    answer = site.send("/reeds/new", {"token": "0" * 64, "name": "Tern & Co"})
    assert answer.status_code == 403
    assert 'value="Tern &amp; Co"' in answer.text
    assert "send it again" in answer.text
    assert site.desk.reeds(ReedQuery()).total == 0
    again = site.send("/reeds/new", {}, page=answer)
    assert again.status_code == 303


def test_a_token_belongs_to_one_browser(site):
    token = _token(site.get("/reeds/new").text)
    other = Browser(site.client.app)
    other.get("/")
    answer = other.post("/reeds/new", data={"token": token, "name": "Tern"})
    assert answer.status_code == 403


def test_the_content_policy_lets_nothing_in_from_elsewhere(site):
    path = site.import_table()
    for address in ("/", path, "/reeds/new", "/import", f"{path}/readings", "/nowhere"):
        answer = site.client.get(address)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "http://" not in answer.text.replace("http://www.w3.org", "")
        assert "https://" not in answer.text
        assert " style=" not in answer.text
        assert "<style" not in answer.text
        assert " onclick=" not in answer.text


def test_the_cookie_is_for_this_site_alone(site):
    cookie = site.get("/").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


_HEAD = (
    b'--edge\r\nContent-Disposition: form-data; name="table"; filename="t.csv"\r\n'
    b"Content-Type: text/csv\r\n\r\n"
)


async def _pieces(size: int) -> AsyncIterator[bytes]:
    yield _HEAD
    for _ in range(size // 100_000 + 1):
        yield b"x" * 100_000
    yield b"\r\n--edge--\r\n"


@pytest.mark.parametrize("chunked", [True, False])
@pytest.mark.parametrize(("path", "limit"), [("/reeds/new", BODY_LIMIT), ("/import", FILE_LIMIT)])
def test_a_body_too_large_is_refused_chunked_or_not(site, chunked, path, limit):
    whole = _HEAD + b"x" * limit + b"\r\n--edge--\r\n"
    answer = site.client.post(
        path,
        content=_pieces(limit) if chunked else whole,
        headers={"content-type": "multipart/form-data; boundary=edge"},
    )
    assert answer.status_code == 413
    assert f"{limit // 1_000_000} MB" in answer.text


def test_a_length_that_lies_does_not_help(site):
    answer = site.client.post(
        "/reeds/new",
        content=_pieces(BODY_LIMIT),
        headers={"content-type": "multipart/form-data; boundary=edge", "content-length": "9"},
    )
    assert answer.status_code == 413


def test_a_bug_shows_no_traceback_and_is_logged(desk: Desk, caplog: pytest.LogCaptureFixture):
    app = create_app(desk)

    def broken() -> None:
        msg = "secret detail"
        raise RuntimeError(msg)

    app.add_api_route("/broken", broken)
    answer = Browser(app, raise_bugs=False).get("/broken")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    assert "safe" in answer.text
    assert "secret detail" in caplog.text


def test_the_interactive_api_pages_that_fetch_from_elsewhere_are_off(site):
    site.get("/docs", 404)
    site.get("/redoc", 404)
    assert "/reeds/{reed}/assessment.json" in site.get("/openapi.json").json()["paths"]


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"a=1&" * 3000, "application/x-www-form-urlencoded"),
        (b"name=" + b"x" * 900_000, "application/x-www-form-urlencoded"),
        (b"rubbish", "multipart/form-data; boundary=edge"),
        (b"rubbish", "multipart/form-data"),
        (b"\xff\xfe=%zz", "application/x-www-form-urlencoded"),
        (b"{}", "application/json"),
    ],
)
def test_a_broken_body_is_refused_in_words(site, body, kind):
    answer = site.client.post("/reeds/new", content=body, headers={"content-type": kind})
    assert answer.status_code in {403, 422}
    assert "Traceback" not in answer.text
    assert site.desk.reeds(ReedQuery()).total == 0
