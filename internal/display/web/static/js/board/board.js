// A fretboard as a grid of notes: a cell for each fret of each string. Frets lie in proportion to
// their places as far as fingers and labels leave room. Wide screens show it lying, narrow ones
// standing with the nut on top. Strings without frets, of which a harp has many, stand in rows like tiles.

import { h, setText, setAttr, unseen } from '../dom.js';

const printed = matchMedia('print'); // on paper nothing scrolls, so that the board stands
const STANDING_BELOW = 46; // rem of width
const LEAST = { lying: 4.2, standing: 2.75 }; // rem a fret takes along the neck

/** Whether any string has frets. */
export function hasFrets(data) {
  return data.strings.some((s) => s.frets.length > 0);
}

/** Whether it is known how long the strings are, so that a hand can be measured against them. */
export function hasLengths(data) {
  return data.strings.every((s) => s.scale_mm !== null);
}

/**
 * The board. pick(cell) is called when a note is chosen; a cell is
 * { string, fret, label, hz, step, cents, nut_mm, … } as the server tells it.
 */
export class Board {
  #cells = new Map(); // "string:fret" to { el, main, sub, cell }
  #data = null;
  #fresh = false; // not laid yet
  #at = null; // the cell in the tab order

  constructor(pick) {
    this.pick = pick;
    this.grid = h('div', { class: 'board', role: 'grid', 'aria-label': 'Fretboard', onkeydown: (e) => this.#key(e) });
    this.element = h('div', { class: 'boardbox' }, this.grid);
    new ResizeObserver(() => this.#lay()).observe(this.element);
    printed.addEventListener('change', () => this.#lay());
  }

  get data() {
    return this.#data;
  }

  /** All cells. */
  cells() {
    return [...this.#cells.values()].map((c) => c.cell);
  }

  cell(string, fret) {
    return this.#cells.get(`${string}:${fret}`)?.cell;
  }

  /** Shows a board as the server describes it. */
  show(data) {
    this.#data = data;
    this.#fresh = true;
    this.#cells.clear();
    const most = Math.max(...data.strings.map((s) => s.frets.length));
    const numbers = h('div', { class: 'numbers', role: 'presentation', 'aria-hidden': 'true' });
    for (let f = 0; f <= most && most > 0; f++) numbers.append(place(h('span', {}, String(f)), 0, f));
    this.grid.replaceChildren(numbers, ...data.strings.map((s) => this.#string(s)));
    this.grid.style.setProperty('--strings', data.strings.length);
    this.#lay();
    this.#focusable(this.#cells.get('1:0'));
  }

  #string(s) {
    const row = h('div', { role: 'row', 'aria-label': `String ${s.string}` });
    const open = {
      ...s,
      fret: 0,
      cents: 0,
      nut_mm: s.nut_along_mm === null ? null : 0,
      above_open: { ratio: '1/1', off_cents: 0 },
    };
    for (const fret of [open, ...s.frets]) {
      const cell = { ...fret, string: s.string };
      const main = h('span', { class: 'main' });
      const sub = h('span', { class: 'sub' });
      const name = unseen(`string ${s.string} ${cell.fret ? `fret ${cell.fret}` : 'open'}, `);
      const number = h('span', { class: 'number', 'aria-hidden': 'true' }, String(s.string));
      const el = place(
        h(
          'button',
          {
            type: 'button',
            role: 'gridcell',
            tabIndex: -1,
            class: cell.fret ? '' : 'open',
            onclick: () => this.#choose(cell),
          },
          name,
          !cell.fret && number,
          main,
          ' ',
          sub,
        ),
        s.string,
        cell.fret,
      );
      this.#cells.set(`${s.string}:${cell.fret}`, { el, main, sub, cell });
      row.append(el);
    }
    return row;
  }

  /** Writes every cell anew: text(cell) gives [main, sub]. */
  label(text) {
    for (const { main, sub, cell } of this.#cells.values()) {
      const [a, b] = text(cell);
      setText(main, a);
      setText(sub, b);
    }
  }

  /** Marks cells: mark(cell) gives a class name, or nothing. Marked cells count as selected. */
  mark(mark) {
    for (const { el, cell } of this.#cells.values()) {
      const name = mark(cell) ?? '';
      el.className = `${cell.fret ? '' : 'open'} ${name}`.trim();
      setAttr(el, 'aria-selected', name !== '');
    }
  }

  /** Brings a cell into sight. */
  reveal(string, fret) {
    this.#cells.get(`${string}:${fret}`)?.el.scrollIntoView({ block: 'nearest', inline: 'nearest' });
  }

  #choose(cell) {
    this.#focusable(this.#cells.get(`${cell.string}:${cell.fret}`));
    this.pick(cell);
  }

  #focusable(entry) {
    if (this.#at) this.#at.el.tabIndex = -1;
    this.#at = entry;
    if (entry) entry.el.tabIndex = 0;
  }

  #key(e) {
    const { string, fret } = this.#at.cell;
    const [stringKeys, fretKeys] = this.#arrows();
    let to = null;
    if (e.key in stringKeys) to = [string + stringKeys[e.key], fret];
    else if (e.key in fretKeys) to = [string, fret + fretKeys[e.key]];
    else if (e.key === 'Home') to = [string, 0];
    else if (e.key === 'End') to = [string, this.#data.strings[string - 1].frets.length];
    else return;
    e.preventDefault();
    const entry = this.#cells.get(to.join(':'));
    if (!entry) return;
    this.#focusable(entry);
    entry.el.focus();
  }

  /** What the arrow keys add to string and fret. */
  #arrows() {
    const rows = (n) => ({ ArrowUp: -n, ArrowDown: n });
    const along = { ArrowLeft: -1, ArrowRight: 1 };
    if (this.grid.classList.contains('tiles'))
      return [{ ...along, ...rows(getComputedStyle(this.grid).gridTemplateColumns.split(' ').length) }, {}];
    return this.grid.classList.contains('standing') ? [{ ArrowRight: -1, ArrowLeft: 1 }, rows(1)] : [rows(1), along];
  }

  /** Chooses how the board lies and how long each fret is. */
  #lay() {
    if (!this.#data || this.element.clientWidth === 0) return;
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const tiles = !hasFrets(this.#data);
    const standing = !tiles && (printed.matches || this.element.clientWidth < STANDING_BELOW * rem);
    const turned = standing && (this.#fresh || !this.grid.classList.contains('standing'));
    this.grid.classList.toggle('tiles', tiles);
    this.grid.classList.toggle('standing', standing);
    const room = standing ? 0 : this.element.clientWidth / rem - LEAST.lying - 0.5;
    const sizes = fretSizes(this.#data, standing ? LEAST.standing : LEAST.lying, room);
    this.grid.style.setProperty('--frets', ['auto', ...sizes.map((s) => `${s.toFixed(3)}rem`)].join(' '));
    if (turned) this.element.scrollLeft = this.element.scrollWidth; // to string 1, which stands last
    this.#fresh = false;
  }
}

function place(el, string, fret) {
  el.style.setProperty('--s', string);
  el.style.setProperty('--f', fret);
  return el;
}

/**
 * The length of each fret in rem: in proportion to its millimetres if all strings have the same
 * frets, but at least least; so large that they fill the room.
 */
function fretSizes(data, least, room) {
  const most = data.strings.reduce((a, b) => (b.frets.length > a.frets.length ? b : a));
  const alike = data.strings.every(
    (s) => s.frets.length === most.frets.length && s.frets.every((f, i) => f.cents === most.frets[i].cents),
  );
  const mm = most.frets.map((f, i) => (alike && f.nut_mm !== null ? f.nut_mm - (most.frets[i - 1]?.nut_mm ?? 0) : 1));
  const total = mm.reduce((a, b) => a + b, 0);
  const narrowest = Math.min(...mm);
  // The largest scale that fits the room; else one at which the longest fret is not over thrice the least.
  let scale = room / total;
  if (mm.reduce((sum, x) => sum + Math.max(x * scale, least), 0) > room)
    scale = Math.min(least / narrowest, (2 * least) / Math.max(...mm));
  for (
    let i = 0;
    i < 20 && mm.reduce((sum, x) => sum + Math.max(x * scale, least), 0) > room && room >= least * mm.length;
    i++
  )
    scale *= 0.93;
  return mm.map((x) => Math.max(x * scale, least));
}
