// Entries on their way to the server. Each is kept in this browser under the uuid of its form
// before it is sent, and let go only when the server says that it has it. The server writes a uuid
// once, however often it is sent.
//
//   post(entry)       keep and send now; { state: "sent", then } or { state: "waiting" | "refused",
//                     reasons }. What was refused is kept only if `entry.lasting` is set.
//   sendWaiting()     send what waits, oldest first; what is refused stays, with its reasons
//   waiting()         all that is kept, oldest first
//   entryOf(form, submitter)   the entry that a form would send
//   again(entry)      send one that was refused, as of what is known now
//   letGo(uuid)      forget one
//   changed(work)     call work whenever something changed, in this or another tab

import { all, alone, put, remove } from "./keep.js";

const PATIENCE = 15_000; // ms
const SKIP = new Set(["token", "uuid", "seen"]);
const told = globalThis.BroadcastChannel ? new BroadcastChannel("crowlight-outbox") : null;
const listeners = new Set();

export function changed(work) {
  listeners.add(work);
}

if (told) told.onmessage = () => listeners.forEach((work) => work());

function tell() {
  listeners.forEach((work) => work());
  told?.postMessage("changed");
}

export async function waiting() {
  const found = await all("entries");
  return found.sort((a, b) => a.order - b.order);
}

export async function letGo(uuid) {
  await remove("entries", uuid);
  tell();
}

export function entryOf(form, submitter) {
  const data = new FormData(form, submitter);
  const fields = [...data].filter(([name, value]) => !SKIP.has(name) && typeof value === "string");
  const seen = data.get("seen");
  return {
    uuid: data.get("uuid"),
    address: form.getAttribute("action") || location.pathname + location.search,
    page: location.pathname + location.search,
    reed: location.pathname.match(/^\/reeds\/([0-9a-f-]{36})/)?.[1] ?? "",
    title: [...document.querySelectorAll("h1, .crumb")].map((e) => e.textContent.trim()).reverse().join(": "),
    draft: form.dataset.draft ?? "",
    fields,
    labels: Object.fromEntries(fields.map(([name]) => [name, labelOf(form, name)])),
    token: data.get("token"),
    seen: seen === null ? null : Number(seen),
    order: Date.now() + Math.random() / 2,
    made_at: new Date().toISOString(),
    tries: 0,
    state: "waiting",
    reasons: [],
  };
}

function labelOf(form, name) {
  const [element] = form.querySelectorAll(`[name="${CSS.escape(name)}"]`);
  const several = element?.matches("[type=radio], [type=checkbox]");
  const label = several ? element.closest("fieldset")?.querySelector("legend") : element?.labels?.[0];
  return element?.ariaLabel || (label?.firstChild?.textContent ?? "").trim() || name;
}

export async function post(entry) {
  await put("entries", entry);
  tell();
  const answer = await alone("crowlight-outbox", () => send(entry));
  if (answer.state === "refused" && !entry.lasting) await letGo(entry.uuid);
  return answer;
}

export function sendWaiting() {
  return alone(
    "crowlight-outbox",
    async () => {
      for (const { uuid } of await waiting()) {
        // read anew: the number of the latest entry may have moved on with the one before
        const entry = (await waiting()).find((e) => e.uuid === uuid);
        if (!entry || entry.state !== "waiting") continue;
        if ((await send(entry)).state === "waiting") return false;
      }
      return true;
    },
    { wait: false },
  );
}

export async function again(entry) {
  try {
    const answer = await fetch(entry.page, { headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const seen = page.querySelector("input[name=seen]")?.value;
    if (answer.ok && seen !== undefined) entry.seen = Number(seen);
  } catch {
    // it waits then
  }
  entry.state = "waiting";
  entry.reasons = [];
  await put("entries", entry);
  tell();
  return sendWaiting();
}

// --- sending --------------------------------------------------------------------------------------

async function send(entry, renewed = false) {
  const body = new URLSearchParams(entry.fields);
  body.set("uuid", entry.uuid);
  body.set("token", entry.token ?? "");
  if (entry.seen !== null) body.set("seen", String(entry.seen));
  // what is sent at once happened now; what had to wait says when
  if (entry.tries > 0) body.set("made_at", entry.made_at);
  entry.tries += renewed ? 0 : 1;
  await put("entries", entry);
  let answer;
  let text;
  try {
    answer = await fetch(entry.address, {
      method: "POST",
      body,
      headers: { "crowlight-then": "1", Accept: "text/html" },
      signal: AbortSignal.timeout(PATIENCE),
    });
    text = await answer.text();
  } catch {
    return stays(entry, "waiting", []);
  }
  if (answer.ok && answer.headers.get("content-type")?.startsWith("application/json")) {
    await sent(entry);
    return { state: "sent", then: JSON.parse(text).then };
  }
  const page = new DOMParser().parseFromString(text, "text/html");
  const token = page.querySelector("input[name=token]")?.value;
  if (answer.status === 403 && token && token !== entry.token && !renewed) {
    entry.token = token; // the server was started anew
    return send(entry, true);
  }
  const troubles = [...page.querySelectorAll("#troubles > ul > li")];
  const said = (troubles.length ? troubles : [...page.querySelectorAll("main > p")]).map((e) => e.textContent.trim());
  const reasons = said.length ? said.slice(0, 20) : [text.slice(0, 300)];
  entry.status = answer.status;
  return stays(entry, answer.status === 503 ? "waiting" : "refused", reasons);
}

async function stays(entry, state, reasons) {
  Object.assign(entry, { state, reasons, tried: true });
  await put("entries", entry);
  tell();
  return { state, reasons };
}

// The entry is the next one of its reed; others made from the same page have seen it, then.
async function sent(entry) {
  for (const other of await waiting()) {
    if (other.uuid !== entry.uuid && other.reed === entry.reed && other.seen === entry.seen && entry.seen !== null) {
      other.seen += 1;
      await put("entries", other);
    }
  }
  if (entry.reed && entry.seen !== null) knows(entry.reed, entry.seen + 1);
  await letGo(entry.uuid);
}

// --- the latest entry of a reed that was seen or written in this browser --------------------------

export function knows(reed, seq) {
  try {
    if (seq > latest(reed)) localStorage.setItem(`seen:${reed}`, String(seq));
  } catch {
    // storage forbidden: a kept page may then be told that it is old
  }
}

export function latest(reed) {
  try {
    return Number(localStorage.getItem(`seen:${reed}`) ?? 0);
  } catch {
    return 0;
  }
}
