// Readings on a drawn blade: a gauge that types, or a hand, gives one reading after the other; each
// goes into the outbox as an entry of its own before anything else happens, so that nothing is lost
// if the tab dies. Without it the page is a form that takes one reading at a time.

import { PER_MM, attachGauge, readGauge } from "./gauge-keys.js";
import { newUuid } from "./keep.js";
import { changed, post, waiting } from "./outbox.js";

const LIMITS = { lowest: 0.025, highest: 1.5 }; // what the server takes [mm]
const root = document.querySelector(".measure");
const form = root?.querySelector("form.taking");
if (form) start();

function start() {
  const visits = JSON.parse(root.dataset.visits);
  const live = JSON.parse(root.dataset.live);
  const field = form.elements.thickness;
  const select = form.elements.visit;
  const now = form.querySelector("#now");
  const skip = form.querySelector(".skip-point");
  const box = form.querySelector(".in-doubt");
  const undo = document.querySelector(".undo-line");
  const unit = form.elements.unit.value;
  const [perMm, decimals] = { mm: [1, 2], hundredths: [100, 0], um: [1000, 0] }[unit];
  const number = (value, digits) => new Intl.NumberFormat(live.locale, { minimumFractionDigits: digits, maximumFractionDigits: digits }).format(value);
  const said = (mm, more = 0) => number(mm * perMm, decimals + more);
  const finished = root.dataset.finished;
  const points = new Map([...root.querySelectorAll(".pt")].map((p) => [p.dataset.place, p]));
  let at = visits.findIndex((v) => !v.done);
  let order = 0;
  let read = Number(form.querySelector(".count-read").textContent);
  skip.hidden = false;
  form.querySelector("details.how").open = false; // points are chosen in the drawing

  // --- which point ---------------------------------------------------------------------------------

  function choose(n) {
    at = n;
    const visit = visits[n];
    now.textContent = visit ? visit.said : finished;
    for (const p of points.values()) p.classList.remove("current");
    if (!visit) return;
    select.value = visit.value;
    const point = points.get(visit.place);
    if (!point) return;
    point.classList.add("current");
    stop(point);
    // a telephone has room for one blade
    for (const f of root.querySelectorAll(".blades-drawn figure")) f.classList.toggle("other", !f.contains(point));
  }

  // the one stop of the tab key in a blade
  function stop(point) {
    for (const p of point.ownerSVGElement.querySelectorAll(".pt")) p.setAttribute("tabindex", "-1");
    point.setAttribute("tabindex", "0");
  }

  function onward() {
    const after = visits.findIndex((v, n) => n > at && !v.done && !v.out);
    choose(after >= 0 ? after : visits.findIndex((v) => !v.done && !v.out));
  }

  function option(visit, label) {
    const o = document.createElement("option");
    o.value = visit.value;
    o.textContent = label;
    select.append(o);
  }

  // Another reading of a place: the first one open, else one more.
  function visitOf(place, made) {
    const open = visits.findIndex((v) => v.place === place && !v.done && !v.out);
    if (open >= 0) return open;
    const before = visits.filter((v) => v.place === place);
    const [blade, along, across] = (made ?? before[0]?.value).split(",");
    const visit = { place, value: `${blade},${along},${across},${before.length}`, said: made ? points.get(place).getAttribute("aria-label") : before[0].said, again: before.length > 0, done: false };
    visits.push(visit);
    option(visit, visit.said);
    return visits.length - 1;
  }

  select.addEventListener("change", () => choose(visits.findIndex((v) => v.value === select.value)));
  skip.addEventListener("click", () => {
    if (visits[at]) visits[at].out = true;
    onward();
    field.focus();
  });

  // --- taking --------------------------------------------------------------------------------------

  const gauge = attachGauge(field, {
    unit: { mm: "mm", hundredths: "hundredth", um: "um" }[unit],
    ...LIMITS,
    onReading: ({ mm }) => taken(mm),
    onDoubt: (doubt) => {
      doubt.visit = visits[at]; // what follows belongs to the next point
      if (visits[at]) visits[at].done = true;
      onward();
      ask();
    },
  });

  // capturing, so that nothing else sends the form as a whole
  document.addEventListener(
    "submit",
    (event) => {
      if (event.target !== form) return;
      event.preventDefault();
      event.stopPropagation();
      gauge.finish();
      field.focus();
    },
    true,
  );

  const unplaced = [];
  function taken(mm, visit = visits[at]) {
    if (!visit) {
      unplaced.push(mm);
      ask();
      return;
    }
    visit.done = true;
    send(visit, mm);
    if (visit === visits[at]) onward();
  }

  function show(visit, mm, label = said(mm)) {
    const point = points.get(visit.place);
    if (!point) return;
    point.classList.add("read");
    point.querySelector(".val").textContent = label;
    point.setAttribute("aria-label", `${visit.said}: ${label}`);
  }

  async function send(visit, mm) {
    read += 1;
    form.querySelector(".count-read").textContent = String(read);
    show(visit, mm);
    order = Math.max(order + 0.001, Date.now());
    const value = (name) => [name, form.elements[name].value];
    const entry = {
      uuid: newUuid(),
      address: form.getAttribute("action"),
      page: location.pathname + location.search,
      reed: live.reed,
      title: document.querySelector("h1").textContent.trim(),
      draft: "",
      fields: [value("round"), value("seed"), value("burst"), ["visit", visit.value], ["thickness", String(mm)], ["unit", "mm"], value("gauge"), value("state")],
      token: form.elements.token.value,
      seen: null,
      order,
      made_at: new Date().toISOString(),
      tries: 0,
      state: "waiting",
      reasons: [],
      lasting: true,
    };
    let answer;
    try {
      answer = await post(entry);
    } catch {
      answer = await directly(entry); // this browser keeps nothing
    }
    if (answer.state === "sent") {
      undo.hidden = false;
      undo.elements.entry.value = entry.uuid;
      undo.elements.uuid.value = newUuid();
      undo.querySelector(".last-read").textContent = said(mm, 1);
      redraw();
    } else if (answer.state === "refused") {
      refused.push({ entry, visit, mm, reasons: answer.reasons });
      ask();
    }
    tell();
  }

  async function directly(entry) {
    const body = new URLSearchParams([...entry.fields, ["uuid", entry.uuid], ["token", entry.token]]);
    for (let pause = 500; ; pause = Math.min(2 * pause, 8000)) {
      try {
        const reply = await fetch(entry.address, { method: "POST", body, redirect: "manual" });
        if (reply.type === "opaqueredirect" || reply.ok) return { state: "sent" };
        if (reply.status < 500) return { state: "refused", reasons: [String(reply.status)] };
      } catch {
        // crowlight may have been closed: try again
      }
      await new Promise((done) => setTimeout(done, pause));
    }
  }

  // --- what is asked about -------------------------------------------------------------------------

  const refused = [];
  function ask() {
    const rows = [];
    const words = { "two-numbers": "two", "not-a-number": "not", negative: "negative", "too-thin": "thin", "too-thick": "thick" };
    for (const doubt of gauge.held) {
      const where = doubt.visit ? ` (${doubt.visit.said})` : "";
      const acts = [];
      const accept = (mm) => () => { const v = doubt.visit; doubt.visit = undefined; held(doubt, v, mm); };
      for (const mm of meant(doubt)) acts.push([box.dataset.guess.replace("#", `${said(mm, 1)} ${root.dataset.unit}`), accept(mm)]);
      acts.push([box.dataset.drop, () => { doubt.drop(); back(doubt.visit); }]);
      rows.push([`${box.dataset[words[doubt.why]]} ${doubt.text.slice(0, 40)}${where}`, acts]);
    }
    unplaced.forEach((mm, n) => rows.push([`${said(mm, 1)} – ${finished}`, [
      [box.dataset.guess.replace("#", select.selectedOptions[0]?.textContent ?? ""), () => { unplaced.splice(n, 1); taken(mm, visits[visitOf(placeOf(select.value))]); }],
      [box.dataset.drop, () => { unplaced.splice(n, 1); }],
    ]]));
    refused.forEach((r, n) => rows.push([`${box.dataset.refused} ${said(r.mm, 1)}. ${r.reasons.join(" ")}`, [
      [box.dataset.again, () => { refused.splice(n, 1); send(r.visit, r.mm); }],
      [box.dataset.drop, () => { refused.splice(n, 1); back(r.visit); }],
    ]]));
    box.replaceChildren(...rows.map(([text, acts]) => {
      const line = document.createElement("div");
      const told = document.createElement("p");
      told.textContent = text;
      line.append(told);
      for (const [label, act] of acts) {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = label;
        button.addEventListener("click", () => { act(); ask(); field.focus(); });
        line.append(button, " ");
      }
      return line;
    }));
    box.hidden = !rows.length;
  }

  // What a doubtful number may be, in every unit in which it could be a blade.
  function meant(doubt) {
    if (doubt.guess !== null) return [doubt.guess];
    if (!doubt.why.startsWith("too-")) return [];
    return Object.keys(PER_MM).map((u) => readGauge(doubt.text, u, LIMITS)).filter((r) => !r.why).map((r) => r.mm);
  }

  const placeOf = (value) => visits.find((v) => v.value === value)?.place;
  function held(doubt, visit, mm) {
    doubt.drop();
    taken(mm, visit);
  }
  function back(visit) {
    if (!visit) return;
    visit.done = false;
    choose(visits.indexOf(visit));
  }

  // --- the drawn blades ----------------------------------------------------------------------------

  for (const svg of root.querySelectorAll(".entry-blade")) drawn(svg);

  function drawn(svg) {
    const { back: b, outline } = JSON.parse(svg.dataset.drawn);
    svg.addEventListener("click", (event) => {
      const point = event.target.closest(".pt");
      if (point) pick(point);
      else extra(event);
    });
    svg.addEventListener("keydown", (event) => {
      const point = event.target.closest(".pt");
      if (!point || event.ctrlKey || event.metaKey || event.altKey) return;
      const all = [...svg.querySelectorAll(".pt")];
      const n = all.indexOf(point);
      const to = { ArrowRight: n + 1, ArrowDown: n + 1, ArrowLeft: n - 1, ArrowUp: n - 1, Home: 0, End: all.length - 1 }[event.key];
      if (to !== undefined) {
        event.preventDefault();
        const other = all[Math.max(0, Math.min(to, all.length - 1))];
        stop(other);
        other.focus();
      } else if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        pick(point);
      } else if (/^[\d.,]$/.test(event.key)) {
        pick(point); // the digit itself goes into the field, which has the focus by then
      }
    });

    function extra(event) {
      const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      const across = b[0] * spot.x + b[1] * spot.y + b[2];
      const along = b[3] * spot.x + b[4] * spot.y + b[5];
      const i = outline.findIndex(([a]) => a <= along);
      if (along > outline[0][0] || i < 1) return;
      const [[a1, h1], [a0, h0]] = [outline[i - 1], outline[i]];
      if (Math.abs(across) > h0 + ((h1 - h0) * (along - a0)) / (a1 - a0)) return;
      const near = [...svg.querySelectorAll(".pt")].find((p) => {
        const c = p.querySelector(".spot");
        return Math.hypot(c.cx.baseVal.value - spot.x, c.cy.baseVal.value - spot.y) < 18;
      });
      if (near) pick(near);
      else pick(added(spot, Math.round(along * 1e5) / 1e5, Math.round(across * 1e5) / 1e5));
    }

    function added(spot, along, across) {
      const blade = svg.dataset.blade;
      const position = live.towards ? along - live.zero : live.zero - along;
      const side = Math.abs(across) < 5e-5 ? live.centre : `${number(Math.abs(across) * 1e3, 1)} mm ${live.sides[across < 0 ? "left" : "right"]}`;
      const point = svg.querySelector(".pt").cloneNode(true);
      const place = `${blade}-x${points.size}`;
      point.dataset.place = place;
      point.dataset.made = `${blade},${along},${across}`;
      point.setAttribute("aria-label", `${live.blades[blade]}, ${number(position * 1e3, 1)} mm ${live.from}, ${side}`);
      point.setAttribute("class", "pt extra");
      for (const c of point.querySelectorAll("circle")) { c.setAttribute("cx", spot.x); c.setAttribute("cy", spot.y); }
      const text = point.querySelector(".val");
      text.textContent = "";
      text.setAttribute("x", spot.x);
      text.setAttribute("y", spot.y - 11);
      svg.append(point);
      points.set(place, point);
      return point;
    }
  }

  function pick(point) {
    choose(visitOf(point.dataset.place, point.dataset.made));
    field.focus();
  }

  // --- map and sections, drawn by the server -------------------------------------------------------

  const map = document.getElementById("live");
  let due = 0;
  let asking = null;
  function redraw(pause = 900) {
    clearTimeout(due);
    due = setTimeout(async () => {
      asking?.abort();
      const mine = (asking = new AbortController());
      try {
        const reply = await fetch(map.dataset.address, { signal: mine.signal });
        if (!reply.ok) return;
        const page = new DOMParser().parseFromString(await reply.text(), "text/html");
        map.replaceChildren(...page.body.childNodes);
      } catch {
        // it is drawn with the next reading
      }
    }, pause);
  }

  async function tell() {
    const mine = (await waiting().catch(() => [])).filter((e) => e.address === form.getAttribute("action") && e.state === "waiting");
    const line = form.querySelector(".sending");
    line.textContent = mine.length ? line.dataset.waiting.replace("#", String(mine.length)) : read ? line.dataset.sent : "";
    return mine;
  }

  // what waits in the outbox since before a reload was read already
  async function remember() {
    for (const entry of await tell()) {
      const fields = new Map(entry.fields);
      const visit = visits.find((v) => v.value === fields.get("visit"));
      if (fields.get("burst") !== form.elements.burst.value || !visit) continue;
      visit.done = true;
      show(visit, Number(fields.get("thickness")));
    }
    if (visits[at]?.done) onward();
  }

  choose(at);
  changed(() => tell().then((left) => { if (!left.length) redraw(); }));
  remember();
  redraw(0);
}
