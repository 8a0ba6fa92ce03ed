// The clock and the spans on a page go on between loads. They start from the server's time, so a
// wrong clock of the device shows nowhere.
// <time data-now="ISO, with offset" data-zone="Europe/Stockholm">2026-11-25 03:40 CET</time>
// Without a zone the time as it was sent stays.
// <span data-since="ISO"> or <span data-until="ISO">: counts up or down, "7 h 58 min".

export function spanText(ms) {
  const minutes = Math.floor(Math.abs(ms) / 60000);
  const days = Math.floor(minutes / 1440);
  const hours = Math.floor((minutes % 1440) / 60);
  if (days) return `${days} d ${hours} h`;
  return hours ? `${hours} h ${minutes % 60} min` : `${minutes % 60} min`;
}

function wallText(at, zone) {
  const parts = {};
  const format = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit",
    hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZoneName: "short",
  });
  for (const part of format.formatToParts(at)) parts[part.type] = part.value;
  return {
    day: `${parts.year}-${parts.month}-${parts.day}`,
    clock: `${parts.hour}:${parts.minute}`,
    zone: parts.timeZoneName,
  };
}

const base = document.querySelector("[data-now]");
const loaded = performance.now();
// A page that was kept on this device for times without a network has no server's time.
const started = Date.parse(base?.dataset.now ?? "") || Date.now();

export function serverNow() {
  return started + (performance.now() - loaded);
}

function tick() {
  const now = serverNow();
  for (const shown of document.querySelectorAll('[data-now][data-zone]:not([data-zone=""])')) {
    const wall = wallText(new Date(now), shown.dataset.zone);
    shown.textContent = `${wall.day} ${wall.clock} ${wall.zone}`;
  }
  for (const shown of document.querySelectorAll("[data-since]")) {
    put(shown, spanText(now - Date.parse(shown.dataset.since)));
  }
  for (const shown of document.querySelectorAll("[data-until]")) {
    const left = Date.parse(shown.dataset.until) - now;
    if (left > 0) put(shown, spanText(left)); // past it, the page says so in words when it reloads
  }
}

// "7 h 58 min" in large figures with small units: <b>7</b> <small>h</small> ...
function put(shown, text) {
  if (shown.dataset.text === text) return;
  shown.dataset.text = text;
  if (!("large" in shown.dataset)) {
    shown.textContent = text;
    return;
  }
  const words = text.split(" ");
  shown.replaceChildren(
    ...words.flatMap((word, index) => {
      if (index % 2 === 0) return [document.createTextNode((index ? " " : "") + word)];
      const unit = document.createElement("small");
      unit.textContent = word;
      return [unit];
    }),
  );
}

tick();
setInterval(tick, 5000);
