// The bench without hands: the space bar, Page Down or a foot switch that sends one of them presses
// "Next"; what comes next may be said aloud by the browser's own voice. Without it the page is the
// same, pressed by hand.

const next = document.querySelector("[data-next]");
const KEYS = new Set([" ", "PageDown"]);
// where these keys have a meaning of their own
const OWN = "a, button, input, textarea, select, summary, audio, video, [contenteditable], [role=button], [tabindex]:not(main)";

document.addEventListener("keydown", (event) => {
  if (!next || !KEYS.has(event.key) || event.repeat || event.isComposing) return;
  if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
  if (event.target.closest?.(OWN)) return;
  event.preventDefault();
  next.click();
});

const hand = document.querySelector("[data-say]");
if (hand?.dataset.spoken !== undefined && globalThis.speechSynthesis) {
  const said = new SpeechSynthesisUtterance(hand.dataset.say);
  said.lang = document.documentElement.lang;
  speechSynthesis.cancel();
  speechSynthesis.speak(said);
}
