// All strings at once: a lane for each, with the deviation of its last reading as a place beside
// the middle. The scale is linear within a cent and grows slowly beyond (inverse hyperbolic sine).

import { h, setText, setAttr, setClass, unseen } from '../dom.js';
import * as format from '../format.js';
import { marks } from './strings.js';

const END = 50; // cents at the ends of a lane
const TICKS = [-20, -5, -1, 0, 1, 5, 20];

/** Place of a deviation on a lane, 0 (left, flat) to 1 (right, sharp); 0.5 is in tune. */
export function lanePlace(cents) {
  const x = Math.asinh(cents) / Math.asinh(END);
  return 0.5 + Math.min(Math.max(x, -1), 1) / 2;
}

/** The lanes; hold(n) as in the list of strings. */
export class Lanes {
  #rows = [];
  tolerance = 0.5; // cents

  constructor(hold) {
    this.hold = hold;
    this.list = h('ol', {});
    const ticks = TICKS.map((c) => at(h('span', {}, format.signed(c, 0)), lanePlace(c)));
    this.element = h(
      'section',
      { class: 'lanes', 'aria-label': 'All strings', hidden: true },
      this.list,
      h('p', { class: 'scale', 'aria-hidden': 'true' }, h('span', { class: 'ticks' }, ticks)),
      h(
        'p',
        { class: 'ends dim', 'aria-hidden': 'true' },
        h('span', {}, '← flat'),
        h('span', {}, 'cents'),
        h('span', {}, 'sharp →'),
      ),
    );
  }

  show(strings) {
    while (this.#rows.length > strings.length) this.#rows.pop().el.remove();
    while (this.#rows.length < strings.length) this.#add();
    strings.forEach((s, i) => this.#row(this.#rows[i], s));
  }

  #add() {
    const row = {
      marks: h('span', { 'aria-hidden': 'true' }),
      name: h('span', {}),
      spread: h('span', { class: 'spread' }),
      dot: h('span', { class: 'dot' }),
      cents: h('span', { class: 'lane-cents' }),
      word: h('span', { class: 'lane-word' }),
    };
    const track = h(
      'span',
      { class: 'track', 'aria-hidden': 'true' },
      TICKS.map((c) => at(h('i', { class: c ? '' : 'zero' }), lanePlace(c))),
      row.spread,
      row.dot,
    );
    row.button = h(
      'button',
      { type: 'button', onclick: () => this.hold(row.s.held ? 0 : row.s.string) },
      h('span', { class: 'lane-name' }, row.marks, unseen('Hold string '), row.name),
      track,
      h('span', { class: 'lane-reading' }, row.cents, unseen(' cents, '), row.word),
    );
    row.el = h('li', {}, row.button);
    this.#rows.push(row);
    this.list.append(row.el);
  }

  #row(row, s) {
    row.s = s;
    setText(row.marks, marks(s) && `${marks(s)} `);
    setText(row.name, `${s.string}  ${format.noteText(s.label)}`);
    setText(row.cents, s.read ? format.bigCents(s.cents, s.cents_sigma) : '–');
    for (const el of [row.dot, row.spread]) el.hidden = !s.read;
    if (s.read) this.#place(row, s);
    row.button.className = s.read ? this.#side(s) : '';
    setClass(row.button, 'active', s.active);
    setAttr(row.button, 'aria-pressed', s.held);
  }

  /** The verdict, by the same rule as the tuner's. */
  #side(s) {
    const off = Math.abs(s.cents);
    const sure = s.cents_sigma <= this.tolerance;
    if (off <= this.tolerance) return sure ? 'tuned' : 'settling';
    if (!sure && off < 2 * s.cents_sigma) return 'settling';
    return s.cents < 0 ? 'flat' : 'sharp';
  }

  #place(row, s) {
    at(row.dot, lanePlace(s.cents));
    const from = lanePlace(s.cents - 2 * s.cents_sigma);
    at(row.spread, from).style.setProperty('--wide', lanePlace(s.cents + 2 * s.cents_sigma) - from);
  }

  /** Writes how old the readings are at stream time now, s. */
  ages(now) {
    for (const { s, word } of this.#rows) {
      if (!s) continue;
      const when = format.age(now - s.at_s);
      const quiet = s.state === 'silent' || s.state === 'hidden' ? s.state : '';
      setText(
        word,
        !s.read ? quiet || 'not read' : `${WORDS[this.#side(s)]}, ${s.active ? 'sounding' : quiet || when}`,
      );
    }
  }
}

const WORDS = { flat: 'flat', sharp: 'sharp', tuned: 'in tune', settling: 'settling' };

function at(el, place) {
  el.style.setProperty('--at', place);
  return el;
}
