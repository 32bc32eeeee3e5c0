"""The sounds of a reed in a real browser: sound for all, from the keyboard alone, and playing."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page, expect
from tests.soundness import faults

from crowlight.bench.kinds import Control, Cut
from crowlight.invented.recordings import scale_take
from crowlight.invented.sounds import crow_take, draw_crow, swell_take

from .conftest import Served, serving, until_seen

pytestmark = pytest.mark.browser

RATE = 24_000
HOSTILE = "\"><script>document.title='taken'</script> \u202egnp"


def wav(sound: np.ndarray) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, sound, RATE, format="WAV", subtype="PCM_16")
    return out.getvalue()


def crow(seed: int) -> bytes:
    rng = np.random.default_rng(seed)
    return wav(crow_take(draw_crow(rng), rng, seconds=0.9, rate=RATE, blows=3).sound)


@dataclass(frozen=True)
class Sounding:
    """Pages of a reed with recordings of every kind."""

    served: Served
    base: str
    pages: tuple[str, ...]


@pytest.fixture(scope="module")
def sounding(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sounding]:
    with serving(tmp_path_factory.mktemp("sounding"), filled=True) as served:
        desk, rng = served.desk, np.random.default_rng(4)
        swell = swell_take(rng, seconds=3.0, rate=RATE).sound
        scale = scale_take((62, 64, 66, 67), (0.0, 9.0, -4.0, 12.0), rng, seconds=0.3)
        made = []
        for data, of in (
            (crow(3), "crow"),
            (wav(swell), "crow"),
            (wav(scale), "notes"),
            (wav(np.zeros(RATE)), "crow"),
        ):
            done = desk.keep_recording(
                "Gull 7",
                data,
                name="x.wav",
                sound_of=of,
                device=HOSTILE,
                settings={"file": HOSTILE},
            )
            made.append(done.entries[0].uuid)
        desk.write("Gull 7", Cut(zone="tip", blades=("marked",)))
        desk.keep_recording("Gull 7", crow(11), name="y.wav", sound_of="crow")
        desk.write("Gull 7", Control())
        base = f"{served.address}{served.reed}/sounds"
        compare = f"{base}/compare?since=crow"
        yield Sounding(served, base, (base, *(f"{base}/{u}" for u in made), compare))


def settle(page: Page) -> None:
    """Open what is folded away and load what is put off."""
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    until_seen(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_each_page_of_sounds_is_sound(window, sounding, width, scheme):
    page = window(width, scheme)
    for address in sounding.pages:
        page.goto(address)
        settle(page)
        assert faults(page) == [], address
        wide, seen = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= seen, (address, wide, seen)
        expect(page).not_to_have_title("taken")
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, .button, select, summary, audio,'
                 + ' input:not([type=hidden]), .sounds h3 a, .crumb a')]
               .filter((e) => e.checkVisibility({visibilityProperty: true}))
               .map((e) => (e.closest('label.option') ?? e))
               .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
               .filter(([, r]) => r.height < 44).map(([t, r]) => `${t} ${r.height}`)"""
        )
        assert small == [], address


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_the_spectrogram_comes_in_the_size_and_colours_of_the_page(window, sounding, width, scheme):
    page = window(width, scheme)
    page.goto(sounding.pages[2])
    picture = page.get_by_role("img", name="Spectrogram")
    settle(page)
    source = picture.evaluate("(e) => e.currentSrc")
    assert ("narrow=1" in source) is (width == 360)
    assert ("dark=1" in source) is (scheme == "dark")
    told = picture.get_attribute("alt") or ""
    for word in ("Hz", "Octave lines", "dB", "speaks"):
        assert word in told


def test_a_recording_is_sent_heard_and_labelled_from_the_keyboard(window, own, tmp_path: Path):
    page = window()
    page.goto(own.address + own.reed)
    page.get_by_role("link", name="Sounds", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_label("Sound file").wait_for()
    file = tmp_path / "crow.wav"
    file.write_bytes(crow(3))
    page.get_by_label("Sound file").set_input_files(file)
    page.get_by_label("Sound file").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Space")  # the first choice: a crow
    page.keyboard.press("Tab")
    page.keyboard.type("telephone, 30 cm")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Measures").wait_for()
    expect(page.get_by_text("3 attempts were measured.")).to_be_visible()
    expect(page.get_by_text("telephone, 30 cm")).to_be_visible()
    player = page.locator("audio")
    player.focus()
    assert page.evaluate("document.activeElement.tagName") == "AUDIO"
    loaded = player.evaluate(
        """(e) => new Promise((done, fail) => {
             e.onloadedmetadata = () => done([e.duration, e.seekable.end(0), e.currentSrc]);
             e.onerror = () => fail('cannot be played'); e.preload = 'metadata'; e.load(); })"""
    )
    assert loaded[0] == pytest.approx(4.1, abs=0.2)  # 3 blows of 0.9 s, 4 pauses of 0.35 s
    assert loaded[1] == loaded[0]
    assert loaded[2].endswith(".flac")
    page.get_by_role("radio", name="clean").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("Written down")
    expect(page.get_by_role("radio", name="clean")).to_be_checked()


def test_two_recordings_are_compared_from_the_keyboard(window, sounding):
    page = window()
    page.goto(sounding.base)
    page.get_by_label("Before", exact=True).focus()
    page.keyboard.press("End")  # the earliest crow
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Compare")).to_be_focused()
    page.keyboard.press("Enter")
    table = page.get_by_role("table", name="Measures before and after")
    expect(table.get_by_role("columnheader")).to_have_count(5)
    expect(table.get_by_role("rowheader").first).to_be_visible()
