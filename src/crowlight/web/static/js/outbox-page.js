// The page of what waits to be sent: why it waits, and what can be done about it.

import { leaveDraft } from "./drafts.js";
import { all } from "./keep.js";
import { again, changed, letGo, sendWaiting, waiting } from "./outbox.js";

const list = document.querySelector(".unsent-list");
const form = document.getElementById("unsent-entry");
const now = document.querySelector(".send-now");
const word = (name) => document.querySelector(`[data-word="${name}"]`).textContent;
const locale = document.documentElement.lang;

document.querySelector(".missing").hidden = document.body.dataset.kept !== "" || location.pathname === "/waiting";

let shownNow = "";

async function show() {
  const entries = await waiting();
  const takes = await all("takes");
  const everything = JSON.stringify([entries.map((e) => [e.uuid, e.state, e.reasons]), takes.map((t) => [t.uuid, t.state])]);
  if (everything === shownNow) return; // so that nobody's focus is lost
  shownNow = everything;
  list.replaceChildren(...entries.map(shownEntry), ...takes.map(shownTake));
  document.querySelector(".nothing").hidden = entries.length + takes.length > 0;
  now.hidden = !entries.some((e) => e.state === "waiting");
}

function shown(title, address, at, state) {
  const item = form.content.firstElementChild.cloneNode(true);
  const link = item.querySelector("a");
  link.textContent = title;
  link.href = address;
  const time = item.querySelector("time");
  time.dateTime = at;
  time.textContent = new Date(at).toLocaleString(locale);
  item.querySelector(".state").textContent = word(state);
  return item;
}

function shownEntry(entry) {
  const item = shown(entry.title || entry.address, entry.page, entry.made_at, entry.state);
  for (const reason of entry.reasons) {
    const line = document.createElement("li");
    line.textContent = reason;
    item.querySelector(".reasons").append(line);
  }
  for (const [name, value] of entry.fields) {
    if (!value || name === "rows" || name === "send") continue;
    const pair = document.createElement("div");
    for (const [tag, text] of [["dt", entry.labels?.[name] ?? name], ["dd", value]]) {
      const part = document.createElement(tag);
      part.textContent = text;
      pair.append(part);
    }
    item.querySelector(".facts").append(pair);
  }
  const [anyway, mend, drop, sure] = ["anyway", "mend", "drop", "sure"].map((c) => item.querySelector(`.${c}`));
  anyway.hidden = entry.state !== "refused" || entry.status === 422; // that would be refused again
  anyway.addEventListener("click", () => again(entry));
  mend.hidden = !entry.draft;
  mend.addEventListener("click", async () => {
    leaveDraft(entry.draft, entry.fields.map(([name, value]) => [name, value]));
    await letGo(entry.uuid);
    location.assign(entry.page);
  });
  drop.addEventListener("click", () => {
    drop.hidden = true;
    sure.hidden = false;
    sure.focus();
  });
  sure.addEventListener("click", () => letGo(entry.uuid));
  return item;
}

function shownTake(take) {
  const state = take.state === "ended" ? "waiting" : "cut-short";
  const item = shown(word("take"), `/reeds/${take.reed}/record`, take.begun_at, state);
  item.querySelector(".send").remove();
  return item;
}

now.addEventListener("click", () => sendWaiting());
changed(show);
setInterval(show, 2_000); // recordings tell nobody
show();
