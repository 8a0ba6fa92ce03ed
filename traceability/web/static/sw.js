// The page of a prime when there is no network: static files and one empty trolley page, nothing else. No
// page with data, no answer of the server, no run and no recall is ever put into a cache.
//
// What is kept is of one version. A newer one is fetched whole and takes its place only while no prime is
// open, so that no code is changed under a hand.
const LIST = "/trolley-files";
const SHELL = "/trolley-shell";
const SERVER_AWAY = new Set([502, 503, 504]);
const OPENS_WITHIN = 8000; // ms
const ofPrime = (path) => /^\/prime\/[^/]+$/u.test(path);
const shellClients = new Set();

// The oldest whole set counts until it is gone: a newer one may just be on its way.
const sets = async () => (await caches.keys()).filter((name) => name.startsWith("ct-"));

async function kept(path) {
  for (const name of await sets()) {
    const found = await (await caches.open(name)).match(path);
    if (found) return found;
  }
  return undefined;
}

const plain = (path) => new Request(path, { cache: "reload", credentials: "omit" });

async function isPrimeOpen() {
  const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  return open.some(({ url }) => ofPrime(new URL(url).pathname));
}

let filling = null;
async function fill() {
  const { version, files } = await (await fetch(plain(LIST))).json();
  const name = `ct-${version}`;
  const old = (await sets()).filter((each) => each !== name);
  const isWhole = (await sets()).includes(name)
    && (await (await caches.open(name)).keys()).length === files.length + 1;
  if (isWhole && !old.length) return;
  if (old.length && (await isPrimeOpen())) return;
  if (!isWhole) await (await caches.open(name)).addAll([SHELL, ...files].map(plain));
  for (const each of old) await caches.delete(each);
}

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// From pages: look whether anything is lacking or new (after a sign-out it is empty).
self.addEventListener("message", (event) => {
  if (event.data !== "fill") return;
  filling ??= fill().catch(() => {}).finally(() => { filling = null; });
  event.waitUntil(filling);
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && ofPrime(url.pathname)) {
    event.respondWith(openPrime(event));
  } else if (url.pathname.startsWith("/static/")) {
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
    const shell = await kept(SHELL);
    if (!shell) throw problem;
    shellClients.add(event.resultingClientId);
    return shell;
  }
}

// The empty page is shown with the files it was kept with; every other page with the server's.
async function file(event, path) {
  if (shellClients.has(event.clientId)) {
    const found = await kept(path);
    if (found) return found;
  }
  try {
    return await fetch(event.request);
  } catch (problem) {
    const found = await kept(path);
    if (found) return found;
    throw problem;
  }
}
