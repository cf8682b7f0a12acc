// What the page knows of the tuner: the newest of every message of the stream, and how fresh.

import { StreamClock } from './clock.js';
import { send } from './api.js';

const STALE_MS = 1000; // without a frame while other messages come
const LOST_MS = 5000; // without any message
const RETRY_MS = 1000;
const HIDDEN_MS = 10_000; // that a page may be out of sight before it lets go of the stream
const RESTING = new Set(['waiting', 'input lost', 'input ended']); // no frames come then

/**
 * A Tuner follows the stream. It sends the events `session`, `frame`, `strings`, `notice`, `setup` when
 * such a message came, `link` when the freshness changed: `connecting`, `live`, `stale`
 * or `lost`, and `freeze` when the readings stand still or go on. A page that is out of sight follows nothing:
 * a browser has few connections, and another tab may need them.
 */
export class Tuner extends EventTarget {
  session = null;
  frame = null; // the newest
  reading = null; // the newest frame with a pitch
  strings = [];
  link = 'connecting';
  clock = new StreamClock();
  #instance = '';
  #source = null;
  #heardAt = -Infinity; // ms, any message
  #frameAt = -Infinity; // ms
  #openedAt = 0; // ms, the stream
  #frozen = null; // what stands still: { at, sounding, missed }, missed being the newest of every kind since; else null

  /** Opens the stream and keeps it open. */
  start() {
    this.#open();
    setInterval(() => this.#check(), 250);
    document.addEventListener('visibilitychange', () => this.#seen(document.visibilityState === 'visible'));
  }

  #seen(visible) {
    clearTimeout(this.rest);
    if (!visible) this.rest = setTimeout(() => this.#close(), HIDDEN_MS);
    else if (!this.#source && !this.stopped) this.#open();
  }

  /** Follows the stream no more. */
  stop() {
    this.stopped = true;
    this.#close();
  }

  /** Follows it again. */
  resume() {
    this.stopped = false;
    this.#open();
  }

  #close() {
    this.#source?.close();
    this.#source = null;
    clearTimeout(this.retry);
    this.#setLink('connecting');
  }

  /** Whether the readings stand still. */
  get frozen() {
    return this.#frozen !== null;
  }

  /** Lets all readings stand still, or go on with the newest. */
  freeze(on) {
    if (on === this.frozen) return;
    const missed = this.#frozen?.missed;
    this.#frozen = on ? { at: this.now(), sounding: this.sounding, missed: {} } : null;
    this.#tell('freeze', on);
    if (missed?.frame) this.#frame(missed.frame, this.#frameAt);
    if (missed?.strings) this.#strings(missed.strings);
  }

  /** ms since the newest frame arrived. */
  frameAge(now = performance.now()) {
    return now - this.#frameAt;
  }

  /** ms since anything arrived. */
  silence(now = performance.now()) {
    return now - this.#heardAt;
  }

  /** Whether there is one pitch now. */
  get sounding() {
    return this.#frozen?.sounding ?? (this.link === 'live' && Boolean(this.frame?.target));
  }

  /** Whether all strings are read at once: there is no single pitch then. */
  get allStrings() {
    return this.session?.settings.all_strings ?? false;
  }

  /** What the tuner hears, in a word of the stream. */
  get hears() {
    return this.frame?.hears ?? this.session?.input.hears ?? '';
  }

  /** The stream time of now, in s. */
  now() {
    return this.#frozen?.at ?? this.clock.at(performance.now());
  }

  /** Changes some settings; the answer comes by the stream, too. */
  async set(settings) {
    this.#setSession(await send('PATCH', 'api/session', settings));
  }

  /** Sets all to what was in force before. */
  async restore(settings) {
    this.#setSession(await send('PUT', 'api/session', settings));
  }

  hold(string) {
    return this.set({ string });
  }

  /** Says that what sounds is the held string, though it does not seem to be. */
  confirm() {
    return send('POST', 'api/session/confirm', {});
  }

  /** Whether what sounds now seems to be another string than the held one. */
  get doubted() {
    return this.sounding && this.frame.standing === 'doubted';
  }

  clear() {
    return send('POST', 'api/session/clear');
  }

  #open() {
    this.#source?.close();
    const source = new EventSource('stream');
    this.#source = source;
    this.#openedAt = performance.now();
    const on = (name, take) =>
      source.addEventListener(name, (e) => {
        this.#heardAt = performance.now();
        take.call(this, JSON.parse(e.data), this.#heardAt);
        this.#check();
      });
    on('hello', this.#hello);
    on('session', this.#setSession);
    on('frame', this.#frame);
    on('strings', this.#strings);
    on('notice', (notice) => {
      if (!this.frozen || notice.event !== 'ringing') this.#tell('notice', notice);
    });
    on('setup', (state) => this.#tell('setup', state));
    on('alive', () => {});
    source.onerror = () => {
      this.#setLink('lost');
      // The browser tries again by itself, unless the answer was not a stream at all.
      if (source.readyState === EventSource.CLOSED && source === this.#source)
        this.retry = setTimeout(() => this.#open(), RETRY_MS);
    };
  }

  #hello(hello) {
    if (hello.instance !== this.#instance) {
      this.#instance = hello.instance;
      this.clock = new StreamClock();
      this.strings = [];
      this.frame = this.reading = this.session = null; // another tuner: it counts its revisions from the start
      this.freeze(false);
    }
    this.version = hello.version;
    this.guarded = hello.guarded;
    this.#setSession(hello.session);
  }

  #setSession(session) {
    if (this.session && session.revision < this.session.revision) return;
    if (this.session && session.settings.instrument !== this.session.settings.instrument) this.freeze(false);
    this.session = session;
    this.#tell('session', session);
  }

  #frame(frame, now) {
    const before = this.#frozen?.missed.frame ?? this.frame;
    if (before && frame.t_s < before.t_s) this.clock = new StreamClock();
    this.clock.note(frame.t_s, now);
    this.#frameAt = now;
    if (this.#frozen) {
      this.#frozen.missed.frame = frame;
      return;
    }
    this.frame = frame;
    if (frame.target) this.reading = frame;
    this.#tell('frame', frame);
  }

  #strings(list) {
    if (this.#frozen) {
      this.#frozen.missed.strings = list;
      return;
    }
    this.strings = list.strings;
    this.#tell('strings', list);
  }

  #check() {
    const now = performance.now();
    if (this.#source?.readyState !== EventSource.OPEN || this.#heardAt < this.#openedAt) return;
    if (this.silence(now) > LOST_MS) this.#setLink('lost');
    else if (this.frameAge(now) > STALE_MS && !RESTING.has(this.#frozen?.missed.frame?.hears ?? this.hears))
      this.#setLink('stale');
    else this.#setLink('live');
  }

  #setLink(link) {
    if (link === this.link) return;
    this.link = link;
    this.#tell('link', link);
  }

  #tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}
