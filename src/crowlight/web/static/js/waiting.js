// Looks again until a computation is done, and shows how far it is.
const bar = document.getElementById("progress");

// Opens the answer. A reload would keep the height this page was read at, not go to the place that
// the address names; so such an address is left for a moment and gone to.
function again() {
  const { hash, href, pathname } = location;
  if (!hash) {
    location.reload();
    return;
  }
  history.replaceState(null, "", `${pathname}?computed`);
  location.replace(href);
}

async function look() {
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (answer.status !== 202) {
      again();
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
