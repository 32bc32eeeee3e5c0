// Recordings on their way to the server. Every block is in this browser before anything else is done
// with it; 16 blocks are a chunk, which is sent under its number as often as it takes. The blocks go
// only when the server says that the recording is kept.
//
// A take: { uuid, reed, sound_of, rate, channels, begun_at, device, settings, state, blocks, frames,
// ended }. Its state is "recording" while a tab holds its lock, then "ended"; one that says
// "recording" without a lock was cut short. `ended` is what is told at the end.

import { all, alone, blocksOf, count, get, put, remove } from "./keep.js";

export const PER_CHUNK = 16; // blocks
const PATIENCE = 20_000; // ms

export const lockOf = (uuid) => `crowlight-take-${uuid}`;

let token = document.querySelector("input[name=token]")?.value ?? "";

// An answer of the server, or null if there is none.
async function ask(method, address, body, renewed = false) {
  let answer;
  let said;
  try {
    answer = await fetch(address, {
      method,
      body,
      headers: { "crowlight-token": token, Accept: "application/json" },
      signal: AbortSignal.timeout(PATIENCE),
    });
    said = await answer.json();
  } catch {
    return null;
  }
  if (answer.status === 403 && said.token && !renewed) {
    token = said.token; // the server was started anew
    return ask(method, address, body, true);
  }
  return { ok: answer.ok, status: answer.status, ...said };
}

const addressOf = (take) => `/reeds/${take.reed}/takes/${take.uuid}`;

// Sends what is there of a take; may be called again and again while it grows.
export class Sender {
  constructor(take) {
    this.take = take;
    this.asked_anew = false;
    this.sent = null; // numbers of the chunks that the server has; null while nothing is known
  }

  // { kept } when the recording is kept, { waits } when the server does not answer, { refused } with
  // the reason, { more } when it goes on.
  async send() {
    const { take } = this;
    if (this.sent === null) {
      const { uuid, reed, sound_of, rate, channels, begun_at, device, settings } = take;
      const head = JSON.stringify({ sound_of, rate, channels, begun_at, device, settings });
      const answer = await ask("POST", addressOf(take), head);
      const done = outcome(answer);
      if (done) return done;
      this.sent = new Set(answer.chunks);
    }
    const blocks = await count("blocks", blocksOf(take.uuid));
    const ended = take.state === "ended";
    const chunks = ended ? Math.ceil(take.blocks / PER_CHUNK) : Math.floor(blocks / PER_CHUNK);
    for (let number = 0; number < chunks; number += 1) {
      if (this.sent.has(number)) continue;
      const answer = await ask("PUT", `${addressOf(take)}/${number}`, await this.chunk(number));
      const done = outcome(answer);
      if (done) {
        if (answer?.status === 404) this.sent = null; // the server knows nothing of it: begin anew
        return answer?.status === 404 ? { waits: true } : done;
      }
      this.sent.add(number);
    }
    if (!ended) return { more: true };
    const end = JSON.stringify({ chunks, frames: take.frames, settings: take.ended ?? {} });
    const answer = await ask("POST", `${addressOf(take)}/finish`, end);
    if (answer?.ok) return outcome(answer);
    if (answer?.status !== 422 || this.asked_anew) return outcome(answer);
    this.asked_anew = true;
    this.sent = null; // something is missing there: see what, and send it
    return { waits: true, reason: answer.detail };
  }

  async chunk(number) {
    const { take } = this;
    const parts = await all("blocks", blocksOf(take.uuid, number * PER_CHUNK, (number + 1) * PER_CHUNK));
    return new Blob(parts.map((p) => p.samples));
  }
}

function outcome(answer) {
  if (!answer || answer.status === 503) return { waits: true, reason: answer?.detail };
  if (answer.kept) return { kept: answer.kept };
  return answer.ok ? null : { refused: answer.detail ?? String(answer.status) };
}

// What the server has kept needs no keeping here.
export async function letGo(uuid) {
  await remove("blocks", blocksOf(uuid));
  await remove("takes", uuid);
}

// A take that was cut short ends with its last block before a gap.
export async function mend(take) {
  const parts = await all("blocks", blocksOf(take.uuid));
  const gap = parts.findIndex((p, n) => p.number !== n);
  const whole = gap < 0 ? parts : parts.slice(0, gap);
  const frames = whole.reduce((sum, p) => sum + p.samples.length / take.channels, 0);
  Object.assign(take, { blocks: whole.length, frames });
  return take;
}

// The takes of this browser, of one reed or all, that no tab is recording now. What their blocks
// come to is counted only if asked for: all of them have to be read for it.
export async function left(reed, { counted = true } = {}) {
  const found = [];
  for (const take of await all("takes")) {
    if (reed && take.reed !== reed) continue;
    if (take.state === "ended") found.push(take);
    else await alone(lockOf(take.uuid), async () => found.push(counted ? await mend(take) : take), { wait: false });
  }
  return found;
}

// Sends the takes that were ended and wait; true if none is left to send.
export async function sendLeft() {
  let allSent = true;
  for (const take of await left("", { counted: false })) {
    if (take.state !== "ended") continue;
    const done = await alone(lockOf(take.uuid), () => new Sender(take).send(), { wait: false });
    if (done?.kept) await letGo(take.uuid);
    else allSent = false;
  }
  return allSent;
}

export async function endNow(take, told) {
  Object.assign(take, { state: "ended", ended: told });
  await put("takes", take);
}

// Forgets a take here and on the server; false if the server does not answer.
export async function drop(take) {
  const answer = await ask("DELETE", addressOf(take));
  if (!answer?.ok) return false;
  if (await get("takes", take.uuid)) await letGo(take.uuid);
  return true;
}
