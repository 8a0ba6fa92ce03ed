// The page of a prime when there is no network: static files and one empty trolley page, nothing else. No
// page with data, no answer of the server, no run and no recall is ever put into a cache; the server
// writes VERSION and FILES above this line.
//
// A new version waits until no prime is open, so that no code changes under a hand.
/* global VERSION, FILES, SHELL */
const CACHE = `ct-${VERSION}`;
const SERVER_AWAY = new Set([502, 503, 504]);
const OPENS_WITHIN = 8000; // ms
const ofPrime = (path) => /^\/prime\/[^/]+$/u.test(path);
const shellClients = new Set();

async function fill() {
  const cache = await caches.open(CACHE);
  const there = new Set((await cache.keys()).map(({ url }) => new URL(url).pathname));
  const lacking = [SHELL, ...FILES].filter((path) => !there.has(path));
  await cache.addAll(lacking.map((path) => new Request(path, { cache: "reload", credentials: "omit" })));
}

const takeOver = async () => {
  const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  if (!open.some(({ url }) => ofPrime(new URL(url).pathname))) await self.skipWaiting();
};

self.addEventListener("install", (event) => event.waitUntil(fill().then(takeOver)));

self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) {
    if (name.startsWith("ct-") && name !== CACHE) await caches.delete(name);
  }
  await self.clients.claim();
})()));

self.addEventListener("message", (event) => {
  if (event.data === "fill") event.waitUntil(fill().catch(() => {})); // after a sign-out emptied it
  if (event.data === "no-prime-here") event.waitUntil(takeOver());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && ofPrime(url.pathname)) {
    event.respondWith(openPrime(event));
  } else if (FILES.includes(url.pathname)) {
    event.respondWith(file(event, url.pathname));
  }
});

async function openPrime(event) {
  try {
    const late = new Promise((_, bad) => { setTimeout(() => bad(new Error("late")), OPENS_WITHIN); });
    const answer = await Promise.race([fetch(event.request), late]);
    if (!SERVER_AWAY.has(answer.status)) return answer;
    throw new Error(String(answer.status));
  } catch (problem) {
    const shell = await (await caches.open(CACHE)).match(SHELL);
    if (!shell) throw problem;
    shellClients.add(event.resultingClientId);
    return shell;
  }
}

// The empty page is shown with the files it was kept with; every other page with the server's.
async function file(event, path) {
  const cache = await caches.open(CACHE);
  if (shellClients.has(event.clientId)) {
    const kept = await cache.match(path);
    if (kept) return kept;
  }
  try {
    return await fetch(event.request);
  } catch (problem) {
    const kept = await cache.match(path);
    if (kept) return kept;
    throw problem;
  }
}
