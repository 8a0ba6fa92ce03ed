// The two tones: "in" for accepted, "turn" for look again and stop ("turn your head").
// One soft sound a verdict, never a burst: alarm sounds are bursts of pulses rich in harmonics
// (IEC 60601-1-8, from a public summary), so these are single pure sines, one shorter and one longer
// than a pulse, and never two within GAP.
// context: AudioContext; kind: "in" or "turn"; gain: 0 to 0.5, set for each device.
export const GAP = 0.4; // seconds: fast scans cannot form a pulse train
let lastStart = -1;

export function tone(context, kind, gain = 0.2, at = context.currentTime) {
  if (lastStart >= 0 && at - lastStart < GAP) return false; // the strip still shows the verdict
  lastStart = at;
  const oscillator = context.createOscillator();
  const level = context.createGain();
  oscillator.type = "sine"; // no harmonics: an alarm pulse needs at least four
  const length = kind === "in" ? 0.06 : 0.42;
  if (kind === "in") {
    oscillator.frequency.setValueAtTime(1250, at);
  } else {
    oscillator.frequency.setValueAtTime(1900, at);
    oscillator.frequency.exponentialRampToValueAtTime(1100, at + length);
  }
  const steps = 64;
  const shape = new Float32Array(steps); // soft both ways, no click
  for (let i = 0; i < steps; i += 1) shape[i] = gain * Math.sin((Math.PI * i) / (steps - 1)) ** 2;
  level.gain.setValueAtTime(0, at);
  level.gain.setValueCurveAtTime(shape, at, length);
  oscillator.connect(level).connect(context.destination);
  oscillator.start(at);
  oscillator.stop(at + length);
  return true;
}
