// The opening closes as the slider moves, or by itself where motion is not unwelcome. Without it
// the stills below say the same.
const box = document.querySelector(".moving");
const steps = JSON.parse(document.getElementById("steps")?.textContent ?? "[]");
if (box && steps.length) start();

function start() {
  const slider = box.querySelector("input");
  const play = box.querySelector(".play");
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  let timer = 0;
  box.hidden = false;

  function show(n) {
    const s = steps[n];
    const back = `L${s.plain.slice(1).split("L").reverse().join("L")}Z`;
    box.querySelector(".between").setAttribute("d", s.marked + back);
    box.querySelector(".edge-marked").setAttribute("d", s.marked);
    box.querySelector(".edge-plain").setAttribute("d", s.plain);
    for (const name of ["pressure", "height", "area"]) box.querySelector(`.at-${name}`).textContent = s[name];
    slider.setAttribute("aria-valuetext", `${s.pressure} kPa`);
  }

  function stop() {
    clearInterval(timer);
    timer = 0;
    play.setAttribute("aria-pressed", "false");
  }

  function motion() {
    play.hidden = still.matches; // then the slider alone moves it
    if (still.matches) stop();
  }

  slider.addEventListener("input", () => { stop(); show(Number(slider.value)); });
  play.addEventListener("click", () => {
    if (timer) return stop();
    if (Number(slider.value) >= steps.length - 1) slider.value = 0;
    play.setAttribute("aria-pressed", "true");
    timer = setInterval(() => {
      slider.value = Number(slider.value) + 1;
      show(Number(slider.value));
      if (Number(slider.value) >= steps.length - 1) stop();
    }, 100);
  });
  still.addEventListener("change", motion);
  motion();
  show(0);
}
