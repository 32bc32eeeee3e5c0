// Tapping a place on the drawn blades fills in the fields beside it; they say the same without it.
const drawing = document.querySelector(".pickable");
const form = drawing?.closest("form");

function show() {
  const zone = form.elements.zone.value;
  const part = form.elements.part.value;
  const blades = new Set([...form.querySelectorAll("input[name=blades]:checked")].map((e) => e.value));
  for (const piece of drawing.querySelectorAll(".pick")) {
    const d = piece.dataset;
    piece.classList.toggle("picked", blades.has(d.blade) && d.zone === zone && lies(d.part, part));
  }
}

// Whether a piece of the drawing lies in a part.
function lies(piece, part) {
  const side = piece.split("-")[0];
  const corner = piece.endsWith("corner");
  if (part === "corners") return corner;
  if (part === "sides") return side === "left" || side === "right";
  if (part === "left" || part === "right") return side === part;
  if (part.endsWith("-foot")) return side === part.split("-")[0];
  if (part.endsWith("-corner")) return piece === part;
  return true;
}

drawing?.addEventListener("click", (event) => {
  const piece = event.target.closest(".pick");
  if (!piece) return;
  form.elements.zone.value = piece.dataset.zone;
  form.elements.part.value = piece.dataset.part;
  for (const box of form.querySelectorAll("input[name=blades]")) box.checked = box.value === piece.dataset.blade;
  form.dispatchEvent(new Event("input", { bubbles: true }));
});
if (drawing) {
  form.addEventListener("input", show);
  show();
}
