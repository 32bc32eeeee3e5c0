// Keeps what is being typed until the server has confirmed it: a reload, a crash or a dropped
// connection loses nothing. Works on every <form data-draft="name">; without it forms still work.

const PREFIX = "draft:";
const SKIP = new Set(["token", "uuid", "seen", "rows"]);

function fields(form) {
  return [...form.elements].filter(
    (e) => e.name && !SKIP.has(e.name) && !["file", "submit", "button", "fieldset"].includes(e.type),
  );
}

function value(element) {
  return element.type === "radio" || element.type === "checkbox"
    ? element.checked
    : element.value;
}

function snapshot(form) {
  return JSON.stringify(fields(form).map((e) => [e.name, value(e)]));
}

// Fills by name, in order; returns the names there is no field for.
function fill(form, draft) {
  const free = fields(form);
  const lost = [];
  for (const [name, v] of JSON.parse(draft)) {
    const at = free.findIndex((e) => e.name === name);
    if (at < 0) {
      if (v !== "" && v !== false) lost.push(name);
      continue;
    }
    const [element] = free.splice(at, 1);
    if (typeof v === "boolean") element.checked = v;
    else element.value = v;
  }
  return lost;
}

function keep(name, text) {
  try {
    if (text === null) localStorage.removeItem(PREFIX + name);
    else localStorage.setItem(PREFIX + name, text);
  } catch {
    // storage full or forbidden: the form works as before
  }
}

function kept(name) {
  try {
    return localStorage.getItem(PREFIX + name);
  } catch {
    return null;
  }
}

function forget(start) {
  try {
    for (const key of Object.keys(localStorage)) {
      if (key.startsWith(PREFIX + start)) localStorage.removeItem(key);
    }
  } catch {
    // nothing was kept
  }
}

// What is typed now, to be kept again later if need be.
export function keepDraft(form) {
  const name = form.dataset.draft;
  if (!name) return null;
  const text = snapshot(form);
  return () => keep(name, text);
}

export function clearDraft(form) {
  if (form.dataset.draft) keep(form.dataset.draft, null);
}

// Typed once, to be shown in its form when that is next opened.
export function leaveDraft(name, fields) {
  keep(name, JSON.stringify(fields));
}

// The address says that the form of this kind was written down: its draft has done its work.
const done = document.body.dataset.done;
if (done) {
  const reed = location.pathname.split("/")[2] ?? "";
  // where the page has such a form for one thing of several, only that one was written down
  const one = document.querySelector(`form[data-draft^="${done}-${reed}-"]`);
  for (const name of [one?.dataset.draft ?? `${done}-${reed}`, "new", "import"]) forget(name);
  // what else the address says, like which cut is asked about, must outlive a reload
  const address = new URL(location.href);
  for (const told of ["done", "form"]) address.searchParams.delete(told);
  history.replaceState(null, "", address);
}

for (const form of document.querySelectorAll("form[data-draft]")) {
  const name = form.dataset.draft;
  const fresh = snapshot(form);
  const draft = kept(name);
  // a form that comes back with a message, or with more rows, holds what was typed already
  const answered = form.dataset.answered !== undefined;
  if (draft && !answered && draft !== fresh) {
    const lost = fill(form, draft);
    const rows = Math.max(0, ...lost.map((n) => Number(n.match(/-(\d+)$/)?.[1] ?? -1) + 1));
    const address = new URL(location.href);
    if (rows && address.searchParams.get("rows") !== String(rows)) {
      address.searchParams.set("rows", String(rows));
      location.replace(address);
    }
    const note = form.querySelector(".restored");
    if (note) {
      note.hidden = false;
      note.querySelector("button").addEventListener("click", () => {
        keep(name, null);
        location.reload();
      });
    }
  }
  form.addEventListener("input", () => keep(name, snapshot(form)));
}
