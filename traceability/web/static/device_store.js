// What this device keeps, in IndexedDB: acts that wait (queue), what it knows of a prime (primes), and
// numbers and the key of acts (meta). A transaction that is done is on the disk, where it asks for that
// (strict): a crash or a dead battery loses nothing of it. Nothing of a patient ever goes in here.
const NAME = "ct";
let opening = null;

function open() {
  opening ??= new Promise((good, bad) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      const made = request.result;
      made.createObjectStore("queue", { keyPath: "n" });
      made.createObjectStore("primes", { keyPath: "number" });
      made.createObjectStore("meta");
    };
    request.onsuccess = () => {
      const found = request.result;
      found.onversionchange = found.onclose = () => {
        found.close();
        opening = null; // emptied under us, or another version: opened again at the next use
      };
      good(found);
    };
    request.onerror = () => bad(request.error);
    request.onblocked = () => bad(new Error("another page holds an older store"));
  });
  opening.catch(() => { opening = null; });
  return opening;
}

// Runs `what(stores)` in one transaction and returns its result once the transaction is complete;
// `what` may return a request, whose result then counts. Rejects if storage is full, blocked or gone.
export async function inStore(names, mode, what, { strict = false } = {}) {
  for (const again of [true, false]) {
    const base = await open();
    try {
      return await new Promise((good, bad) => {
        const deal = base.transaction(names, mode, { durability: strict ? "strict" : "relaxed" });
        const [first, ...rest] = names.map((name) => deal.objectStore(name));
        const asked = what(first, ...rest);
        deal.oncomplete = () => good(asked instanceof IDBRequest ? asked.result : asked);
        deal.onerror = deal.onabort = () => bad(deal.error ?? new Error("aborted"));
      });
    } catch (problem) {
      if (!again || problem?.name !== "InvalidStateError") throw problem;
      opening = null; // the connection had been closed: once more with a new one
    }
  }
  return undefined;
}

export const keptActs = () => inStore(["queue"], "readonly", (queue) => queue.getAll());
export const meta = (key) => inStore(["meta"], "readonly", (store) => store.get(key));
export const setMeta = (key, value) => inStore(["meta"], "readwrite", (store) => store.put(value, key));

// Everything but what waits to be sent: at sign-out, and on a device that was revoked.
export async function forget() {
  if ("caches" in window) {
    for (const name of await caches.keys()) await caches.delete(name);
  }
  await inStore(["primes", "meta"], "readwrite", (primes, kept) => {
    primes.clear();
    kept.delete("claim");
  });
}

// Other windows of this device are told when the queue changes.
const channel = "BroadcastChannel" in window ? new BroadcastChannel("ct.queue") : null;
export const tellOthers = (what) => channel?.postMessage(what);
export const onTold = (hear) => channel?.addEventListener("message", (event) => hear(event.data));
