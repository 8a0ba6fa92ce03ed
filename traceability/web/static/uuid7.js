// Ids for acts (UUID version 7, RFC 9562, section 5.7): made once for each act, so that sending it
// twice is one act. Ids made in the same millisecond keep their order (section 6.2, method 1).
let lastMs = 0;
let counter = 0;

export function uuid7(ms = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  if (ms > lastMs) {
    lastMs = ms;
    counter = bytes[6] & 0x07; // room to count up
    counter = (counter << 8) | bytes[7];
  } else {
    counter += 1; // a clock that was set back also lands here and does not go back
    if (counter > 0xfff) {
      counter = 0;
      lastMs += 1;
    }
  }
  for (let i = 0; i < 6; i += 1) bytes[i] = Math.floor(lastMs / 2 ** (8 * (5 - i))) % 256;
  bytes[6] = 0x70 | (counter >> 8);
  bytes[7] = counter & 0xff;
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
