// May this text lie on this device? No patient's code ever does. So only what is surely a product's code
// or a symbol of ours is stored; what may be anything, a plain number say, stays on the page and is lost
// when it is closed; what is a person's is sent at once or not at all. It decides nothing about parts:
// the server alone reads codes. A test holds it against the server's own reading of persons' codes.
//
// GS1 (General Specifications): AI 8018 and 7250 to 7259 are of a patient. HIBC: "+/" names a person or a
// place (provider form). ISBT 128: product code and donation number alone are kept here.
const AIM = /^\][A-Za-z][0-9A-Za-z]/u;
const PERSON = [
  /^\(?8018/u, /\x1d8018/u, /\(8018\)/u, /^\(?725\d\)?\d/u, /^\+\//u, /^(?:=;|='|=#|&#)/u,
  /^https?:\/\/\S*[/?&;](?:8018|725\d)[/=]/iu,
];
// Digits that may be a patient's number behind a lost separator.
const MAY_HIDE_ONE = /8018|725\d|\+\/|=;|='|=#|&#/u;
const PRODUCT = [
  /^\(?0[12]\)?\d{14}/u, // GS1, with a trade item number first
  /^\+[A-Z][0-9A-Z]{3,}/u, // HIBC supplier form, primary
  /^\+\$/u, // HIBC supplier form, secondary: lot and date
  /^=[<%]/u, // ISBT 128: product code; blood group
];
const GS1_SYMBOL = /^\](?:C1|e0|d2|Q3|J1)/u;
const BADGE = /^(?:CTB\.|8017\d{18}$)/u;
const OWN = /^CT[0-9A-Z]\.[0-9A-Z.-]+$/u;
// Signing, ending and discarding need the network: nothing of them waits, and no badge lies here.
export const NEED_NETWORK = new Set(["NEXT", "SIGN", "DISCARD", "TAKEOVER", "NEW-PRODUCT", "HELP"]);

// "device", "page" or "now"; see queue.js.
export function keepOf(text, channel) {
  const bare = text.trim().replace(AIM, "");
  if (PERSON.some((mark) => mark.test(bare))) return "now";
  const capitals = bare.toUpperCase(); // caps lock changes nothing of a symbol of ours
  if (BADGE.test(capitals)) return "page";
  if (OWN.test(capitals)) return NEED_NETWORK.has(capitals.split(".")[1]) ? "now" : "device";
  if (MAY_HIDE_ONE.test(bare)) return "page";
  if (PRODUCT.some((form) => form.test(bare))) return "device";
  if (GS1_SYMBOL.test(text.trim()) && channel !== "typed") return "device"; // the other half of a label
  return "page";
}

export const isPerson = (text) => PERSON.some((mark) => mark.test(text.trim().replace(AIM, "")));
