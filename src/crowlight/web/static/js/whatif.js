// The what-if panel, live: while a field changes, effects times change are summed here; at rest the
// opening curve is solved from the reed as it is; in full by the button. Only the newest question
// counts.
const form = document.querySelector("form.what-if");
const told = document.querySelector(".foreseen");
const data = JSON.parse(document.getElementById("levers")?.textContent ?? "null");
const LENGTHS = { depth: 1e-5, back: 1e-3, clip: 1e-3 };
const MOST = { depth: 2e-4, back: 2e-3, clip: 2e-3 };
const REST = 200; // ms
const AGAIN = { warm: 150, full: 500 }; // ms between looks at a solution under way

if (form && told && data) start();

function start() {
  const how = told.querySelector(".how");
  const rows = new Map([...told.querySelectorAll("[data-output]")].map((r) => [r.dataset.output, r]));
  let resting = 0;
  let asked = null;

  for (const slider of form.querySelectorAll(".slider")) {
    const field = form.elements[slider.dataset.for];
    slider.hidden = false;
    slider.value = number(field.value) || 0;
    slider.addEventListener("input", () => {
      field.value = slider.value;
      changed();
    });
    field.addEventListener("input", () => {
      slider.value = number(field.value) || 0;
    });
  }
  tapping(form, changed);
  form.addEventListener("input", (event) => {
    if (!event.target.classList.contains("slider")) changed();
  });

  function changed() {
    clearTimeout(resting);
    asked?.abort();
    for (const old of told.querySelectorAll(".caution, .notice")) old.remove();
    const cut = read();
    told.hidden = cut === null;
    if (cut === null) return;
    show(foresee(cut));
    for (const floor of data.floors) {
      const cuts = floor.zone === cut.zone && (cut.blade === "both" || cut.blade === floor.blade);
      if (cuts && cut.depth > floor.least) remark(floor.text, "caution");
    }
    how.textContent = cut.clip ? how.dataset.clip : how.dataset.quick;
    if (!cut.clip) resting = setTimeout(() => solve("warm"), REST);
  }

  form.addEventListener("submit", (event) => {
    if (event.submitter?.value !== "full" || read() === null) return;
    event.preventDefault();
    changed();
    clearTimeout(resting);
    solve("full");
  });

  function read() {
    const cut = { zone: form.elements.zone.value, blade: form.elements.blade.value, side: form.elements.side.value };
    for (const [name, unit] of Object.entries(LENGTHS)) {
      const text = form.elements[name]?.value.trim() ?? "";
      cut[name] = text ? number(text) * unit : 0;
      if (!(cut[name] >= 0 && cut[name] <= MOST[name] * 1.000001)) return null;
    }
    const down = form.elements.from_tip.value.trim();
    if (down) {
      if (cut.zone) return null;
      const { from_tip: rows, half_width: half } = data.strokes;
      cut.from_tip = number(down) / 1000;
      cut.across = number(form.elements.across.value.trim() || "0") / 1000 / along(cut.from_tip, rows, half);
      if (!(cut.from_tip >= 0 && cut.from_tip <= rows.at(-1) && Math.abs(cut.across) <= 1)) return null;
    } else if (!cut.zone) cut.depth = 0;
    return cut.depth || cut.back || cut.clip ? cut : null;
  }

  function foresee(cut) {
    const sum = data.outputs.map((_, k) => cut.clip * (data.clip[k] ?? NaN));
    if (!cut.clip) sum.fill(0);
    const blades = cut.blade === "both" ? ["marked", "plain"] : [cut.blade];
    if (cut.from_tip !== undefined) {
      // by the maps of what a stroke does; what has no map is told at rest
      const { from_tip: rows, fraction, effects, cane } = data.strokes;
      data.outputs.forEach((o, k) => {
        for (const blade of blades) {
          const line = effects[o.name]?.[blade].map((row) => along(cut.across, fraction, row));
          sum[k] += line ? (along(cut.from_tip, rows, line) * cut.depth) / cane : NaN;
        }
      });
    }
    for (const lever of data.levers) {
      if (!cut.depth || lever.zone !== cut.zone || !blades.includes(lever.blade)) continue;
      if (cut.side !== "both" && cut.side !== lever.side) continue;
      lever.slopes.forEach((slope, k) => { sum[k] += cut.depth * (slope ?? NaN); });
    }
    if (cut.back) {
      const i = Math.max(data.moves.findIndex((m) => m >= cut.back - 1e-12), 1);
      const share = (cut.back - data.moves[i - 1]) / (data.moves[i] - data.moves[i - 1]);
      for (const blade of blades) {
        const [low, high] = [data.moved[blade][i - 1], data.moved[blade][i]];
        sum.forEach((_, k) => { sum[k] += (1 - share) * (low[k] ?? NaN) + share * (high[k] ?? NaN); });
      }
    }
    return sum;
  }

  function show(sum) {
    data.outputs.forEach((o, k) => {
      const row = rows.get(o.name);
      const [value, low, high] = [o.value, o.low, o.high].map((v) => said((v + sum[k]) * o.factor, o.decimals, o.signed));
      const change = o.signed ? 100 * sum[k] : (100 * sum[k]) / o.value;
      fill(row, {
        after: value,
        after_interval: !Number.isFinite(sum[k]) ? data.unknown : data.between.replace("%(low)s", low).replace("%(high)s", high),
        change: said(change, 1, true) + (o.signed || !Number.isFinite(change) ? "" : " %"),
        change_interval: "",
        open_sign: false,
      });
    });
  }

  async function solve(kind) {
    const mine = new AbortController();
    asked = mine;
    how.textContent = how.dataset.busy;
    const address = `${form.dataset[kind]}?${new URLSearchParams(new FormData(form))}`;
    try {
      for (;;) {
        const answer = await fetch(address, { signal: mine.signal });
        const found = await answer.json();
        if (mine.signal.aborted) return;
        if (answer.status === 202) {
          await new Promise((done) => setTimeout(done, AGAIN[kind]));
          if (mine.signal.aborted) return;
          continue;
        }
        if (!answer.ok) {
          how.textContent = `${how.dataset.failed} ${(found.troubles ?? []).join(" ")}`;
          return;
        }
        for (const r of found.rows) fill(rows.get(r.name), r);
        for (const text of found.notes) remark(text, "notice");
        how.textContent = found.how;
        return;
      }
    } catch (error) {
      if (error.name !== "AbortError") how.textContent = how.dataset.quick;
    }
  }

  function remark(text, kind) {
    const line = document.createElement("p");
    line.className = kind;
    line.textContent = text;
    told.querySelector("table").before(line);
  }
}

// Both blades, facing each, tip up: a tap puts the stroke there. The fields say the same.
function tapping(form, changed) {
  const place = form.querySelector(".tap-stroke");
  const { from_tip: rows, half_width: half, radius } = data.strokes;
  place.hidden = false;
  const marks = {};
  for (const blade of ["marked", "plain"]) {
    const right = rows.map((y, i) => `${half[i] * 1e3},${y * 1e3}`);
    const left = rows.map((y, i) => `${-half[i] * 1e3},${y * 1e3}`).reverse();
    const name = place.lastElementChild.dataset[blade];
    const drawn = new DOMParser().parseFromString(
      `<svg xmlns="http://www.w3.org/2000/svg" viewBox="-4.5 -0.5 9 ${rows.at(-1) * 1e3 + 1}" aria-hidden="true">
       <polygon points="${[...right, ...left].join(" ")}"/><circle r="${radius * 1e3}" visibility="hidden"/></svg>`,
      "image/svg+xml",
    ).documentElement;
    const figure = document.createElement("figure");
    const caption = document.createElement("figcaption");
    caption.textContent = name;
    figure.append(caption, drawn);
    place.lastElementChild.append(figure);
    marks[blade] = drawn.querySelector("circle");
    drawn.addEventListener("click", (event) => {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawn.getScreenCTM().inverse());
      const down = Math.min(Math.max(at.y, 0), rows.at(-1) * 1e3);
      const most = along(down / 1e3, rows, half) * 1e3;
      form.elements.zone.value = "";
      form.elements.blade.value = blade;
      form.elements.from_tip.value = down.toFixed(1);
      form.elements.across.value = Math.min(Math.max(at.x, -most + 0.05), most - 0.05).toFixed(1);
      if (!number(form.elements.depth.value)) form.elements.depth.value = "1";
      show();
      changed();
    });
  }
  function show() {
    const down = form.elements.from_tip.value.trim();
    for (const [blade, circle] of Object.entries(marks)) {
      const here = down && [blade, "both"].includes(form.elements.blade.value);
      circle.setAttribute("visibility", here ? "visible" : "hidden");
      circle.setAttribute("cy", number(down || "0"));
      circle.setAttribute("cx", number(form.elements.across.value.trim() || "0"));
    }
  }
  form.addEventListener("input", show);
  show();
}

// Value at x of what is known at rising xs, straight between them.
function along(x, xs, values) {
  const next = xs.findIndex((v) => v >= x);
  const i = next < 0 ? xs.length - 1 : Math.max(next, 1);
  const share = Math.min(Math.max((x - xs[i - 1]) / (xs[i] - xs[i - 1]), 0), 1);
  return (1 - share) * (values[i - 1] ?? NaN) + share * (values[i] ?? NaN);
}

function fill(row, r) {
  if (!row) return;
  row.querySelector(".after").textContent = r.after;
  row.querySelector(".after-interval").textContent = r.after_interval;
  row.querySelector(".change").textContent = r.change;
  row.querySelector(".change-interval").textContent = r.change_interval;
  row.querySelector(".open-sign").hidden = !r.open_sign;
}

function number(text) {
  return Number(text.trim().replace("−", "-").replace(",", "."));
}

function said(value, decimals, signed) {
  if (!Number.isFinite(value)) return "–";
  const size = new Intl.NumberFormat(data.locale, { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
  const zero = Math.round(Math.abs(value) * 10 ** decimals) === 0;
  const sign = zero ? "" : value < 0 ? "−" : signed ? "+" : "";
  return sign + size.format(Math.abs(value));
}
