"""Chunks of a recording as the page's script sends them, and hostile ones."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import httpx
import numpy as np
import pytest

from crowlight.bench.kinds import Recording
from crowlight.bench.recorder import MOST_CHUNK
from crowlight.invented.crows import draw_crow
from crowlight.invented.sounds import crow_take
from crowlight.web import create_app
from crowlight.web.security import BODY_LIMIT

from .conftest import Site, _run

RATE = 44_100


class Script:
    """Sends as the recorder does."""

    def __init__(self, site: Site, reed: str) -> None:
        self.site = site
        self.take = f"{reed}/takes/{uuid4()}"
        self.token = re.findall(r'name="token" value="(\w+)"', site.get(f"{reed}/record").text)[0]

    def act(self, method: str, path: str = "", **more: Any) -> httpx.Response:
        headers = {"crowlight-token": self.token, **more.pop("headers", {})}
        asked = self.site.client._ask(method, self.take + path, {"headers": headers, **more})
        return _run(asked)

    def begin(self, **changes: Any) -> httpx.Response:
        said = {
            "sound_of": "crow",
            "rate": RATE,
            "channels": 1,
            "begun_at": datetime.now(UTC).isoformat(),
        }
        return self.act("POST", json=said | changes)

    def put(self, number: int | str, samples: np.ndarray) -> httpx.Response:
        return self.act("PUT", f"/{number}", content=samples.astype("<f4").tobytes())

    def finish(self, chunks: int, frames: int, **more: Any) -> httpx.Response:
        return self.act("POST", "/finish", json={"chunks": chunks, "frames": frames, **more})


@pytest.fixture
def reed(site: Site) -> str:
    return site.add_reed()


@pytest.fixture
def script(site: Site, reed: str) -> Script:
    return Script(site, reed)


def tone(frames: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-0.3, 0.3, frames)


def kept(site: Site) -> list[Recording]:
    found = [e.payload for e in site.desk.sheet("Gull 7").entries]
    return [p for p in found if isinstance(p, Recording)]


def test_a_take_is_sent_and_kept_and_its_page_is_there(site, script):
    now = "2026-01-02T03:04:05.678Z"
    settings = {"noiseSuppression": False, "context_rate": RATE}
    head = {"begun_at": now, "settings": settings}
    assert script.begin(**head).json() == {"chunks": [], "frames": 0}
    assert script.put(0, tone(2048)).json() == {"held": 0}
    assert script.begin(**head).json() == {"chunks": [0], "frames": 2048}
    assert script.put(1, tone(100, 2)).status_code == 200
    assert script.act("GET").json() == {"chunks": [0, 1], "frames": 2148}
    done = script.finish(2, 2148, settings={"lost_s": 0.4})
    address = done.json()["kept"]
    assert address == script.take.replace("takes", "sounds")
    site.get(address)
    (payload,) = kept(site)
    assert payload.settings == {**settings, "lost_s": 0.4}
    assert site.desk.sheet("Gull 7").entries[0].happened_at.isoformat().startswith("2026-01-02T03")


def test_each_step_may_be_sent_again(site, script):
    at = "2026-01-02T03:04:05Z"
    for _ in range(2):
        script.begin(begun_at=at)
        script.put(0, tone(2048))
    first = script.finish(1, 2048).json()
    assert script.finish(1, 2048).json() == first
    assert script.put(0, tone(2048)).json() == first
    assert script.begin(begun_at=at).json() == first
    assert script.act("GET").json() == first
    assert len(kept(site)) == 1


def test_without_the_token_nothing_is_taken_and_the_answer_carries_it(site, script):
    right, script.token = script.token, "0" * 64
    for answer in (script.begin(), script.put(0, tone(10)), script.finish(1, 10)):
        assert answer.status_code == 403
        assert answer.json()["token"] == right
    assert script.act("DELETE").status_code == 403
    assert site.desk.takes.all() == ()


def test_another_site_cannot_send_a_chunk_or_read_the_token(site, script):
    script.begin()
    foreign = {"origin": "http://evil.test"}
    answer = script.act("PUT", "/0", content=bytes(4), headers=foreign)
    assert answer.status_code == 403
    assert "token" not in answer.text
    assert "access-control-allow-origin" not in answer.headers
    assert script.act("GET").json()["chunks"] == []


def test_after_a_new_start_the_recorder_goes_on(site, script):
    script.begin()
    script.put(0, tone(2048))
    site.client.app = create_app(site.desk)
    refused = script.put(1, tone(2048, 2))
    assert refused.status_code == 403
    script.token = refused.json()["token"]
    assert script.put(1, tone(2048, 2)).status_code == 200
    assert "kept" in script.finish(2, 4096).json()


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"sound_of": "song"}, "sound_of"),
        ({"rate": "fast"}, "rate"),
        ({"rate": 1}, "rate = 1 Hz"),
        ({"channels": 7}, "7 channels"),
        ({"begun_at": "noon"}, "'noon' is no time"),
        ({"begun_at": "2026-01-01T00:00:00"}, "with its zone"),
        ({"more": 1}, "more"),
        ({"settings": {"x": [1]}}, "settings.x"),
        ({"settings": {"x" * 50: 1}}, "name of a setting"),
    ],
)
def test_what_cannot_be_is_not_begun(site, script, changes, where):
    answer = script.begin(**changes)
    assert answer.status_code == 422
    assert where in answer.json()["detail"]
    assert site.desk.takes.all() == ()


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'"x"', b"\xff", b"[" * 100_000])
def test_what_cannot_be_read_is_refused_in_words(script, body):
    for path in ("", "/finish"):
        answer = script.act("POST", path, content=body)
        assert answer.status_code == 422
        assert "cannot be read" in answer.json()["detail"]


@pytest.mark.parametrize("path", ["/-1", "/99999999999999", "/x", "/../../0", "/0/0"])
def test_numbers_that_are_none_lead_nowhere(site, script, path):
    script.begin()
    assert script.act("PUT", path, content=bytes(4)).status_code in {404, 405, 422}
    assert script.act("GET").json()["chunks"] == []


@pytest.mark.parametrize(
    "data",
    [b"", b"abc", bytes(MOST_CHUNK + 4), b"\xff\xff\xff\x7f", b"\x00\x00\x80\x7f"],
)
def test_what_is_no_sound_is_refused(script, data):
    script.begin()
    assert script.act("PUT", "/0", content=data).status_code == 422
    assert script.act("GET").json()["chunks"] == []


def test_a_chunk_beyond_all_bounds_is_not_read(script):
    script.begin()
    assert script.act("PUT", "/0", content=bytes(BODY_LIMIT + 1)).status_code == 413


def test_other_content_under_a_number_is_a_conflict(script):
    script.begin()
    script.put(0, tone(2048))
    assert script.put(0, tone(2048, 2)).status_code == 409
    assert script.begin(rate=48_000).status_code == 409


def test_an_end_that_does_not_fit_is_refused_and_keeps_what_is_there(site, script):
    script.begin()
    script.put(0, tone(2048))
    for chunks, frames in ((2, 4096), (1, 2047), (0, 0), (-1, -1)):
        assert script.finish(chunks, frames).status_code == 422
    assert kept(site) == []
    assert script.act("GET").json()["frames"] == 2048


def test_what_nobody_began_is_not_there(site, script, reed):
    assert script.put(0, tone(10)).status_code == 404
    assert script.finish(1, 10).status_code == 404
    assert script.act("GET").status_code == 404
    nowhere = Script(site, reed)
    nowhere.take = f"/reeds/{uuid4()}/takes/{uuid4()}"
    assert nowhere.begin().status_code == 404


def test_an_unfinished_take_is_offered_and_kept_without_scripts(site, script, reed):
    script.begin()
    script.put(0, tone(RATE))
    page = site.get(f"{reed}/record")
    assert "Was not finished; 1.0 s of it are here." in page.text
    assert page.text.index("Was not finished") < page.text.index("Keep what there is")
    answer = site.client.post(f"{script.take}/keep", data={"token": script.token})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith(script.take.replace("takes", "sounds"))
    (payload,) = kept(site)
    assert payload.settings["unfinished"] is True
    assert "Was not finished" not in site.get(f"{reed}/record").text


def test_an_unfinished_take_can_be_dropped(site, script, reed):
    script.begin()
    script.put(0, tone(2048))
    refused = site.client.post(f"{script.take}/drop", data={"token": "x"})
    assert refused.status_code == 403
    assert "Was not finished" in refused.text
    answer = site.client.post(f"{script.take}/drop", data={"token": script.token})
    assert answer.headers["location"] == f"{reed}/record"
    assert site.desk.takes.all() == ()
    assert script.act("DELETE").status_code == 200


def test_nothing_cannot_be_kept_and_the_page_says_so(site, script, reed):
    script.begin()
    answer = site.client.post(f"{script.take}/keep", data={"token": script.token})
    assert answer.status_code == 422
    assert "nothing of this take is here" in answer.text


def test_the_page_starts_as_the_last_recording_was_made(site, script, reed):
    settings = {"context_rate": RATE, "reference_hz": 442}
    script.begin(sound_of="peep", device="<b>desk</b> microphone", settings=settings)
    script.put(0, tone(2048))
    script.finish(1, 2048)
    page = site.get(f"{reed}/record").text
    assert 'value="&lt;b&gt;desk&lt;/b&gt; microphone"' in page
    assert re.search(r'value="peep"[^>]* checked', page)
    assert 'value="442"' in page


def test_the_cautions_stand_before_the_button(site, reed):
    page = site.get(f"{reed}/record").text
    assert page.index("Do not share a reed unwashed") < page.index('class="primary record"')
    assert "never force a reed" in page


def test_what_was_measured_is_told_in_short(site, reed):
    rng = np.random.default_rng(3)
    sound = crow_take(draw_crow(rng), rng, seconds=0.9, rate=RATE, blows=3).sound
    script = Script(site, reed)
    script.begin()
    script.put(0, sound[: RATE * 2])
    script.put(1, sound[RATE * 2 :])
    address = script.finish(2, len(sound)).json()["kept"]
    told = site.get(f"{address}/heard.json").json()
    assert told["usable"] is True
    assert told["blows"] == 3
    assert told["says"].startswith("Pitch ")
    assert told["medians"]["pitch_hz"] > 400
    site.get(f"{reed}/sounds/{uuid4()}/heard.json", 404)
