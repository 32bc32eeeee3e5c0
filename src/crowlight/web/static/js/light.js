// Marking four points of a reed on its photograph: click, drag, or arrow keys. What is marked stands
// in the number fields of the form; without this module they are typed.
// Where points lie so close that a finger would take the wrong one, their handles stand apart from
// them, each tied to its point by a line.
const APART = 46; // pixels between the middles of two handles, which are 44 wide
const SHAKE = 4; // pixels: a tap trembles, a drag goes further
const box = document.querySelector(".light-mark");
const form = document.querySelector(".light-form");
const image = box?.querySelector("img");
if (box && form && image) start();

function start() {
  const status = document.querySelector(".light-status");
  const points = [...form.querySelectorAll(".light-point")].map((set) => ({
    name: set.dataset.point,
    label: set.querySelector("legend").textContent,
    x: form.elements[`${set.dataset.point}_x`],
    y: form.elements[`${set.dataset.point}_y`],
    handle: null,
  }));
  let active = null;

  const lines = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  lines.setAttribute("class", "light-lines");
  lines.setAttribute("viewBox", "0 0 100 100");
  lines.setAttribute("preserveAspectRatio", "none");
  lines.setAttribute("aria-hidden", "true");
  const under = document.createElementNS(lines.namespaceURI, "polygon");
  under.setAttribute("class", "light-under");
  const over = document.createElementNS(lines.namespaceURI, "polygon");
  const ties = document.createElementNS(lines.namespaceURI, "path");
  ties.setAttribute("class", "light-ties");
  lines.append(under, over, ties);
  const loupe = document.createElement("canvas");
  loupe.className = "light-loupe";
  loupe.width = loupe.height = 240;
  loupe.hidden = true;
  loupe.setAttribute("aria-hidden", "true");
  box.append(lines, loupe);
  box.classList.add("live");
  document.querySelector(".light-help").hidden = false;
  if (!form.querySelector("[aria-invalid]")) form.querySelector(".light-numbers").open = false;

  for (const [n, point] of points.entries()) {
    const handle = document.createElement("button");
    handle.type = "button";
    handle.className = "light-handle";
    handle.classList.toggle("to-left", point.name.endsWith("_left"));
    handle.setAttribute("aria-label", point.label);
    const number = document.createElement("span");
    number.textContent = n + 1;
    handle.append(number);
    handle.addEventListener("focus", () => look(point));
    handle.addEventListener("keydown", (event) => keyed(event, point));
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      const [x, y] = at(event);
      // the point need not lie under the finger
      point.held = { dx: value(point.x) - x, dy: value(point.y) - y, from: [event.clientX, event.clientY], drawn: false };
      look(point);
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const { held } = point;
      held.drawn ||= Math.hypot(event.clientX - held.from[0], event.clientY - held.from[1]) > SHAKE;
      const [x, y] = at(event);
      if (held.drawn) place(point, x + held.dx, y + held.dy);
    });
    handle.addEventListener("click", (event) => {
      // a tap, beside a point that is marked, for the next one; not a key, nor the end of a drag
      const tapped = event.detail > 0 && !point.held?.drawn && points.some((p) => !isSet(p));
      if (!tapped) event.stopPropagation();
    });
    point.handle = handle;
    box.insertBefore(handle, loupe);
  }

  function value(field) {
    const typed = Number(field.value.trim().replace(",", ".").replace(/\s*%$/, ""));
    return field.value.trim() && typed >= 0 && typed <= 100 ? typed : null;
  }

  function isSet(point) {
    return value(point.x) !== null && value(point.y) !== null;
  }

  function at(event) {
    const r = image.getBoundingClientRect();
    return [(100 * (event.clientX - r.left)) / r.width, (100 * (event.clientY - r.top)) / r.height];
  }

  function place(point, x, y) {
    point.x.value = Math.min(Math.max(x, 0), 100).toFixed(3);
    point.y.value = Math.min(Math.max(y, 0), 100).toFixed(3);
    form.dispatchEvent(new Event("input", { bubbles: true }));
    look(point);
  }

  function keyed(event, point) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!way) return;
    event.preventDefault();
    const far = event.shiftKey ? 10 : 1;
    place(
      point,
      value(point.x) + (100 * far * way[0]) / image.naturalWidth,
      value(point.y) + (100 * far * way[1]) / image.naturalHeight,
    );
  }

  // Shows what lies around a point four times as large.
  function look(point) {
    active = point;
    if (!isSet(point) || !image.naturalWidth) return;
    const [x, y] = [value(point.x), value(point.y)];
    const side = Math.max(image.naturalWidth / image.clientWidth, 1) * 36;
    const middle = [(x / 100) * image.naturalWidth, (y / 100) * image.naturalHeight];
    const pen = loupe.getContext("2d");
    pen.clearRect(0, 0, 240, 240);
    pen.drawImage(image, middle[0] - side / 2, middle[1] - side / 2, side, side, 0, 0, 240, 240);
    for (const [colour, width] of [["#000", 4], ["#fff", 1.5]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.moveTo(120, 70);
      pen.lineTo(120, 170);
      pen.moveTo(70, 120);
      pen.lineTo(170, 120);
      pen.stroke();
    }
    loupe.classList.toggle("left", x > 50);
    loupe.hidden = false;
  }

  // Returns where the handles stand, in pixels: on their points, or pushed apart and off the edges.
  function stands(known) {
    const [wide, high] = [image.clientWidth, image.clientHeight];
    const inside = (v, most) => Math.min(Math.max(v, APART / 2), Math.max(most - APART / 2, APART / 2));
    const at = known.map((p) => [(value(p.x) / 100) * wide, (value(p.y) / 100) * high]);
    if (!wide || !high) return at;
    for (let round = 0; round < 60; round += 1) {
      let moved = false;
      for (let a = 0; a < at.length; a += 1) {
        for (let b = a + 1; b < at.length; b += 1) {
          let [dx, dy] = [at[b][0] - at[a][0], at[b][1] - at[a][1]];
          const far = Math.hypot(dx, dy);
          if (far >= APART - 0.01) continue;
          if (far < 1) [dx, dy] = [Math.cos(a + 2 * b), Math.sin(a + 2 * b)];
          const push = (APART - far) / 2 / Math.hypot(dx, dy);
          at[a] = [at[a][0] - dx * push, at[a][1] - dy * push];
          at[b] = [at[b][0] + dx * push, at[b][1] + dy * push];
          moved = true;
        }
      }
      for (const spot of at) [spot[0], spot[1]] = [inside(spot[0], wide), inside(spot[1], high)];
      if (!moved) break;
    }
    return at;
  }

  function show() {
    const known = points.filter(isSet);
    const spots = stands(known);
    const [wide, high] = [image.clientWidth || 1, image.clientHeight || 1];
    for (const point of points) point.handle.hidden = !isSet(point);
    let tied = "";
    for (const [n, point] of known.entries()) {
      const [x, y] = [value(point.x), value(point.y)];
      const off = [spots[n][0] - (x / 100) * wide, spots[n][1] - (y / 100) * high];
      point.handle.style.left = `${x}%`;
      point.handle.style.top = `${y}%`;
      point.handle.style.setProperty("--off-x", `${off[0]}px`);
      point.handle.style.setProperty("--off-y", `${off[1]}px`);
      if (Math.hypot(...off) > 1) tied += `M${x},${y}L${x + (100 * off[0]) / wide},${y + (100 * off[1]) / high}`;
    }
    ties.setAttribute("d", tied);
    const path = known.map((p) => `${value(p.x)},${value(p.y)}`).join(" ");
    under.setAttribute("points", path);
    over.setAttribute("points", path);
    const next = points.find((p) => !isSet(p));
    const said = next ? box.dataset.next.replace("{}", next.label) : box.dataset.all;
    if (status.textContent !== said) status.textContent = said;
  }

  box.addEventListener("click", (event) => {
    const point = points.find((p) => !isSet(p)) ?? active;
    if (!point || !image.naturalWidth) return; // not there yet: nothing could be meant
    place(point, ...at(event));
    point.handle.focus({ preventScroll: true });
  });
  form.addEventListener("input", show);
  new ResizeObserver(show).observe(image); // it comes late, and a telephone is turned
  show();
}
