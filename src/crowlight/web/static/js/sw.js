// Keeps the frame of the pages and the pages of the reeds at hand, for when the server does not
// answer. What the server answers always comes first; nothing is ever sent from here.
// VERSION and SHELL stand above these lines in what is served.
/* global VERSION, SHELL */

const FRAME = `frame-${VERSION}`;
const PAGES = "pages";
const MOST_REEDS = 8;
const MOST_KEPT = 400;
const RECENT = 600_000; // ms; forms hardly change, and what they have seen is made good when they are used
const REED = /^\/reeds\/[0-9a-f-]{36}/;

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      await (await caches.open(FRAME)).addAll(SHELL);
      for (const path of ["/", "/waiting"]) await keep(path);
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const old = (await caches.keys()).filter((name) => name.startsWith("frame-") && name !== FRAME);
      await Promise.all(old.map((name) => caches.delete(name)));
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  event.waitUntil(keepAll(event.data?.keep ?? []));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (address.pathname.startsWith("/static/")) event.respondWith(fromFrame(request, address));
  else if (request.mode === "navigate") event.respondWith(page(event, address));
  else if (request.destination === "image" && REED.test(address.pathname)) event.respondWith(picture(event));
});

async function fromFrame(request, address) {
  const kept = await caches.match(request);
  if (kept) return kept;
  try {
    return await fetch(request);
  } catch (error) {
    // a page kept under an earlier version
    const name = address.pathname.split("/").pop();
    const same = await caches.match(`/static/${VERSION}/${name}`);
    if (same) return same;
    throw error;
  }
}

async function page(event, address) {
  try {
    const answer = await fetch(event.request);
    if (!address.search) event.waitUntil(store(event.request.url, answer.clone()));
    return answer;
  } catch {
    const pages = await caches.open(PAGES);
    const kept = await pages.match(address.pathname);
    if (kept) return told(kept, kept.headers.get("kept-at"));
    const instead = await pages.match("/waiting");
    return instead ? told(instead, "") : Response.error();
  }
}

async function picture(event) {
  try {
    const answer = await fetch(event.request);
    event.waitUntil(store(event.request.url, answer.clone()));
    return answer;
  } catch (error) {
    const kept = await (await caches.open(PAGES)).match(event.request.url);
    if (kept) return kept;
    throw error;
  }
}

// The page as it was kept, saying so to its script.
async function told(kept, at) {
  const text = (await kept.text()).replace("<body", `<body data-kept="${at}"`);
  return new Response(text, { status: 200, headers: kept.headers });
}

async function store(url, answer) {
  const kind = answer.headers.get("content-type") ?? "";
  if (answer.status !== 200 || answer.redirected || !/^(text\/html|image\/)/.test(kind)) return;
  const headers = new Headers(answer.headers);
  headers.set("kept-at", new Date().toISOString());
  headers.delete("content-length");
  const pages = await caches.open(PAGES);
  await pages.delete(url); // so that the latest stands last
  await pages.put(url, new Response(await answer.blob(), { headers }));
  await tidy(pages);
}

async function keep(path) {
  try {
    await store(new URL(path, self.location.origin).href, await fetch(path, { headers: { Accept: "text/html" } }));
  } catch {
    // the server does not answer: what is kept stays
  }
}

let turn = 0;

async function keepAll(paths) {
  turn += 1;
  const mine = turn;
  for (const [n, path] of paths.slice(0, 60).entries()) {
    if (mine !== turn) return; // another reed was taken up
    if (typeof path !== "string" || !REED.test(path)) continue;
    if (n < 2 || !(await isRecent(path))) await keep(path); // first come the page one is at and its reed
  }
}

async function isRecent(path) {
  const kept = await (await caches.open(PAGES)).match(path);
  return kept !== undefined && Date.now() - Date.parse(kept.headers.get("kept-at")) < RECENT;
}

async function tidy(pages) {
  const keys = await pages.keys();
  const order = keys.map((key) => new URL(key.url).pathname.match(REED)?.[0]).filter(Boolean);
  const latest = new Set([...new Set(order.reverse())].slice(0, MOST_REEDS));
  const spare = Math.max(0, keys.length - MOST_KEPT);
  for (const [n, key] of keys.entries()) {
    const reed = new URL(key.url).pathname.match(REED)?.[0];
    if (reed && (n < spare || !latest.has(reed))) await pages.delete(key);
  }
}
