// Speaks to screen readers through one live region, at a rate that can be listened to.

import { noteSpoken, cents, doubtText } from './format.js';

const EVERY_MS = 3000; // between two readings spoken
const SETTLE_MS = 700; // a new note is spoken when it has settled

/** Announces readings and changes of state; at once only what the user has asked for. */
export class Announcer {
  #region;
  #spokenAt = -Infinity;
  #said = '';
  #since = 0;
  #key = '';

  constructor(region) {
    this.#region = region;
  }

  /** Says a text now. */
  say(text) {
    this.#spokenAt = performance.now();
    this.#said = text;
    this.#region.textContent = text;
  }

  /** Is told of the state of things often, and says it when there is something new. */
  reading(tuner) {
    const now = performance.now();
    const text = sentence(tuner);
    const key = tuner.sounding ? tuner.frame.target.label : text;
    if (key !== this.#key) [this.#key, this.#since] = [key, now];
    if (text === this.#said || now - this.#spokenAt < EVERY_MS || now - this.#since < SETTLE_MS) return;
    this.say(text);
  }
}

/** What is to be said of all strings at once: those that are off. */
function togetherSentence(strings) {
  const active = strings.filter((s) => s.active);
  const off = active.filter((s) => s.state !== 'in tune');
  if (active.length === 0) return '';
  return off.length ? off.map((s) => `string ${s.string} ${howFar(s)}`).join(', ') : 'what sounds is in tune';
}

function howFar(s) {
  if (s.state === 'settling') return 'settling';
  return `${cents(Math.abs(s.cents), s.cents_sigma, 0).replace('+', '')} cents ${s.state}`;
}

function sentence(tuner) {
  if (tuner.link === 'lost') return 'connection to the tuner lost';
  if (tuner.link === 'stale') return 'no news from the tuner';
  if (tuner.allStrings) return togetherSentence(tuner.strings);
  const f = tuner.frame;
  if (!f) return tuner.hears;
  if (f.hears === 'sounding' && !f.target) return ''; // all strings, of which the session does not know yet
  if (f.hears !== 'sounding') return f.hears === 'listening' ? '' : f.hears;
  const note = noteSpoken(f.target.label);
  if (f.standing === 'doubted') return doubtText(f);
  if (f.state === 'in tune') return `${note}, in tune`;
  if (f.state === 'settling') return `${note}, settling`;
  const most = Math.abs(f.cents) < 3 ? 1 : 0;
  const size = cents(Math.abs(f.cents), f.cents_sigma, most).replace('+', '');
  return `${note}, ${size} cents ${f.state}`;
}
