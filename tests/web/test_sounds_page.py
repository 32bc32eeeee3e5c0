"""The sounds of a reed: sending, measuring, playing, labelling, comparing, and what is refused."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import soundfile

from crowlight.bench.kinds import Cut
from crowlight.invented.recordings import scale_take
from crowlight.invented.sounds import crow_take, draw_crow, swell_take
from crowlight.web import security

from .conftest import Site, fields_of

RATE = 24_000


def wav(sound: Any, rate: int = RATE, *, kind: str = "WAV") -> bytes:
    out = io.BytesIO()
    soundfile.write(out, sound, rate, format=kind, subtype="PCM_16")
    return out.getvalue()


def crow(seed: int = 3, *, blows: int = 3) -> bytes:
    rng = np.random.default_rng(seed)
    take = crow_take(draw_crow(rng), rng, seconds=0.9, rate=RATE, blows=blows)
    return wav(take.sound)


def send(
    site: Site, reed: str, data: bytes, *, name: str = "a.wav", of: str = "crow", **more: str
) -> httpx.Response:
    fields = {**fields_of(site.get(f"{reed}/sounds")), "sound_of": of, **more}
    return site.client.post(f"{reed}/sounds", data=fields, files={"sound": (name, data)})


def sent(site: Site, reed: str, data: bytes, **more: str) -> str:
    """Send a recording that is good; return its address."""
    answer = send(site, reed, data, **more)
    assert answer.status_code == 303, answer.text[:1500]
    return answer.headers["location"].split("?")[0]


def recordings(site: Site) -> list[Any]:
    reed = site.desk.records.reed("Gull 7")
    return [e for e in site.desk.records.entries(reed.uuid) if e.payload.kind == "recording"]


def said(page: httpx.Response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text))


# --- sending and measuring ----------------------------------------------------------------------


def test_a_crow_is_kept_as_it_came_and_as_flac_and_measured(site: Site) -> None:
    reed, data = site.add_reed(), crow()
    where = sent(site, reed, data, device="telephone, 30 cm")
    (entry,) = recordings(site)
    assert site.desk.blobs.get(entry.payload.original) == data
    assert site.get(f"{where}/original").content == data
    kept, rate = soundfile.read(io.BytesIO(site.get(f"{where}/sound.flac").content))
    assert rate == RATE
    np.testing.assert_allclose(kept, soundfile.read(io.BytesIO(data))[0], atol=1e-7)
    heard = site.desk.hear(entry.payload.digest, "crow")
    text = said(site.get(where))
    assert f"{heard['attempts']['pitch_hz']['median']:.1f} Hz" in text
    assert "3 attempts were measured" in text
    assert "needs at least three" not in text
    assert "Basis: common practice" in text
    assert "clean" in text
    assert "telephone, 30 cm" in text
    # the log and the list tell of it too
    assert "telephone, 30 cm" in said(site.get(reed))
    assert f'href="{where}"' in site.get(f"{reed}/sounds").text


def test_one_attempt_gives_no_median(site: Site) -> None:
    text = said(site.get(sent(site, site.add_reed(), crow(blows=1))))
    assert "1 attempt was measured. Median and range: needs at least three" in text
    assert "Lowest to highest" not in text


def test_a_swell_tells_its_story(site: Site) -> None:
    rng = np.random.default_rng(2)
    take = swell_take(rng, seconds=4.0, rate=RATE)
    text = said(site.get(sent(site, site.add_reed(), wav(take.sound))))
    assert "First speaks the upper octave" in text
    joins = re.search(r"The other octave joins at ([0-9.]+) s", text)
    assert joins is not None
    assert float(joins[1]) == pytest.approx(take.events["octave"], abs=0.25)
    assert "The rattle sets in at" in text


def test_noise_has_no_single_pitch(site: Site) -> None:
    rng = np.random.default_rng(8)
    noise = rng.standard_normal(2 * RATE) * 0.1 * np.hanning(2 * RATE)
    text = said(site.get(sent(site, site.add_reed(), wav(noise))))
    assert "Hz," not in text
    assert "o single pitch" in text or "Not usable" in text


def test_an_unusable_recording_says_why_and_what_to_do_and_shows_no_number(site: Site) -> None:
    where = sent(site, site.add_reed(), wav(np.zeros(RATE)))
    text = said(site.get(where))
    assert "Not usable" in text
    assert "nothing in the file but silence" in text
    assert "right microphone" in text
    assert "Measures" not in text
    assert "Keep the label" not in text


def test_notes_are_listed_with_an_intonation_chart(site: Site) -> None:
    rng = np.random.default_rng(1)
    played = scale_take((69, 71, 72), (0.0, 20.0, -10.0), rng, seconds=0.4)
    where = sent(site, site.add_reed(), wav(played), of="notes", reference="440")
    page = site.get(where)
    text = said(page)
    assert "Cents from your A of 440.0 Hz, equal temperament" in text
    assert [int(c.replace("\u2212", "-")) for c in re.findall(r"([+\u2212]?\d+) cents", text)] == [
        pytest.approx(v, abs=3) for v in (0, 20, -10)
    ]
    chart = site.get(f"{where}/intonation.svg")
    assert chart.headers["content-type"].startswith("image/svg")
    assert "A4" in chart.text
    assert "Keep the label" not in text


def test_the_spectrogram_marks_the_octave_lines_where_they_are(site: Site) -> None:
    where = sent(site, site.add_reed(), crow())
    heard = site.desk.hear(recordings(site)[0].payload.digest, "crow")
    picture = site.get(f"{where}/spectrogram.svg").text
    assert "data:image/png;base64," in picture
    for sign in ("½", "1", "2", "4"):
        assert f">{sign}</text>" in picture
    # the line marked 1 lies at the pitch on the log axis from 180 to 7200 Hz over 242 units
    at = 24 + np.log(7_200 / heard["pitch_hz"]) / np.log(40) * 242
    heights = [float(y) for y in re.findall(r'<path d="M46 ([0-9.]+)H', picture)]
    assert min(abs(h - at) for h in heights) < 0.2
    told = re.search(r'<img src="[^"]*spectrogram[^>]* alt="([^"]+)"', site.get(where).text)
    assert told is not None
    assert f"{heard['attempts']['pitch_hz']['median']:.1f} Hz" in told[1]
    assert "Octave lines:" in told[1]


def test_sending_the_same_form_twice_keeps_it_once(site: Site) -> None:
    reed = site.add_reed()
    fields = {**fields_of(site.get(f"{reed}/sounds")), "sound_of": "crow"}
    answers = [
        site.client.post(f"{reed}/sounds", data=fields, files={"sound": ("a.wav", crow())})
        for _ in range(2)
    ]
    assert [a.status_code for a in answers] == [303, 303]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert len(recordings(site)) == 1


def test_blows_far_apart_are_asked_about_and_the_maker_can_answer(site: Site) -> None:
    rng = np.random.default_rng(7)
    low, high = (crow_take(draw_crow(rng), rng, seconds=0.9, rate=RATE).sound for _ in range(2))
    at = np.arange(len(high)) * 2 ** (1 / 6)  # two semitones up
    both = wav(np.concatenate([low, np.interp(at[at < len(high) - 1], np.arange(len(high)), high)]))
    reed = site.add_reed()
    assert "say so when sending it" in said(site.get(sent(site, reed, both)))
    assert "2 attempts were measured" in said(site.get(sent(site, reed, both, one_reed="1")))


# --- what is refused ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "empty"),
        (b"just words, and not few of them either", "not a sound file"),
        (b"RIFF\xff\xff\xff\xffWAVEfmt ", "cannot be read as a sound file"),
        (b"fLaC" + bytes(200), "."),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "not a sound file"),
        (b"ID3\x04" + bytes(300), "."),
    ],
)
def test_files_that_are_no_sound_are_refused_and_nothing_is_kept(
    site: Site, data: bytes, reason: str
) -> None:
    reed = site.add_reed()
    answer = send(site, reed, data, device="the old one")
    assert answer.status_code == 422
    assert 'id="f-sound-wrong"' in answer.text
    wrong = re.search(r'id="f-sound-wrong">([^<]+)<', answer.text)
    assert wrong is not None
    assert re.search(reason, wrong[1]), wrong[1]
    assert 'value="the old one"' in answer.text  # what was typed is still there
    assert recordings(site) == []
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"of": "song"}, "sound_of"),
        ({"reference": "4400"}, "reference"),
        ({"reference": "A"}, "reference"),
        ({"device": "x" * 300}, "device"),
        ({"device": "bell\x07"}, "device"),
    ],
)
def test_a_wrong_field_is_named(site: Site, more: dict[str, str], field: str) -> None:
    answer = send(site, site.add_reed(), crow(blows=1), **more)
    assert answer.status_code == 422
    assert f'id="f-{field}-wrong"' in answer.text
    assert recordings(site) == []


def test_a_form_without_a_file_is_refused(site: Site) -> None:
    reed = site.add_reed()
    answer = site.send(f"{reed}/sounds", {"sound_of": "crow"})
    assert answer.status_code == 422
    assert "Choose a sound file" in answer.text


@pytest.mark.parametrize("stated", [True, False])
def test_a_huge_upload_is_refused_with_its_limit(
    site: Site, stated: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(security._LIMITS, "/sounds", 100_000)
    reed = site.add_reed()
    fields = {**fields_of(site.get(f"{reed}/sounds")), "sound_of": "crow"}
    request = httpx.Request(
        "POST", "http://127.0.0.1:8000/", data=fields, files={"sound": ("a.wav", bytes(150_000))}
    )
    body = request.read()
    kind = {"content-type": request.headers["content-type"]}

    async def drip() -> Any:
        for at in range(0, len(body), 10_000):
            yield body[at : at + 10_000]

    content = body if stated else drip()
    answer = site.client.post(f"{reed}/sounds", content=content, headers=kind)
    assert answer.status_code == 413
    assert "larger than 0 MB" in answer.text
    assert recordings(site) == []


def test_the_limit_for_sounds_is_said_on_the_page_and_is_for_sounds_alone(site: Site) -> None:
    page = site.get(f"{site.add_reed()}/sounds").text
    assert f"at most {security.SOUND_LIMIT // 1_000_000} MB" in page
    assert security.BODY_LIMIT < security.FILE_LIMIT < security.SOUND_LIMIT


def test_a_sound_may_be_larger_than_other_forms(site: Site) -> None:
    data = wav(np.zeros(600_000))
    assert len(data) > security.BODY_LIMIT
    assert send(site, site.add_reed(), data).status_code == 303


def test_another_site_cannot_send_a_sound(site: Site) -> None:
    reed = site.add_reed()
    fields = {**fields_of(site.get(f"{reed}/sounds")), "sound_of": "crow"}
    files = {"sound": ("a.wav", crow(blows=1))}
    path = f"{reed}/sounds"
    foreign = {"origin": "http://elsewhere.test"}
    assert site.client.post(path, data=fields, files=files, headers=foreign).status_code == 403
    assert site.client.post(path, data={**fields, "token": "0"}, files=files).status_code == 403
    assert recordings(site) == []


HOSTILE = [
    "../../../etc/passwd",
    "..\\..\\evil.wav",
    '"><script>alert(1)</script>.wav',
    "line\r\nSet-Cookie: a=b.wav",
    "a\x00b.wav",
    "\u202egpj.wav",
    "x" * 4000 + ".wav",
    "",
    ".",
    "😀 Möwe.wav",
]


@pytest.mark.parametrize("name", [n for n in HOSTILE if n])
def test_hostile_file_names_do_nothing(site: Site, tmp_path: Path, name: str) -> None:
    reed = site.add_reed()
    answer = send(site, reed, crow(blows=1), name=name)
    assert answer.status_code == 303
    where = answer.headers["location"].split("?")[0]
    for address in (where, reed, f"{reed}/sounds"):
        page = site.get(address).text
        assert "<script>alert" not in page
        assert "\u202e" not in page
    kept = recordings(site)[0].payload.settings["file"]
    assert "/" not in kept
    assert "\\" not in kept
    assert len(kept) <= 120
    header = site.get(f"{where}/original").headers
    assert re.fullmatch(
        r'attachment; filename="[A-Za-z0-9._-]{1,80}"', header["content-disposition"]
    )
    assert "set-cookie" not in header
    assert header["content-type"] == "application/octet-stream"
    assert header["x-content-type-options"] == "nosniff"
    # nothing was written but records, blobs under their digests, and results
    names = {p.name for p in tmp_path.rglob("*") if p.is_file()}
    assert not any("passwd" in n or "evil" in n for n in names)


# --- playing ------------------------------------------------------------------------------------


@pytest.fixture
def playing(site: Site) -> tuple[Site, str, bytes]:
    where = f"{sent(site, site.add_reed(), crow(blows=1))}/sound.flac"
    return site, where, site.get(where).content


@pytest.mark.parametrize(
    ("asked", "part"),
    [
        ("bytes=0-99", slice(0, 100)),
        ("bytes=100-", slice(100, None)),
        ("bytes=-50", slice(-50, None)),
        ("bytes=0-0", slice(0, 1)),
        ("bytes=10-999999999", slice(10, None)),
        ("bytes=-999999999", slice(0, None)),
    ],
)
def test_a_part_is_sent_where_a_part_is_asked_for(
    playing: tuple[Site, str, bytes], asked: str, part: slice
) -> None:
    site, where, whole = playing
    answer = site.client.get(where, headers={"range": asked})
    start, stop, _ = part.indices(len(whole))
    assert answer.status_code == 206
    assert answer.content == whole[part]
    assert answer.headers["content-range"] == f"bytes {start}-{stop - 1}/{len(whole)}"
    assert answer.headers["content-length"] == str(stop - start)
    assert answer.headers["content-type"] == "audio/flac"


@pytest.mark.parametrize("asked", ["bytes=9999999-", "bytes=-0"])
def test_a_part_beyond_the_end_cannot_be_sent(playing: tuple[Site, str, bytes], asked: str) -> None:
    site, where, whole = playing
    answer = site.client.get(where, headers={"range": asked})
    assert answer.status_code == 416
    assert answer.headers["content-range"] == f"bytes */{len(whole)}"


@pytest.mark.parametrize(
    "asked",
    ["", "bytes=-", "bytes=5-2", "bytes=0-1,5-9", "lines=0-1", "bytes=a-b", "bytes=" + "9" * 400],
)
def test_what_is_no_range_is_answered_with_the_whole(
    playing: tuple[Site, str, bytes], asked: str
) -> None:
    site, where, whole = playing
    answer = site.client.get(where, headers={"range": asked})
    assert (answer.status_code, answer.content) == (200, whole)
    assert answer.headers["accept-ranges"] == "bytes"


def test_a_known_sound_is_not_sent_again(playing: tuple[Site, str, bytes]) -> None:
    site, where, whole = playing
    tag = site.get(where).headers["etag"]
    assert site.client.get(where, headers={"if-none-match": tag}).status_code == 304
    stale = {"range": "bytes=0-9", "if-range": '"another"'}
    assert site.client.get(where, headers=stale).content == whole


def test_wav_is_there_for_browsers_without_flac(playing: tuple[Site, str, bytes]) -> None:
    site, where, whole = playing
    answer = site.get(where.replace(".flac", ".wav"))
    assert answer.headers["content-type"] == "audio/wav"
    found, kept = (soundfile.read(io.BytesIO(b), dtype="int32") for b in (answer.content, whole))
    assert found[1] == kept[1]
    np.testing.assert_array_equal(found[0], kept[0])


def test_only_pages_with_a_player_may_play(playing: tuple[Site, str, bytes]) -> None:
    site, where, _ = playing
    reed = where.split("/sounds/")[0]
    for page in (where.rsplit("/", 1)[0], f"{reed}/sounds"):
        assert "media-src 'self'" in site.get(page).headers["content-security-policy"]
    assert "media-src" not in site.get(reed).headers["content-security-policy"]


def test_a_sound_is_found_under_its_own_reed_only_and_not_once_withdrawn(
    playing: tuple[Site, str, bytes],
) -> None:
    site, where, _ = playing
    other = f"/reeds/{site.desk.add_reed('Tern').uuid}"
    here = where.rsplit("/", 1)[0]
    entry = here.rsplit("/", 1)[1]
    site.get(f"{other}/sounds/{entry}/sound.flac", 404)
    site.get(f"{other}/sounds/{entry}", 404)
    site.get(f"{here}/intonation.svg", 404)  # no notes in a crow
    site.desk.withdraw("Gull 7", recordings(site)[0].uuid)
    for name in ("", "/sound.flac", "/sound.wav", "/original", "/spectrogram.svg"):
        site.get(here + name, 404)


# --- labels, before and after -------------------------------------------------------------------


def test_a_label_is_kept_corrected_and_shown(site: Site) -> None:
    reed = site.add_reed()
    where = sent(site, reed, crow())

    def keep(says: str) -> httpx.Response:
        fields = {**fields_of(site.get(where)), "says": says}
        return site.client.post(f"{where}/label", data=fields)

    assert keep("wonderful").status_code == 422
    assert keep("mixed").status_code == 303
    assert keep("clean").status_code == 303
    assert "Your label: clean." in said(site.get(f"{reed}/sounds"))
    assert "so far 1 labelled crows of 1 reeds" in said(site.get(where))
    assert fields_of(site.get(where))["says"] == ["clean"]
    # the first label stays in the log, struck out
    assert "<del>Label</del>" in site.get(reed).text


def test_before_and_after_a_cut(site: Site) -> None:
    reed = site.add_reed()
    first = sent(site, reed, crow(3))
    assert "compare?since=crow" not in site.get(f"{reed}/sounds").text
    site.desk.write("Gull 7", Cut(zone="tip", blades=("marked",)))
    second = sent(site, reed, crow(11))
    assert f"{reed}/sounds/compare?since=crow" in site.get(f"{reed}/sounds").text
    since = said(site.get(f"{reed}/sounds/compare?since=crow"))
    ids = [where.rsplit("/", 1)[1] for where in (first, second)]
    chosen = said(site.get(f"{reed}/sounds/compare?before={ids[0]}&after={ids[1]}"))
    # asked the wrong way round, the earlier one still stands before
    turned = said(site.get(f"{reed}/sounds/compare?before={ids[1]}&after={ids[0]}"))
    assert since == chosen == turned
    assert re.search(r"From the target cents before \S+ after \S+ \S+ \S+ to \S+ changed", since)
    assert "of 9 measures changed" in since
    assert "No control reed was named" in since


def test_a_comparison_of_nothing_says_what_to_do(site: Site) -> None:
    reed = site.add_reed()
    where = sent(site, reed, crow(blows=1)).rsplit("/", 1)[1]
    for query in ("", f"before={where}&after={where}", "before=x&after=y", "since=song"):
        page = site.get(f"{reed}/sounds/compare?{query}", 422)
        assert "two different recordings" in page.text


def test_the_control_reed_is_named_and_can_be_taken_back(site: Site) -> None:
    reed = site.add_reed()
    page = site.get(f"{reed}/sounds")
    token = re.findall(r'name="token" value="([^"]+)"', page.text)[-1]
    answer = site.client.post(f"{reed}/sounds/control", data={"token": token, "seen": "0"})
    assert answer.status_code == 303
    page = site.get(f"{reed}/sounds")
    assert "Control reed since" in said(page)
    assert "This is the control reed" not in page.text
    assert "Left untouched" in said(site.get(reed))
    entry = site.desk.records.entries(site.desk.records.reed("Gull 7").uuid)[-1]
    site.send(f"{reed}/entries/{entry.uuid}/withdraw", {"reason": "wrong reed"})
    assert "This is the control reed" in site.get(f"{reed}/sounds").text


def test_many_recordings_come_in_pages(site: Site) -> None:
    reed = site.add_reed()
    data = wav(np.zeros(2_000))
    for _ in range(10):
        site.desk.keep_recording("Gull 7", data, name="s.wav", sound_of="crow")
    first, second = (site.get(f"{reed}/sounds?page={n}") for n in (1, 2))
    assert first.text.count("<audio") == 8
    assert second.text.count("<audio") == 2
    for page in ("x", "-1", "0", "99999999999"):
        site.get(f"{reed}/sounds?page={page}")


def test_a_sound_whose_file_is_gone_says_so_and_the_page_still_opens(
    site: Site, tmp_path: Path
) -> None:
    reed = site.add_reed()
    where = sent(site, reed, crow(blows=1))
    digest = recordings(site)[0].payload.digest
    (found,) = (p for p in tmp_path.rglob("*") if p.is_file() and digest in str(p).replace("/", ""))
    found.unlink()
    for kept in (tmp_path / "records" / "computed").rglob("*"):
        if kept.is_file():
            kept.unlink()
    assert "could not be measured" in said(site.get(where))
    assert "ould not be measured" in said(site.get(f"{reed}/sounds"))


def test_a_recording_is_followed_by_the_question_what_is_wrong(site: Site) -> None:
    reed = site.add_reed()
    page = site.get(sent(site, reed, crow()))
    assert f'href="{reed}/next">What is wrong, and what to do next' in page.text
