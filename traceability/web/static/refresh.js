// A page that is left open shows what is so now: every half minute its [data-refresh] part is fetched
// again and put in, without moving focus or scrolling. A failure leaves what is there and says so.
const EVERY = 30000; // ms

const part = document.querySelector("[data-refresh]");
const old = document.createElement("p");
old.className = "band field-plum";
old.setAttribute("role", "status");

async function fetchAgain() {
  if (document.visibilityState !== "visible" || part.contains(document.activeElement)) return;
  try {
    const response = await fetch(location.href, { signal: AbortSignal.timeout(15000) });
    if (!response.ok) throw new Error(String(response.status));
    const page = new DOMParser().parseFromString(await response.text(), "text/html");
    const fresh = page.querySelector("[data-refresh]");
    if (!fresh) throw new Error("another page");
    part.replaceChildren(...document.importNode(fresh, true).childNodes);
    document.body.className = page.body.className;
    document.title = page.title;
    old.remove();
  } catch {
    old.textContent = "The server does not answer. What is shown here is old; see its time.";
    if (!old.isConnected) part.before(old);
  }
}

setInterval(fetchAgain, EVERY);
document.addEventListener("visibilitychange", fetchAgain);
