// The list of strings with the last reading of each. A press holds a string or lets it go.

import { h, setText, setAttr, setClass, unseen } from '../dom.js';
import * as format from '../format.js';

/** The list; hold(n) is called when string n is pressed, hold(0) when the held one is. */
export class Strings {
  #rows = [];

  constructor(hold) {
    this.hold = hold;
    this.list = h('ol', {});
    this.element = h('section', { class: 'strings', 'aria-label': 'Strings' }, this.list);
  }

  show(strings) {
    while (this.#rows.length > strings.length) this.#rows.pop().el.remove();
    while (this.#rows.length < strings.length) this.#add();
    strings.forEach((s, i) => this.#row(this.#rows[i], s));
  }

  #add() {
    const row = {
      mark: h('span', { class: 'mark', 'aria-hidden': 'true' }),
      n: h('span', {}),
      label: h('span', { class: 'label' }),
      cents: h('span', {}),
      unit: unseen(''),
      age: h('span', { class: 'age', 'aria-hidden': 'true' }),
    };
    row.button = h(
      'button',
      { type: 'button', onclick: () => this.hold(row.s.held ? 0 : row.s.string) },
      row.mark,
      h('span', { class: 'n' }, unseen('Hold string '), row.n),
      row.label,
      h('span', { class: 'c' }, row.cents, row.unit),
      row.age,
    );
    row.el = h('li', {}, row.button);
    this.#rows.push(row);
    this.list.append(row.el);
  }

  #row(row, s) {
    row.s = s;
    setText(row.mark, marks(s));
    setText(row.n, String(s.string));
    setText(row.label, format.noteText(s.label));
    setText(row.cents, s.read ? format.bigCents(s.cents, s.cents_sigma) : '–');
    setText(row.unit, s.read ? ' cents' : ' not read');
    if (s.active && !row.button.classList.contains('active')) this.#reveal(row.el);
    setClass(row.button, 'active', s.active);
    setAttr(row.button, 'aria-pressed', s.held);
  }

  /** Brings a string into sight where the list scrolls by itself; the page stays where it is. */
  #reveal(el) {
    const box = this.element;
    if (box.scrollHeight <= box.clientHeight) return;
    const off = el.getBoundingClientRect().top - box.getBoundingClientRect().top;
    if (off < 0 || off > box.clientHeight - el.clientHeight)
      box.scrollTop += off - (box.clientHeight - el.clientHeight) / 2;
  }

  /** Writes how old the readings are at stream time now, s. */
  ages(now) {
    for (const row of this.#rows) setText(row.age, row.s?.read ? format.age(now - row.s.at_s) : '');
  }
}

/** ▸ sounds now, ■ is held. */
export function marks(s) {
  return (s.active ? '▸' : '') + (s.held ? '■' : '');
}
