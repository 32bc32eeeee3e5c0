// The recorder of one reed.
//
//   attachRecorder(root)   root is what the macro `panel` of recorder.html makes. Events on it:
//   "take-kept"    detail { uuid, address, says }: a recording is kept and was measured
//   recorder.start(), recorder.stop(), recorder.recording, recorder.take
//
// Samples go into this browser's store first, then to the server; see takes.js.

import { newUuid, put, putFast } from "./keep.js";
import { drop, endNow, left, letGo, lockOf, mend, Sender } from "./takes.js";

const OFF = ["echoCancellation", "noiseSuppression", "autoGainControl"];
const AGAIN = 1_500; // ms between tries
const EVERY = 700; // ms between sendings while it is recorded
const here = new URL(".", import.meta.url);

export function attachRecorder(root) {
  const part = (name) => root.querySelector(`.${name}`);
  const word = (name) => root.querySelector(`[data-word="${name}"]`).textContent;
  const reed = root.dataset.reed;
  const longest = Number(root.dataset.longest);
  const locale = document.documentElement.lang;
  const number = (value, digits = 0) =>
    Number.isFinite(value) ? value.toLocaleString(locale, { maximumFractionDigits: digits, minimumFractionDigits: digits }) : "–";
  const button = part("record");
  let running = null;

  const can = navigator.mediaDevices?.getUserMedia && globalThis.AudioWorkletNode && globalThis.indexedDB;
  part("panel").hidden = !can;
  part("cannot").hidden = Boolean(can);
  if (!can) return null;

  const recorder = {
    get recording() {
      return running !== null;
    },
    get take() {
      return running?.take ?? null;
    },
    start,
    stop,
  };
  button.addEventListener("click", () => (running ? stop() : start()));
  for (const item of root.querySelectorAll(".take[data-take]")) notWhileRecorded(item);
  showLeft();
  return recorder;

  // --- recording ----------------------------------------------------------------------------------

  async function start() {
    if (running || button.ariaBusy === "true") return;
    button.ariaBusy = "true";
    trouble("");
    const reference = part("told").elements.reference;
    if (reference.value.trim() && !referenceOf(reference.value)) {
      button.ariaBusy = null;
      trouble(word("reference"));
      part("told-more").open = true;
      reference.focus();
      return;
    }
    try {
      running = await open();
    } catch (error) {
      const known = { NotAllowedError: "denied", NotFoundError: "none", NotReadableError: "taken" };
      trouble(word(known[error.name] ?? "failed"), known[error.name] ? "" : `${error.name}: ${error.message}`);
    }
    button.ariaBusy = null;
    if (!running) return;
    button.textContent = word("stop");
    root.dataset.recording = "";
    light("listening");
    part("live").hidden = false;
    const { take } = running;
    running.item = itemOf(take);
    say(running.item, word("recording"));
    running.sending = sendWhile(running);
  }

  async function open() {
    const off = Object.fromEntries(OFF.map((name) => [name, false]));
    const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...off, channelCount: 1 } });
    const [track] = stream.getAudioTracks();
    const given = track.getSettings();
    let context = null;
    try {
      context = await contextAt(given.sampleRate);
      await context.audioWorklet.addModule(new URL("recorder-worklet.js", here));
      const channels = Math.min(given.channelCount ?? 1, 2);
      const node = new AudioWorkletNode(context, "crowlight-tap", {
        numberOfOutputs: 0,
        channelCount: channels,
        channelCountMode: "explicit",
        channelInterpretation: "discrete",
        processorOptions: { channels },
      });
      const take = takeOf(given, context, channels, track.label);
      await put("takes", take);
      const now = { take, stream, context, node, writes: new Set(), frames: 0, blocks: 0, first: 0, last: 0, done: null };
      now.release = held(lockOf(take.uuid));
      now.ended = new Promise((done) => { now.done = done; });
      now.ear = new Worker(new URL("recorder-pitch.js", here), { type: "module" });
      now.ear.postMessage({ rate: take.rate });
      now.ear.onmessage = ({ data }) => heard(data);
      node.port.onmessage = ({ data }) => came(now, data);
      track.addEventListener("ended", () => stop({ interrupted: true }));
      reported(take.settings);
      context.createMediaStreamSource(stream).connect(node);
      return now;
    } catch (error) {
      stream.getTracks().forEach((t) => t.stop());
      await context?.close();
      throw error;
    }
  }

  async function contextAt(rate) {
    let context;
    try {
      context = new AudioContext(rate ? { sampleRate: rate } : {}); // the microphone's own: nothing is resampled
    } catch {
      context = new AudioContext();
    }
    await context.resume();
    return context;
  }

  function takeOf(given, context, channels, label) {
    const told = new FormData(part("told"));
    const settings = { context_rate: context.sampleRate, recorder: "page" };
    for (const name of OFF) settings[name] = given[name] ?? null;
    if (given.sampleRate) settings.microphone_rate = given.sampleRate;
    if (given.channelCount) settings.microphone_channels = given.channelCount;
    if (Number.isFinite(given.latency)) settings.latency_s = given.latency;
    if (label) settings.label = label.slice(0, 200);
    if (told.has("one_reed")) settings.one_reed = true;
    const reference = referenceOf(told.get("reference") ?? "");
    if (reference) settings.reference_hz = reference;
    return {
      uuid: newUuid(),
      reed,
      sound_of: told.get("sound_of") ?? "crow",
      device: (told.get("device") ?? "").trim().slice(0, 200),
      rate: context.sampleRate,
      channels,
      begun_at: new Date().toISOString(),
      settings,
      state: "recording",
    };
  }

  function came(now, { number: at, samples, blocks }) {
    if (blocks !== undefined) {
      now.done(blocks);
      return;
    }
    const { take } = now;
    now.last = performance.now();
    now.first ||= now.last;
    now.blocks = at + 1;
    now.frames += samples.length / take.channels;
    const write = putFast("blocks", { take: take.uuid, number: at, samples })
      .then(() => { root.dataset.kept = String(Number(root.dataset.kept ?? 0) + samples.length / take.channels); })
      .catch((error) => {
        now.failed ??= error;
        trouble(word("full"), error.message);
        stop({ store_failed: true });
      })
      .finally(() => now.writes.delete(write));
    now.writes.add(write);
    now.ear.postMessage({ samples, channels: take.channels });
    part("clock").textContent = number(now.frames / take.rate, 1);
    if (now.frames + (4 * samples.length) / take.channels > longest * take.rate) stop({ longest_reached: true });
  }

  async function stop(told = {}) {
    const now = running;
    if (!now || now.stopping) return;
    now.stopping = true;
    now.node.port.postMessage("end"); // hands on what is in the block under way
    await Promise.race([now.ended, new Promise((done) => { setTimeout(done, 2_000); })]);
    await Promise.allSettled([...now.writes]);
    now.stream.getTracks().forEach((t) => t.stop());
    now.ear.terminate();
    await now.context.close();
    // between the first and the last block, as the clock says and as the samples say
    const clock = (now.last - now.first) / 1000;
    const blocks = now.frames / now.take.rate - 2048 / now.take.rate;
    const lost = clock - blocks;
    const ended = { ...told, ...(lost > 0.25 && { lost_s: Math.round(lost * 100) / 100 }) };
    if (ended.lost_s) trouble(word("lost").replace("{}", number(ended.lost_s, 1)));
    Object.assign(now.take, { blocks: now.blocks, frames: now.frames });
    if (now.failed) await mend(now.take); // up to the first block there was no room for
    await endNow(now.take, ended);
    running = null;
    root.dataset.kept = "0";
    delete root.dataset.recording;
    button.textContent = word("record");
    await now.sending;
    now.release();
    await finish(now.take, now.item, now.sender);
  }

  // --- sending ------------------------------------------------------------------------------------

  async function sendWhile(now) {
    now.sender = new Sender(now.take);
    while (now.take.state === "recording") {
      const done = await now.sender.send();
      if (done.refused) {
        trouble(done.refused);
        stop();
        return;
      }
      say(now.item, word(done.waits ? "kept-here" : "recording"));
      await new Promise((go) => { setTimeout(go, done.waits ? AGAIN : EVERY); });
    }
  }

  async function finish(take, item, sender = new Sender(take)) {
    item.querySelector(".choose").hidden = true;
    for (;;) {
      say(item, word("sending"));
      const done = await sender.send();
      if (done.kept) {
        await letGo(take.uuid);
        await measured(take, item, done.kept);
        return;
      }
      if (done.refused) {
        say(item, `${word("refused")} ${done.refused}`);
        choose(take, item);
        return;
      }
      say(item, `${word("kept-here")} ${done.reason ?? ""}`);
      await new Promise((go) => { setTimeout(go, AGAIN); });
    }
  }

  async function measured(take, item, address) {
    const link = item.querySelector("a");
    link.href = address;
    link.hidden = false;
    say(item, word("measuring"));
    let says = "";
    try {
      const answer = await fetch(`${address}/heard.json`, { headers: { Accept: "application/json" } });
      ({ says = "" } = await answer.json());
    } catch {
      // its page says it later
    }
    say(item, `${word("kept")} ${says}`);
    root.dispatchEvent(new CustomEvent("take-kept", { detail: { uuid: take.uuid, address, says }, bubbles: true }));
  }

  // --- takes that are left from before ------------------------------------------------------------

  async function showLeft() {
    for (const take of await left(reed)) {
      const item = itemOf(take);
      if (take.state === "ended") {
        finish(take, item);
      } else {
        say(item, word("cut-short").replace("{}", number(take.frames / take.rate, 1)));
        choose(take, item);
      }
    }
  }

  function choose(take, item) {
    const row = item.querySelector(".choose");
    row.hidden = false;
    const [keep, forget] = row.querySelectorAll("button");
    keep.hidden = !take.blocks;
    keep.onclick = async () => {
      await endNow(take, take.ended ?? { unfinished: true });
      finish(take, item);
    };
    forget.onclick = async () => {
      if (forget.dataset.sure === undefined) {
        forget.dataset.sure = "";
        forget.textContent = word("sure");
        return;
      }
      if (await drop(take)) item.remove();
      else say(item, word("kept-here"));
    };
  }

  function itemOf(take) {
    root.querySelector(`.take[data-take="${take.uuid}"]`)?.remove();
    const item = part("take-item").content.firstElementChild.cloneNode(true);
    item.dataset.take = take.uuid;
    item.querySelector(".when").textContent = new Date(take.begun_at).toLocaleTimeString(locale, { hour: "2-digit", minute: "2-digit" });
    part("takes").prepend(item);
    part("takes-here").hidden = false;
    return item;
  }

  // What the server lists may be under way in another tab of this browser.
  async function notWhileRecorded(item) {
    const locks = (await navigator.locks?.query())?.held ?? [];
    if (locks.some((lock) => lock.name === lockOf(item.dataset.take))) {
      item.querySelectorAll("form").forEach((form) => { form.hidden = true; });
      item.querySelector(".says").textContent = word("elsewhere");
    }
  }

  // --- what is shown ------------------------------------------------------------------------------

  function heard(told) {
    part("level").value = Math.max(-80, told.level);
    part("level").textContent = `${number(told.level)} dB`;
    part("pitch").textContent = number(told.pitch, 0);
    part("median").textContent = number(told.median, 1);
    part("share").textContent = number(100 * told.share, 0);
    part("blows").textContent = number(told.blows);
    part("live").dataset.median = String(told.median);
    part("live").dataset.share = String(told.share);
    light(told.state);
  }

  function light(state) {
    const shown = part("light");
    if (shown.dataset.state === state) return;
    shown.dataset.state = state;
    shown.textContent = word(state);
  }

  // Whatever the browser does to the sound although it was asked not to.
  function reported(settings) {
    const on = OFF.filter((name) => settings[name]).map((name) => word(name));
    const silent = OFF.filter((name) => settings[name] === null).map((name) => word(name));
    const lines = [];
    if (on.length) lines.push(word("still-on").replace("{}", on.join(", ")));
    if (silent.length) lines.push(word("not-said").replace("{}", silent.join(", ")));
    part("browser-does").textContent = lines.join(" ");
    part("browser-does").hidden = !lines.length;
    part("rate").textContent = word("rate").replace("{}", number(settings.context_rate));
  }

  function trouble(text, detail = "") {
    part("recorder-trouble").textContent = [text, detail].filter(Boolean).join(" ");
    part("recorder-trouble").hidden = !text;
  }

  function say(item, text) {
    item.querySelector(".says").textContent = text;
  }
}

// The player's A [Hz], or null.
function referenceOf(text) {
  const value = Number(text.trim().replace(",", "."));
  return value >= 400 && value <= 480 ? value : null;
}

// Holds a lock until the function it returns is called.
function held(name) {
  let release = () => {};
  navigator.locks?.request(name, () => new Promise((done) => { release = done; }));
  return () => release();
}

for (const root of document.querySelectorAll(".recorder")) attachRecorder(root);
