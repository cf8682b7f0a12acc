// Notes to hear, by WebAudio: plucked, soft, and never louder than a cap.

import { kept, keep } from './settings.js';

export const CAUTION = 'Start low, most of all with headphones: loud tones harm hearing.';

const CAP = 0.35; // of full scale, all voices together: nothing goes above it
const KNEE = 0.8; // of the cap, from which on sounds are rounded off
const SPAN = 4; // times the cap that the limiter may let through before the ceiling is flat
const ATTACK = 0.012; // s, so that no click is heard
const DECAY = 1.6; // s, time constant
const LASTS = 5; // s
const STRUM = 0.09; // s between the notes of a strummed chord

let out = null; // made at the first note: a browser lets a page sound only after a press

/** Plays pitches in Hz, one after another by strum seconds; 0 is all at once. */
export function play(pitches, strum = STRUM) {
  out ??= open();
  out.context.resume();
  out.hush();
  const start = out.context.currentTime + 0.02;
  pitches.forEach((hz, i) => pluck(hz, start + i * strum, 1 / Math.sqrt(pitches.length)));
}

/** Stops what sounds. */
export function hush() {
  out?.hush();
}

/** The volume, 0 to 1 of the cap. */
export const volume = {
  get: () => kept('volume'),
  set(v) {
    keep('volume', v);
    if (out) out.level.gain.setTargetAtTime(v, out.context.currentTime, 0.02);
  },
};

function open() {
  const context = new AudioContext({ latencyHint: 'interactive' });
  const level = context.createGain();
  level.gain.value = volume.get();
  // The limiter takes most of what voices in step add, but is late for a sudden sound and makes up for what it
  // took; the ceiling after it is what keeps the cap.
  const limiter = context.createDynamicsCompressor();
  limiter.threshold.value = -12;
  limiter.ratio.value = 20;
  limiter.attack.value = 0.002;
  const range = context.createGain();
  range.gain.value = 1 / SPAN;
  const ceiling = context.createWaveShaper();
  ceiling.curve = ceilingCurve();
  const cap = context.createGain();
  cap.gain.value = CAP;
  level.connect(limiter).connect(range).connect(ceiling).connect(cap).connect(context.destination);
  const wave = context.createPeriodicWave(
    new Float32Array(9),
    Float32Array.from({ length: 9 }, (_, k) => (k ? k ** -1.6 : 0)),
  );
  const voices = new Set();
  const hushAll = () => {
    const now = context.currentTime;
    for (const v of voices) {
      v.gain.gain.cancelScheduledValues(now);
      v.gain.gain.setTargetAtTime(0, now, 0.015);
      v.tone.stop(now + 0.1);
    }
    voices.clear();
  };
  return { context, level, wave, voices, hush: hushAll };
}

/** Keeps a sound as it is up to the knee and rounds it off below 1; what comes in is a SPANth of it. */
function ceilingCurve() {
  const half = 2048;
  return Float32Array.from({ length: 2 * half + 1 }, (_, i) => {
    const x = (SPAN * (i - half)) / half;
    const over = Math.abs(x) - KNEE;
    return over <= 0 ? x : Math.sign(x) * (KNEE + (1 - KNEE) * Math.tanh(over / (1 - KNEE)));
  });
}

function pluck(hz, at, size) {
  const { context, level, wave, voices } = out;
  const tone = context.createOscillator();
  const gain = context.createGain();
  tone.setPeriodicWave(wave);
  tone.frequency.value = hz;
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(0.6 * size, at + ATTACK);
  gain.gain.setTargetAtTime(0, at + ATTACK, DECAY);
  tone.connect(gain).connect(level);
  tone.start(at);
  tone.stop(at + LASTS);
  const voice = { tone, gain };
  voices.add(voice);
  tone.onended = () => voices.delete(voice);
}
