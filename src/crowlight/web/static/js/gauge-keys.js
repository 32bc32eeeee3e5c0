// Gauges that type like a keyboard: digits, then Enter or Tab, as fast as they like.
//
//   const gauge = attachGauge(element, { unit, onReading, onDoubt });
//
//   element    an <input type="text"> that receives the keys, or any focusable element around the
//              place of entry (then keys typed into other fields inside it are left alone)
//   unit       "mm", "um" (micrometres) or "hundredth" (0.01 mm): what the gauge counts in. A unit
//              that the gauge types behind its number ("0,42 mm", "420 µm") goes before this.
//   lowest, highest   what is believed without asking [mm]; 0.02 and 1.50 unless given
//   onReading  called with { n, mm, text } for each reading, in order; n counts from 0
//   onDoubt    called with { n, text, mm, guess, why, accept(mm), drop() } for what may be wrong.
//              why is "two-numbers", "not-a-number", "negative", "too-thin" or "too-thick"; mm is
//              what it reads as, or null; guess is what it may have meant [mm], or null. It is held
//              in gauge.held until accept or drop is called: accept calls onReading with its n.
//
//   gauge.unit     may be set at any time; counts from the next reading on
//   gauge.held     what is held, oldest first
//   gauge.pending  what was typed and not yet ended
//   gauge.finish() ends what is pending, as Enter would; true if there was anything
//   gauge.detach() lets go of the element
//
// Enter and Tab end a number; with nothing typed they do what they always do, so that nobody is
// caught in the field. Everything is done while the key is handled: two readings cannot run
// together, however fast they come. If a gauge itself runs them together it is asked about.

export const PER_MM = { mm: 1, um: 1000, hundredth: 100 };
const WRITTEN = { mm: "mm", µm: "um", μm: "um", um: "um" };
const ENDS = new Set(["Enter", "Tab"]);

// What a text may mean. Both decimal marks; nothing that could be read in two ways is a number.
export function readGauge(text, unit, { lowest = 0.02, highest = 1.5 } = {}) {
  const typed = text.normalize("NFC").trim();
  const found = typed.match(/^([+\-−]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(mm|µm|μm|um)?$/iu);
  if (!found) {
    const numbers = typed.match(/\d+/g) ?? [];
    const why = numbers.length > 1 ? "two-numbers" : "not-a-number";
    return { mm: null, guess: null, why };
  }
  const [, sign, digits, suffix] = found;
  const number = Number(digits.replace(",", "."));
  const of = suffix ? WRITTEN[suffix.toLowerCase()] : unit;
  const inMm = (u) => Math.round((number / PER_MM[u]) * 1e7) / 1e7;
  const believed = (mm) => mm >= lowest && mm <= highest;
  const mm = inMm(of);
  if (sign && sign !== "+" && mm !== 0) return { mm: -mm, guess: believed(mm) ? mm : null, why: "negative" };
  if (believed(mm)) return { mm, guess: null, why: "" };
  const other = Object.keys(PER_MM).filter((u) => !suffix && u !== of && believed(inMm(u)));
  return {
    mm,
    guess: other.length === 1 ? inMm(other[0]) : null,
    why: mm < lowest ? "too-thin" : "too-thick",
  };
}

export function attachGauge(element, { unit = "mm", lowest, highest, onReading, onDoubt }) {
  if (!(unit in PER_MM)) throw new RangeError(`unit ${unit} is not one of ${Object.keys(PER_MM)}`);
  const field = element.matches("input, textarea") ? element : null;
  const limits = { ...(lowest && { lowest }), ...(highest && { highest }) };
  const held = [];
  const listening = new AbortController();
  let buffer = ""; // where there is no field
  let count = 0;
  let of = unit;

  const pending = () => (field ? field.value : buffer);
  function setPending(text) {
    if (field) field.value = text;
    else buffer = text;
  }

  function take(text) {
    const n = count;
    count += 1;
    const { mm, guess, why } = readGauge(text, of, limits);
    if (!why) {
      onReading({ n, mm, text });
      return;
    }
    const doubt = {
      n, text, mm, guess, why,
      accept(value) {
        if (release(doubt)) onReading({ n, mm: value, text });
      },
      drop() {
        release(doubt);
      },
    };
    held.push(doubt);
    onDoubt?.(doubt);
  }

  function release(doubt) {
    const at = held.indexOf(doubt);
    if (at >= 0) held.splice(at, 1);
    return at >= 0;
  }

  // The pending text is gone before anyone is told: whoever is told may move the focus or type on.
  function finish() {
    const text = pending();
    if (!text.trim()) return false;
    setPending("");
    take(text);
    return true;
  }

  function lines(text) {
    const parts = text.split(/[\r\n\t]+/);
    const last = parts.pop();
    for (const part of parts) {
      setPending(pending() + part);
      finish();
    }
    setPending(pending() + last);
  }

  element.addEventListener(
    "keydown",
    (event) => {
      if (event.isComposing || event.ctrlKey || event.metaKey || event.altKey) return;
      const elsewhere = !field && event.target.closest?.("input, textarea, select, [contenteditable]");
      if (elsewhere) return;
      if (ENDS.has(event.key)) {
        if (event.shiftKey || !finish()) return;
      } else if (field) {
        return; // the browser puts it into the field before the next key comes
      } else if (event.key === "Backspace" && buffer) {
        buffer = buffer.slice(0, -1);
      } else if (event.key === "Escape" && buffer) {
        buffer = "";
      } else if (/^[\d.,+\-−]$/u.test(event.key) || (buffer && event.key.length === 1)) {
        buffer += event.key; // whatever stands in a number belongs to it, or it would read as another
      } else {
        return;
      }
      event.preventDefault();
      event.stopPropagation();
    },
    { signal: listening.signal },
  );
  // what comes in one piece: pasted, spoken, or typed by the keyboard of a telephone
  const pieces = field ?? element;
  pieces.addEventListener(
    "paste",
    (event) => {
      const text = event.clipboardData?.getData("text") ?? "";
      if (!/[\r\n\t]/.test(text)) return;
      event.preventDefault();
      lines(text);
    },
    { signal: listening.signal },
  );
  field?.addEventListener(
    "beforeinput",
    (event) => {
      if (event.inputType === "insertLineBreak" || /[\r\n\t]/.test(event.data ?? "")) {
        event.preventDefault();
        lines(event.data ?? "\n");
      }
    },
    { signal: listening.signal },
  );

  return {
    get unit() {
      return of;
    },
    set unit(value) {
      if (!(value in PER_MM)) throw new RangeError(`unit ${value} is not one of ${Object.keys(PER_MM)}`);
      of = value;
    },
    get held() {
      return [...held];
    },
    get pending() {
      return pending();
    },
    finish,
    detach() {
      listening.abort();
    },
  };
}
