// In the rows of readings, Enter goes to the next field, as gauges that type end a number with it.
// The last field asks for more rows.

const table = document.querySelector("table.rows");
const form = table?.closest("form");

table?.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.isComposing) return;
  event.preventDefault();
  const all = [...table.querySelectorAll("input, select")];
  const next = all[all.indexOf(event.target) + 1];
  if (next) {
    next.focus();
    next.select?.();
  } else {
    form.querySelector("button[name=more]").click();
  }
});

// after "more rows" go on in the first empty row
if (table && !document.getElementById("troubles")) {
  const filled = [...table.querySelectorAll("input")].some((e) => e.value);
  const empty = [...table.querySelectorAll("tbody tr")].find((row) =>
    [...row.querySelectorAll("input")].every((e) => !e.value),
  );
  if (filled && empty) empty.querySelector("input, select").focus();
}
