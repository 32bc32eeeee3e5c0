"""The recorder in a real browser, with a sound file for its microphone."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Browser, Page, Playwright, expect
from tests.server_process import Server
from tests.soundness import faults

from crowlight.bench.kinds import Recording
from crowlight.invented.crows import draw_crow
from crowlight.invented.sounds import crow_take
from crowlight.listen import measure_crow
from crowlight.wiring import open_desk
from crowlight.wiring.failpoints import ENDED

from .conftest import CHROMIUM, FLAGS, Served, until_kept

pytestmark = pytest.mark.browser

RATE = 48_000


def crow(seed: int, kind: str = "clean", rate: int = RATE) -> np.ndarray:
    rng = np.random.default_rng(seed)
    made = draw_crow(rng, kind)  # pyright: ignore[reportArgumentType]
    return crow_take(made, rng, seconds=0.9, rate=rate, blows=3).sound


@pytest.fixture(scope="module")
def microphone(playing: Playwright, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Return a browser whose microphone plays three blows once and is silent then."""
    file = tmp_path_factory.mktemp("microphone") / "crow.wav"
    soundfile.write(file, crow(3), RATE, subtype="PCM_16")
    more = [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={file}%noloop",
    ]
    browser = playing.chromium.launch(executable_path=str(CHROMIUM), args=[*FLAGS, *more])
    yield browser
    browser.close()


@pytest.fixture
def bench(microphone: Browser, window_of: Callable[..., Callable[..., Page]]):
    return window_of(microphone)


def recording_of(served: Served) -> tuple[Recording, np.ndarray]:
    """Return the only recording that is kept of the reed, and its samples."""
    entries = served.desk.records.entries(served.desk.records.reed("Gull 7").uuid)
    (found,) = [e.payload for e in entries if isinstance(e.payload, Recording)]
    return found, served.desk.sounds.read(served.desk.blobs.get(found.original or "")).sound


def in_browser(page: Page) -> np.ndarray:
    """Return the samples that the browser's store holds, in order."""
    text = page.evaluate(
        """async () => {
             const { all } = await import(document.querySelector('script[src*=recorder]').src
               .replace('recorder.js', 'keep.js'));
             const blocks = await all('blocks');
             if (blocks.some((b, n) => b.number !== n)) throw new Error('a gap');
             const whole = await new Blob(blocks.map((b) => b.samples)).arrayBuffer();
             const bytes = new Uint8Array(whole);
             let text = '';
             for (let i = 0; i < bytes.length; i += 4096)
               text += String.fromCharCode(...bytes.subarray(i, i + 4096));
             return btoa(text); }"""
    )
    return np.frombuffer(base64.b64decode(text), "<f4")


def begin(page: Page, served: Served) -> None:
    page.goto(f"{served.address}{served.reed}/record")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator(".live")).to_be_visible()


def wait_for_blows(page: Page, least: int) -> None:
    """Wait for so many blows or more: a busy machine may see them two at a time."""
    expect(page.locator("dd.blows")).to_have_text(re.compile(f"^[{least}-9]$"))


def test_what_is_blown_is_measured_live_and_kept_sample_for_sample(bench, own):
    page = bench()
    begin(page, own)
    wait_for_blows(page, 3)
    expect(page.locator(".light")).to_have_text("Usable so far.")
    live = {k: float(page.locator(".live").get_attribute(f"data-{k}")) for k in ("median", "share")}
    expect(page.get_by_text("live, rough")).to_have_count(3)
    # nothing is let go of before the server has the whole: stop it from finishing once
    seen: list[np.ndarray] = []

    def look(route):
        seen.append(in_browser(page))
        route.continue_()

    page.route("**/finish", look)
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.locator(".takes .says")).to_contain_text("Kept. Pitch")
    payload, kept = recording_of(own)
    assert kept.shape[1] == payload.settings["microphone_channels"]
    assert np.array_equal(kept.ravel(), seen[0])
    assert len(kept) > 3 * payload.sample_rate
    assert in_browser(page).size == 0
    assert own.desk.takes.all() == ()
    with page.expect_response("**/heard.json") as answer:
        page.get_by_role("link", name="Listen and see its measures").click()
        page.goto(page.url + "/heard.json")
    medians = json.loads(answer.value.text())["medians"]
    assert 1200 * abs(np.log2(live["median"] / medians["pitch_hz"])) < 10
    assert live["share"] == pytest.approx(medians["pitched_share"], abs=0.05)


def test_what_the_browser_does_to_the_sound_is_checked_and_kept(bench, own):
    page = bench()
    page.goto(f"{own.address}{own.reed}/record")
    page.get_by_text("What it is of, and how it is recorded").click()
    page.get_by_label("Your A").fill("44o")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("from 400 to 480 Hz")
    expect(page.get_by_label("Your A")).to_be_focused()
    page.get_by_label("Your A").fill("442,5")
    page.get_by_role("radio", name="peep").check()
    page.get_by_label("What it was recorded with").fill("desk, 30 cm")
    page.get_by_role("button", name="Record", exact=True).click()
    wait_for_blows(page, 1)
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.locator(".takes .says")).to_contain_text("Kept.")
    payload, _ = recording_of(own)
    settings = payload.settings
    for name in ("echoCancellation", "noiseSuppression", "autoGainControl"):
        assert settings[name] is False
    assert settings["context_rate"] == settings["microphone_rate"] == payload.sample_rate
    assert (settings["reference_hz"], payload.sound_of, payload.device) == (
        442.5,
        "peep",
        "desk, 30 cm",
    )
    expect(page.locator(".browser-does")).to_be_hidden()


def test_a_browser_that_does_otherwise_is_found_out(bench, own):
    page = bench()
    page.add_init_script(
        """const real = MediaStreamTrack.prototype.getSettings;
           MediaStreamTrack.prototype.getSettings = function () {
             const changed = { noiseSuppression: true, autoGainControl: undefined };
             return { ...real.call(this), ...changed }; };"""
    )
    begin(page, own)
    told = page.locator(".browser-does")
    expect(told).to_contain_text("keeps changing the sound although it was asked not to (noise")
    expect(told).to_contain_text("does not say whether it changes the sound (automatic level)")
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.locator(".takes .says")).to_contain_text("Kept.")
    settings = recording_of(own)[0].settings
    assert settings["noiseSuppression"] is True
    assert settings["autoGainControl"] is None


def test_a_reload_in_mid_take_loses_nothing_that_was_in_the_store(bench, own):
    page = bench()
    begin(page, own)
    wait_for_blows(page, 2)
    kept_before = int(page.locator(".recorder").get_attribute("data-kept"))
    page.reload()
    item = page.locator(".takes .take")
    expect(item).to_have_count(1)
    expect(item).to_contain_text("Was cut short")
    there = in_browser(page)
    item.get_by_role("button", name="Keep what there is").click()
    expect(item.locator(".says")).to_contain_text("Kept.")
    payload, kept = recording_of(own)
    assert len(kept) >= kept_before
    assert np.array_equal(kept.ravel(), there)
    assert payload.settings["unfinished"] is True


def test_a_take_that_was_cut_short_can_be_dropped(bench, own):
    page = bench()
    begin(page, own)
    wait_for_blows(page, 1)
    page.reload()
    item = page.locator(".takes .take")
    item.get_by_role("button", name="Drop it").click()
    expect(item).to_be_visible()
    item.get_by_role("button", name="Drop it for good").click()
    expect(item).to_have_count(0)
    assert in_browser(page).size == 0
    assert own.desk.takes.all() == ()


def test_a_connection_that_drops_is_taken_up_again(bench, own):
    page = bench()
    begin(page, own)
    wait_for_blows(page, 1)
    page.context.set_offline(True)
    expect(page.locator(".takes .says")).to_contain_text("Kept on this device")
    wait_for_blows(page, 2)
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.get_by_role("button", name="Record", exact=True)).to_be_visible()
    there = in_browser(page)
    page.context.set_offline(False)
    expect(page.locator(".takes .says")).to_contain_text("Kept.")
    assert np.array_equal(recording_of(own)[1].ravel(), there)


def test_without_a_microphone_or_scripts_a_file_can_be_sent(window, own):
    page = window(java_script_enabled=False)
    page.goto(f"{own.address}{own.reed}/record")
    expect(page.get_by_text("This browser cannot record here")).to_be_visible()
    expect(page.get_by_role("button", name="Record", exact=True)).to_be_hidden()
    page.get_by_role("link", name="Send a sound file instead").click()
    expect(page.get_by_label("Sound file")).to_be_visible()
    page = window()
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () =>"
        " Promise.reject(new DOMException('none', 'NotFoundError'));"
    )
    page.goto(f"{own.address}{own.reed}/record")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("No microphone was found")
    assert own.desk.takes.all() == ()


@pytest.mark.parametrize("kind", ["clean", "mixed", "rattling"])
def test_live_values_are_near_what_the_server_measures(window, empty, kind):
    page = window()
    page.goto(empty.address)
    version = page.locator("link[rel=stylesheet]").get_attribute("href").rsplit("/", 1)[0]
    for seed in range(100, 104):
        sound = crow(seed, kind).astype("<f4")
        live = page.evaluate(
            """async ([source, rate, text]) => {
                 const { Follower } = await import(source);
                 const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
                 const all = new Float32Array(bytes.buffer);
                 const follower = new Follower(rate);
                 let last = null;
                 for (let i = 0; i + 2048 <= all.length; i += 2048)
                   last = follower.block(all.subarray(i, i + 2048));
                 return { ...last, median: String(last.median) }; }""",
            [f"{version}/recorder-pitch.js", RATE, base64.b64encode(sound.tobytes()).decode()],
        )
        server = measure_crow(sound, RATE).as_dict()["blows"]
        share = float(np.median([b["pitched_share"] for b in server]))
        assert live["blows"] == len(server) == 3
        assert live["state"] == "usable"
        if kind == "rattling":  # no single pitch there, and none is shown
            assert share < 0.8
            assert live["median"] == "NaN"
        else:
            pitch = float(np.median([b["pitch_hz"] for b in server]))
            assert 1200 * abs(np.log2(float(live["median"]) / pitch)) < 15
            assert live["share"] == pytest.approx(share, abs=0.05)


@pytest.mark.parametrize(
    ("gain", "floor", "state"), [(5e-3, 0, "quiet"), (40.0, 0, "clipped"), (1.0, 0.05, "noisy")]
)
def test_the_light_says_what_stands_in_the_way(window, empty, gain, floor, state):
    page = window()
    page.goto(empty.address)
    version = page.locator("link[rel=stylesheet]").get_attribute("href").rsplit("/", 1)[0]
    rng = np.random.default_rng(1)
    sound = crow(5) * gain
    sound = np.clip(sound + floor * rng.standard_normal(sound.size), -1, 1).astype("<f4")
    seen = page.evaluate(
        """async ([source, rate, text]) => {
             const { Follower } = await import(source);
             const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
             const all = new Float32Array(bytes.buffer);
             const follower = new Follower(rate);
             let last = null;
             for (let i = 0; i + 2048 <= all.length; i += 2048)
               last = follower.block(all.subarray(i, i + 2048));
             return last.state; }""",
        [f"{version}/recorder-pitch.js", RATE, base64.b64encode(sound.tobytes()).decode()],
    )
    assert seen == state


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_the_recorder_is_sound_for_all(bench, own, width, scheme):
    page = bench(width, scheme)
    for recording in (False, True):
        if recording:
            page.locator("summary").last.click()
            page.get_by_role("button", name="Record", exact=True).click()
            wait_for_blows(page, 1)
        else:
            page.goto(f"{own.address}{own.reed}/record")
        assert faults(page) == []
        wide, seen = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= seen
        small = page.evaluate(
            """() => [...document.querySelectorAll('main :is(button, .button, summary, a, '
                 + 'input:not([type=hidden])), .unsent a')]
               .filter((e) => e.checkVisibility({visibilityProperty: true}))
               .map((e) => (e.closest('label.option') ?? e))
               .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
               .filter(([, r]) => r.height < 44 || r.width < 24)
               .map(([t, r]) => `${t} ${r.height}`)"""
        )
        assert small == []
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.locator(".takes .says")).to_contain_text("Kept.")
    assert faults(page) == []


def test_it_is_worked_from_the_keyboard(bench, own, tmp_path: Path):
    page = bench()
    page.goto(f"{own.address}{own.reed}/record")
    page.get_by_role("link", name="Send a sound file instead").wait_for(state="hidden")
    page.get_by_role("button", name="Record", exact=True).focus()
    page.keyboard.press("Space")
    stop = page.get_by_role("button", name="Stop and keep")
    expect(stop).to_be_focused()
    expect(page.get_by_label("Level")).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Record", exact=True)).to_be_focused()


def test_a_server_that_ends_in_mid_take_gets_every_sample_once(bench, tmp_path: Path):
    folder = tmp_path / "real"
    with open_desk(folder) as desk:
        reed = f"/reeds/{desk.add_reed('Gull 7').uuid}"
    page = bench()
    with Server(folder, end_at=["takes:before-rename@3"]) as server:
        page.goto(f"{server.address}{reed}/record")
        until_kept(page, f"{reed}/record")
        page.get_by_role("button", name="Record", exact=True).click()
        expect(page.locator(".takes .says")).to_contain_text("Kept on this device")
        wait_for_blows(page, 2)
        page.get_by_role("button", name="Stop and keep").click()
        expect(page.get_by_role("button", name="Record", exact=True)).to_be_visible()
        there = in_browser(page)
        page.reload()  # nor does it hang on the page that recorded
        server.revive()
        expect(page.locator(".takes .says")).to_contain_text("Kept.")
        assert server.ends == [ENDED]
    with open_desk(folder) as desk:
        _, kept = recording_of(Served(server.address, desk, reed))
        assert desk.takes.all() == ()
    assert np.array_equal(kept.ravel(), there)


def test_a_recording_that_waits_is_sent_from_any_page(bench, own):
    page = bench()
    begin(page, own)
    wait_for_blows(page, 1)
    page.route("**/takes/**", lambda route: route.abort())
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.locator(".takes .says")).to_contain_text("Kept on this device")
    there = in_browser(page)
    page.goto(own.address)
    expect(page.get_by_text("1 recording waits to be sent.")).to_be_visible()
    page.goto(f"{own.address}/waiting")
    expect(page.locator(".unsent-list > li")).to_contain_text("Recording")
    page.unroute("**/takes/**")
    expect(page.get_by_text("Nothing waits.")).to_be_visible(timeout=20_000)
    assert np.array_equal(recording_of(own)[1].ravel(), there)


@pytest.mark.parametrize("channels", [1, 2])
def test_the_worklet_hands_on_every_sample_once_to_the_last(window, empty, channels):
    page = window()
    page.goto(empty.address)
    version = page.locator("link[rel=stylesheet]").get_attribute("href").rsplit("/", 1)[0]
    frames = 39 * 128  # two blocks and a part of one
    got = page.evaluate(
        """async ([source, frames, channels]) => {
             const context = new OfflineAudioContext(channels, frames + 1280, 48000);
             await context.audioWorklet.addModule(source);
             const sound = context.createBuffer(channels, frames + 1280, 48000);
             for (let c = 0; c < channels; c += 1)
               sound.getChannelData(c).forEach((_, i, all) => { all[i] = (i + 1) * (c ? -1 : 1); });
             const node = new AudioWorkletNode(context, 'crowlight-tap', {
               numberOfOutputs: 0, channelCount: channels, channelCountMode: 'explicit',
               channelInterpretation: 'discrete', processorOptions: { channels } });
             const from = new AudioBufferSourceNode(context, { buffer: sound });
             from.connect(node);
             from.start();
             const blocks = [];
             const ended = new Promise((done) => {
               node.port.onmessage = ({ data }) =>
                 data.blocks === undefined ? blocks.push(data) : done(data.blocks); });
             context.suspend(frames / 48000).then(async () => {
               node.port.postMessage('end');
               await ended;
               context.resume(); });
             await context.startRendering();
             return { count: await ended, numbers: blocks.map((b) => b.number),
                      samples: blocks.flatMap((b) => [...b.samples]) }; }""",
        [f"{version}/recorder-worklet.js", frames, channels],
    )
    assert (got["count"], got["numbers"]) == (3, [0, 1, 2])
    ramp = np.arange(1, frames + 1)
    assert np.array_equal(got["samples"], np.column_stack([ramp, -ramp][:channels]).ravel())


def test_a_take_that_becomes_too_long_is_ended_and_kept(bench, own):
    page = bench()

    def shorter(route):
        answer = route.fetch()
        text = answer.text().replace('data-longest="180.0"', 'data-longest="1.5"')
        route.fulfill(response=answer, body=text)

    page.route("**/record", shorter)
    begin(page, own)
    expect(page.locator(".takes .says")).to_contain_text("Kept.")
    payload, kept = recording_of(own)
    assert payload.settings["longest_reached"] is True
    assert 1.2 < len(kept) / payload.sample_rate <= 1.5


def test_a_browser_without_room_keeps_what_it_had_room_for(bench, own):
    page = bench()
    page.add_init_script(
        """const real = IDBObjectStore.prototype.put;
           IDBObjectStore.prototype.put = function (value) {
             if (this.name === 'blocks' && value.number >= 20)
               throw new DOMException('no room', 'QuotaExceededError');
             return real.call(this, value); };"""
    )
    begin(page, own)
    expect(page.get_by_role("alert")).to_contain_text("no room for more")
    expect(page.locator(".takes .says")).to_contain_text("Kept.")
    payload, kept = recording_of(own)
    assert payload.settings["store_failed"] is True
    assert len(kept) == 20 * 2048
