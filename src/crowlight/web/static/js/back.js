// Two sounds equally loud, one at a time; pictures that there are none of go away.
for (const box of document.querySelectorAll("[data-matched]")) {
  const players = [...box.querySelectorAll("audio")];
  for (const player of players) {
    player.volume = Number(player.dataset.volume);
    player.addEventListener("play", () => {
      for (const other of players) if (other !== player) other.pause();
    });
  }
}
for (const image of document.querySelectorAll(".timeline img")) {
  const gone = () => { image.closest("picture").hidden = true; };
  if (image.complete && !image.naturalWidth) gone();
  else image.addEventListener("error", gone);
}
