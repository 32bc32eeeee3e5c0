// Looks again until a computation is done, and shows how far it is.
const bar = document.getElementById("progress");

async function look() {
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (answer.status !== 202) {
      location.reload();
      return;
    }
    const done = Number(answer.headers.get("Progress"));
    if (bar && done > bar.value) bar.value = done;
  } catch {
    // crowlight may have been closed: try again
  }
  setTimeout(look, 1000);
}

setTimeout(look, 1000);
