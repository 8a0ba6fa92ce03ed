// Whose act it is: proved with a key that the server gave to this sign-in at this device. The key can
// sign here and cannot be read out again, and it is gone when somebody signs out. An act that waits
// keeps its proof, so it stays the act of the person who did it, whoever is signed in later.
import { meta, setMeta } from "./device_store.js";

let held = null; // { ref, key, name }
const bytes = (text) => new TextEncoder().encode(text);
const text64 = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)))
  .replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/u, "");

// The page brings the key; without a network it is the one that was kept.
async function find() {
  const given = document.querySelector("[data-claim]")?.dataset.claim;
  if (!globalThis.crypto?.subtle) {
    // Plain http from another machine: it can be said whose act it is, and not proved.
    return given ? { ...JSON.parse(given), key: null } : null;
  }
  if (!given) {
    try {
      return (await meta("claim")) ?? null;
    } catch {
      return null;
    }
  }
  const { ref, key, name } = JSON.parse(given);
  const raw = Uint8Array.from(atob(key), (letter) => letter.charCodeAt(0));
  const made = await crypto.subtle.importKey("raw", raw, { name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
  const found = { ref, key: made, name };
  setMeta("claim", found).catch(() => {}); // known while this page is open
  return found;
}
held = find();

export const whoActs = async () => (await held)?.name ?? "";

export async function proofOf(url, body, n) {
  const claim = await held;
  if (!claim) return null;
  if (!claim.key) return `${claim.ref}.`;
  const said = `${claim.ref}\n${n}\n${url}\n${JSON.stringify(body)}`;
  return `${claim.ref}.${text64(await crypto.subtle.sign("HMAC", claim.key, bytes(said)))}`;
}
