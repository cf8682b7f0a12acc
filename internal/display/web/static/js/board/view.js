// The Fretboard view: what lies where, to see and to hear, and the shapes of a chord.

import { h, setText } from '../dom.js';
import { get } from '../api.js';
import { tunedAs } from '../session.js';
import * as format from '../format.js';
import { play } from '../sound.js';
import { soundPanel } from '../soundpanel.js';
import { noInstrument } from '../empty.js';
import { Board } from './board.js';
import { nearestRatio } from './ratio.js';
import { Shapes } from './shapes.js';

/** Makes the view. */
export function create(app) {
  return new Fretboard(app);
}

const SHOW = [
  ['ratio', 'Ratios'],
  ['cents', 'Cents'],
  ['step', 'Steps'],
];

class Fretboard {
  #app;
  #key = ''; // what the board was fetched for
  #root = null; // cell that ratios and cents count from; null: the reference note
  #cell = null; // chosen
  #show = 'ratio';
  #shape = null; // frets of each string, or null

  constructor(app) {
    this.#app = app;
    this.board = new Board((cell) => this.#pick(cell));
    this.shapes = new Shapes(app, (shape) => this.#showShape(shape));
    this.element = this.#build();
    app.tuner.addEventListener('session', () => {
      if (app.view === this) this.#load();
    });
  }

  #build() {
    this.title = h('h1', {}, 'Fretboard');
    this.about = h('p', { class: 'dim' });
    this.modes = h(
      'div',
      { class: 'segments', role: 'group', 'aria-label': 'Below the note names' },
      SHOW.map(([key, text]) =>
        h(
          'button',
          {
            type: 'button',
            dataset: { key },
            'aria-pressed': String(key === this.#show),
            onclick: () => this.#mode(key),
          },
          text,
        ),
      ),
    );
    this.rootButton = h(
      'button',
      { type: 'button', onclick: () => this.#setRoot(null), hidden: true },
      'Count from the reference',
    );
    this.detail = h('section', { class: 'panel detail', 'aria-label': 'Chosen note' });
    this.empty = noInstrument(this.#app);
    return h(
      'section',
      { class: 'view fretboard', 'aria-label': 'Fretboard' },
      h(
        'div',
        { class: 'viewhead' },
        h('div', {}, this.title, this.about),
        h('div', { class: 'row' }, this.rootButton, this.modes),
      ),
      this.empty,
      this.board.element,
      h('div', { class: 'columns' }, h('div', { class: 'stack' }, this.detail, soundPanel()), this.shapes.element),
    );
  }

  show() {
    this.#load();
  }

  async #load() {
    const { session } = this.#app.tuner;
    if (!session) return void this.#app.tuner.addEventListener('session', () => this.#load(), { once: true });
    const { instrument, plan } = session.settings;
    const as = tunedAs(session);
    const key = JSON.stringify([instrument, as]);
    if (key === this.#key) return;
    this.#key = key;
    this.empty.hidden = instrument !== '';
    for (const el of [this.board.element, this.element.querySelector('.columns')]) el.hidden = instrument === '';
    if (instrument === '') {
      setText(this.about, '');
      return;
    }
    try {
      this.#fill(await get(`api/instruments/${encodeURIComponent(instrument)}/board`, as), plan);
    } catch (err) {
      this.#key = '';
      this.#app.complain(err);
    }
  }

  #fill(data, plan) {
    this.#root = this.#cell = this.#shape = null;
    this.data = data;
    this.plan = plan;
    setText(this.title, data.name);
    this.board.show(data);
    this.shapes.reset(data);
    this.#setRoot(null);
    const [string, fret] = (this.#app.linked().get('at') ?? '').split('.').map(Number);
    this.#pick(this.board.cell(string, fret) ?? this.board.cell(1, 0), false);
  }

  #mode(key) {
    this.#show = key;
    for (const b of this.modes.children) b.setAttribute('aria-pressed', String(b.dataset.key === key));
    this.#label();
  }

  /** Takes a note to count ratios and cents from. */
  #setRoot(cell) {
    this.#root = cell;
    this.rootButton.hidden = cell === null;
    const { label, hz } = cell ?? this.data.reference;
    const plan = this.plan ? `plan ${this.plan.name} · ` : '';
    setText(
      this.about,
      `${this.data.tuning} · ${plan}ratios and cents count from ${format.noteText(label)} = ${hz.toFixed(2)} Hz`,
    );
    this.#label();
    if (this.#cell) this.#detail();
  }

  #above(cell) {
    return format.centsBetween(cell.hz, (this.#root ?? this.data.reference).hz);
  }

  #label() {
    this.board.label((cell) => {
      const above = this.#above(cell);
      const sub = { ratio: shortRatio(above), cents: minus(above.toFixed(1)), step: minus(cell.step) }[this.#show];
      return [format.noteText(cell.label), sub];
    });
    this.#mark();
  }

  #mark() {
    this.board.mark((cell) => {
      if (this.#shape?.[cell.string - 1] === cell.fret) return 'shape';
      if (cell === this.#cell) return 'chosen-note';
      if (cell === this.#root) return 'root';
      const above = this.#above(cell);
      return Math.abs(above - 1200 * Math.round(above / 1200)) < 0.01 ? 'octave' : null;
    });
  }

  #pick(cell, sounding = true) {
    this.#cell = cell;
    this.#app.remember('fretboard', { at: `${cell.string}.${cell.fret}` });
    if (sounding) play([cell.hz]);
    this.#detail();
    this.#mark();
  }

  #detail() {
    const c = this.#cell;
    const above = this.#above(c);
    const near = nearestRatio(above);
    const rows = [
      ['pitch', `${c.hz.toFixed(3)} Hz, step ${minus(c.step)}`],
      [
        this.#root ? 'above the root' : 'above the reference',
        `${format.signed(above, 2)} cents: ${near.ratio} ${format.signed(near.off, 2)}`,
      ],
      [
        'above the open string',
        `${c.cents.toFixed(2)} cents: ${c.above_open.ratio} ${format.signed(c.above_open.off_cents, 2)}`,
      ],
    ];
    if (c.nut_mm !== null) rows.push(['from the nut', `${c.nut_mm.toFixed(2)} mm`]);
    this.detail.replaceChildren(
      h('h2', {}, `${format.noteText(c.label)} · string ${c.string}, ${c.fret ? `fret ${c.fret}` : 'open'}`),
      h(
        'dl',
        { class: 'facts' },
        rows.map(([k, v]) => h('div', {}, h('dt', {}, k), h('dd', {}, v))),
      ),
      h(
        'div',
        { class: 'row' },
        h('button', { type: 'button', onclick: () => play([c.hz]) }, 'Hear'),
        h(
          'button',
          { type: 'button', onclick: () => play([(this.#root ?? this.data.reference).hz, c.hz], 0) },
          `With ${format.noteText((this.#root ?? this.data.reference).label)}`,
        ),
        h('button', { type: 'button', onclick: () => this.#setRoot(c) }, 'Count from here'),
      ),
    );
  }

  /** Shows a shape, frets of each string with -1 for not played; null takes it away. */
  #showShape(frets) {
    this.#shape = frets;
    this.#mark();
    if (!frets) return;
    const cells = frets.map((f, i) => (f < 0 ? null : this.board.cell(i + 1, f))).filter(Boolean);
    play(cells.map((c) => c.hz).sort((a, b) => a - b));
    this.board.reveal(cells[0].string, Math.max(...cells.map((c) => c.fret)));
  }
}

/** The nearest ratio within the octave, and by how many cents the note is off it; cents where none is near. */
function shortRatio(above) {
  const within = above - 1200 * Math.floor(above / 1200 + 1e-9);
  const { ratio, off } = nearestRatio(within);
  if (Math.abs(off) > 30) return `${within.toFixed(0)}¢`;
  return Math.abs(off) < 0.5 ? ratio : `${ratio} ${format.signed(off, 0)}`;
}

function minus(number) {
  return String(number).replace('-', '−');
}
