// The strings of a plan: how far each is moved, and how far it may be. The limits are dragged, or moved
// by the arrow keys.

import { h, setText, setAttr, setClass } from '../dom.js';
import { signed, noteText } from '../format.js';
import { boundOf } from '../bounds.js';

const ENDS = [100, 200, 400, 800, 1600]; // cents at the ends of the tracks: the least that holds all limits
const STEP = 1;
const MANY = 12; // strings of which only those are shown that a plan is about

/** The tracks; changed() is called when a limit was moved. */
export class Limits {
  #rows = [];
  #end = ENDS[0];
  #most = ENDS[0]; // that the server takes
  #shown = null; // the strings of the plan
  #concerned = new Set(); // strings of the chord

  constructor(changed) {
    this.changed = changed;
    this.scale = [-1, 0, 1].map((end) => h('span', { dataset: { end } }));
    boundOf('limit_cents').then((bound) => {
      if (!bound) return;
      this.#most = bound.most;
      this.#rescale();
    });
    this.list = h('ol', { class: 'limits' });
    this.element = h(
      'div',
      {},
      this.list,
      h('p', { class: 'limit-scale dim small', 'aria-hidden': 'true' }, this.scale),
    );
  }

  /** Shows the strings of a board, each { string, label }, with the same limits for all. */
  reset(strings, limit) {
    this.#shown = null;
    this.#rows = strings.map((s) => this.#row(s));
    this.list.replaceChildren(...this.#rows.map((r) => r.el));
    this.setAll(limit);
  }

  /** Says which strings the chord is made of. */
  concern(strings) {
    this.#concerned = new Set(strings);
    this.show(this.#shown);
  }

  /** The limits as the server takes them. */
  get() {
    return this.#rows.map(({ string, down, up }) => ({ string, down, up }));
  }

  setAll(limit) {
    for (const row of this.#rows) row.down = row.up = limit;
    this.#rescale();
  }

  /** Chooses the ends of the tracks, and places all on them. */
  #rescale() {
    const widest = Math.max(0, ...this.#rows.flatMap((row) => [row.down, row.up]));
    this.#end = ENDS.find((end) => end >= widest) ?? widest;
    for (const el of this.scale) setText(el, signed(el.dataset.end * this.#end, 0));
    for (const row of this.#rows) this.#placeHandles(row);
    this.show(this.#shown);
  }

  #row({ string, label }) {
    const row = { string, down: 0, up: 0 };
    row.bar = h('span', { class: 'moved', hidden: true });
    row.allowed = h('span', { class: 'allowed' });
    row.handles = { down: this.#handle(row, 'down', label), up: this.#handle(row, 'up', label) };
    row.track = h(
      'span',
      { class: 'limit-track' },
      row.allowed,
      h('i', { class: 'zero' }),
      row.bar,
      row.handles.down,
      row.handles.up,
    );
    row.cents = h('strong', { class: 'by' }, '–');
    row.more = h('span', { class: 'dim small' });
    row.el = h(
      'li',
      {},
      h('span', { class: 'who' }, `${string}  ${noteText(label)}`),
      row.track,
      h('span', { class: 'figure' }, row.cents, row.more),
    );
    return row;
  }

  #handle(row, which, label) {
    return h('span', {
      class: `handle ${which}`,
      role: 'slider',
      tabIndex: 0,
      'aria-label': `String ${row.string} ${label}, most ${which}, cents`,
      'aria-valuemin': '0',
      onkeydown: (e) => this.#key(e, row, which),
      onpointerdown: (e) => this.#drag(e, row, which),
    });
  }

  #key(e, row, which) {
    const outward = which === 'up' ? 1 : -1;
    const by = {
      ArrowRight: STEP * outward,
      ArrowLeft: -STEP * outward,
      ArrowUp: STEP,
      ArrowDown: -STEP,
      PageUp: 10,
      PageDown: -10,
      Home: -this.#most,
      End: this.#most,
    }[e.key];
    if (!by) return;
    e.preventDefault();
    this.#set(row, which, row[which] + by);
    if (row[which] > this.#end) this.#rescale();
  }

  #drag(e, row, which) {
    e.preventDefault();
    const handle = e.currentTarget;
    handle.focus();
    handle.setPointerCapture(e.pointerId);
    const move = (event) => {
      const box = row.track.getBoundingClientRect();
      const cents = ((2 * (event.clientX - box.left)) / box.width - 1) * this.#end;
      this.#set(row, which, Math.min(Math.round(which === 'up' ? cents : -cents), this.#end));
    };
    handle.onpointermove = move;
    handle.onpointerup = handle.onpointercancel = () => {
      handle.onpointermove = null;
    };
  }

  #set(row, which, cents) {
    const to = Math.min(Math.max(cents, 0), this.#most);
    if (to === row[which]) return;
    row[which] = to;
    this.#placeHandles(row);
    this.changed();
  }

  #place(cents) {
    return 0.5 + Math.min(Math.max(cents / this.#end, -1), 1) / 2;
  }

  #placeHandles(row) {
    row.handles.down.style.setProperty('--at', this.#place(-row.down));
    row.handles.up.style.setProperty('--at', this.#place(row.up));
    row.allowed.style.setProperty('--at', this.#place(-row.down));
    row.allowed.style.setProperty('--wide', this.#place(row.up) - this.#place(-row.down));
    for (const handle of Object.values(row.handles)) setAttr(handle, 'aria-valuemax', this.#most);
    setAttr(row.handles.down, 'aria-valuenow', row.down);
    setAttr(row.handles.up, 'aria-valuenow', row.up);
  }

  /** Shows how far a plan moves each string; null shows none. */
  show(strings) {
    this.#shown = strings;
    const many = this.#rows.length > MANY;
    for (const [i, row] of this.#rows.entries()) {
      const s = strings?.[i];
      row.bar.hidden = !s;
      row.el.hidden = many && !this.#concerned.has(row.string) && !(Math.abs(s?.cents) > 0.005);
      setText(row.cents, s ? `${signed(s.cents, 2)}¢` : '–');
      setText(row.more, s ? describe(s) : '');
      if (!s) continue;
      const [from, to] = [Math.min(s.cents, 0), Math.max(s.cents, 0)].map((c) => this.#place(c));
      row.bar.style.setProperty('--at', from);
      row.bar.style.setProperty('--wide', to - from);
      const side = Math.abs(s.cents) < 0.005 ? 'tuned' : s.cents < 0 ? 'flat' : 'sharp';
      row.bar.className = `moved ${side}`;
      row.cents.className = `by ${side}`;
      setClass(
        row.el,
        'at-limit',
        (s.cents >= row.up - 0.005 && s.cents > 0.005) || (s.cents <= 0.005 - row.down && s.cents < -0.005),
      );
    }
  }
}

function describe(s) {
  const hz = `${s.hz_after.toFixed(2)}\u00a0Hz`;
  if (!(s.tension_n_after > 0)) return hz;
  const share = s.limit_share_after > 0 ? `, ${(100 * s.limit_share_after).toFixed(0)}\u00a0%` : '';
  return `${hz}, ${s.tension_n_after.toFixed(1)}\u00a0N${share}`;
}
