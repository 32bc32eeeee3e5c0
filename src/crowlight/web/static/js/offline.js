// Every page: forms go through the outbox, the status line says what waits, and the service worker
// keeps the pages of the reeds at hand. Without it forms are sent as they always were.

import { clearDraft, keepDraft } from "./drafts.js";
import { count, newUuid } from "./keep.js";
import { changed, entryOf, knows, latest, post, sendWaiting, waiting } from "./outbox.js";

const AGAIN = 4_000; // ms between tries
const line = document.getElementById("unsent");
const keptAt = document.body.dataset.kept; // set by the service worker on pages from its store
const reed = location.pathname.match(/^\/reeds\/([0-9a-f-]{36})/)?.[1];

// --- forms ----------------------------------------------------------------------------------------

for (const form of document.querySelectorAll('form[method="post"]')) {
  const { uuid, seen } = form.elements;
  if (!uuid || form.querySelector("input[type=file]")) continue;
  if (reed && seen) {
    if (keptAt !== undefined) {
      uuid.value = newUuid(); // the kept page may have been used already
      seen.value = String(Math.max(Number(seen.value), latest(reed)));
    } else {
      knows(reed, Number(seen.value));
    }
  }
  form.addEventListener("submit", (event) => submitted(event, form));
}

async function submitted(event, form) {
  if (event.defaultPrevented || event.submitter?.name === "more") return;
  event.preventDefault();
  if (form.ariaBusy === "true") return;
  form.ariaBusy = "true";
  const entry = entryOf(form, event.submitter);
  const draft = keepDraft(form);
  let answer;
  try {
    const sending = post(entry);
    clearDraft(form); // from here on the outbox has it
    answer = await sending;
  } catch {
    answer = { state: "refused" }; // this browser keeps nothing: send as without scripts
  }
  form.ariaBusy = null;
  if (answer.state === "sent") {
    goTo(answer.then);
  } else if (answer.state === "waiting") {
    waits(form, answer.reasons);
  } else {
    draft?.();
    direct(form, event.submitter);
  }
}

// An address that differs by its fragment alone would not be loaded anew.
function goTo(address) {
  const there = new URL(address, location.href);
  const same = there.pathname + there.search === location.pathname + location.search;
  location.assign(there);
  if (same && (there.hash || location.hash)) location.reload();
}

// Nothing was written: the server shows what is wrong on its own page.
function direct(form, submitter) {
  if (submitter?.name) {
    const chosen = document.createElement("input");
    Object.assign(chosen, { type: "hidden", name: submitter.name, value: submitter.value });
    form.append(chosen);
  }
  form.submit();
}

function waits(form, reasons) {
  const note = document.getElementById("kept-here").content.firstElementChild.cloneNode(true);
  note.querySelector(".why").textContent = reasons.join(" ");
  form.before(note);
  form.reset();
  form.elements.uuid.value = newUuid();
  note.querySelector("button").addEventListener("click", () => {
    note.remove();
    form.hidden = false;
    form.querySelector("input:not([type=hidden]), textarea, select")?.focus();
  });
  note.querySelector("a").href = reed ? `/reeds/${reed}` : "/";
  form.hidden = true;
  note.focus();
}

// --- the status line ------------------------------------------------------------------------------

async function show() {
  // what is being sent for the first time is soon gone
  const kept = (await waiting()).filter((e) => e.tried || Date.now() - e.order > 3_000);
  const refused = kept.filter((e) => e.state === "refused").length;
  const wait = kept.length - refused;
  const words = [];
  if (keptAt) words.push(line.dataset.kept.replace("{}", new Date(keptAt).toLocaleString(document.documentElement.lang)));
  if (keptAt === "") words.push(line.dataset.missing);
  if (wait) words.push(counted(line.dataset.waiting, wait));
  if (refused) words.push(counted(line.dataset.refused, refused));
  const takes = await takesLeft();
  if (takes.waiting) words.push(counted(line.dataset.takes, takes.waiting));
  if (takes.cutShort) words.push(counted(line.dataset.cutShort, takes.cutShort));
  const text = words.join(" ");
  const said = line.querySelector("span");
  if (said.textContent !== text) said.textContent = text;
  line.hidden = !text;
  line.querySelector("a").hidden = !(kept.length || takes.waiting || takes.cutShort) || location.pathname === "/waiting";
  return wait;
}

// Recordings that no recorder is at: those that were ended are sent from any page.
async function takesLeft() {
  const found = { waiting: 0, cutShort: 0 };
  if (document.querySelector(".recorder") || !(await count("takes"))) return found;
  const { left } = await import("./takes.js");
  for (const take of await left("", { counted: false })) found[take.state === "ended" ? "waiting" : "cutShort"] += 1;
  return found;
}

// "one|many", as the page says them
function counted(forms, n) {
  const [one, many] = forms.split("|");
  return (n === 1 ? one : many).replace("{}", String(n));
}

async function tend() {
  try {
    const wait = await show();
    const takes = (await takesLeft()).waiting;
    if (wait) await sendWaiting();
    if (takes) await (await import("./takes.js")).sendLeft();
    if (wait || takes) await show();
  } catch {
    return; // this browser keeps nothing, so nothing waits
  }
  setTimeout(tend, AGAIN);
}

if (line && globalThis.indexedDB) {
  changed(show);
  addEventListener("online", () => sendWaiting().then(show));
  tend();
}

// --- the service worker ---------------------------------------------------------------------------

async function serve() {
  const { serviceWorker } = navigator;
  try {
    await serviceWorker.register("/sw.js");
    const { active } = await serviceWorker.ready;
    if (!reed || keptAt !== undefined) return;
    const base = `/reeds/${reed}`;
    const paths = [...document.querySelectorAll(`.acts a[href^="${base}/"]`)].map((a) => a.pathname);
    // this page first: it may have been opened before there was a service worker to keep it
    active.postMessage({ keep: [...new Set([location.pathname, base, ...paths])] });
  } catch {
    // private windows may forbid it: the pages work as they are
  }
}

if ("serviceWorker" in navigator) {
  const idle = globalThis.requestIdleCallback ?? ((work) => setTimeout(work, 500));
  if (document.readyState === "complete") idle(serve);
  else addEventListener("load", () => idle(serve));
}
