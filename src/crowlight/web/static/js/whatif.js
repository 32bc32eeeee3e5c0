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
    if (!cut.zone) cut.depth = 0;
    return cut.depth || cut.back || cut.clip ? cut : null;
  }

  function foresee(cut) {
    const sum = data.outputs.map((_, k) => cut.clip * (data.clip[k] ?? NaN));
    if (!cut.clip) sum.fill(0);
    const blades = cut.blade === "both" ? ["marked", "plain"] : [cut.blade];
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
        after_interval: data.between.replace("%(low)s", low).replace("%(high)s", high),
        change: said(change, 1, true) + (o.signed ? "" : " %"),
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
