// The playable shapes of a chord on the board.

import { h, setError, setText, setAttr, wideTable } from '../dom.js';
import { hasLengths } from './board.js';
import { signed } from '../format.js';
import { get } from '../api.js';
import { bind } from '../bounds.js';
import { tunedAs } from '../session.js';

const CHORDS = ['4:5:6:7', '4:5:6', '10:12:15', '6:7:9', '8:9:10:12', '1:2', '2:3'];

/** The search and its answers; show(frets) is called with a shape, or null for none. */
export class Shapes {
  #app;
  #data = null; // of the board
  #shown = null; // { shape, place }

  constructor(app, show) {
    this.#app = app;
    this.show = show;
    this.chord = h('input', {
      name: 'chord',
      value: '4:5:6:7',
      list: 'chords',
      autocomplete: 'off',
      spellcheck: false,
    });
    this.span = h('input', { name: 'span', type: 'number', required: true, step: 'any', value: 100 });
    this.within = h('input', { name: 'within', type: 'number', required: true, step: 'any', value: 20 });
    bind({ span_mm: this.span, within_cents: this.within });
    this.status = h('p', { class: 'dim', role: 'status' });
    this.error = h('p', { class: 'error', role: 'alert' });
    this.list = h('ol', { class: 'shapes' });
    this.place = h('div', { class: 'row places', hidden: true });
    this.pairs = h('div', {});
    this.form = h(
      'form',
      {
        class: 'row',
        onsubmit: (e) => {
          e.preventDefault();
          this.#find();
        },
      },
      h('label', { class: 'field grow' }, h('span', {}, 'Chord'), this.chord),
      h('label', { class: 'field narrow' }, h('span', {}, 'Hand span, mm'), this.span),
      h('label', { class: 'field narrow' }, h('span', {}, 'Within, cents'), this.within),
      (this.find = h('button', { class: 'main', disabled: true }, 'Find shapes')),
    ); // until there is a board
    this.element = h(
      'section',
      { class: 'panel', 'aria-label': 'Shapes of a chord' },
      h('h2', {}, 'Shapes of a chord'),
      this.form,
      h(
        'datalist',
        { id: 'chords' },
        CHORDS.map((c) => h('option', { value: c })),
      ),
      this.status,
      this.error,
      this.list,
      this.place,
      this.pairs,
    );
  }

  /** Forgets all for another board. */
  reset(data) {
    this.#data = data;
    this.find.disabled = false;
    this.form.hidden = !hasLengths(data);
    this.#shown = null;
    this.place.hidden = true;
    this.list.replaceChildren();
    this.pairs.replaceChildren();
    const why = `Shapes are found by the reach of a hand; the file of ${data.name} gives no scale_length_mm.`;
    setText(this.status, this.form.hidden ? why : '');
    setError(this.error, null);
  }

  async #find() {
    setText(this.status, 'searching …');
    setError(this.error, null);
    try {
      const answer = await get(`api/instruments/${encodeURIComponent(this.#data.id)}/shapes`, {
        chord: this.chord.value,
        span_mm: this.span.value,
        within_cents: this.within.value,
        most: 40,
        ...tunedAs(this.#app.tuner.session),
      });
      this.#answer(answer);
    } catch (err) {
      setText(this.status, '');
      setError(this.error, err);
      this.list.replaceChildren();
      this.pairs.replaceChildren();
    }
  }

  #answer({ chord, total, shapes }) {
    this.list.replaceChildren(...shapes.map((s) => this.#item(s, chord)));
    setText(
      this.status,
      total === 0
        ? `no shape of ${chord}: allow a wider span or more cents`
        : `${counted(shapes.length, total)}, strings ${this.#data.strings.length} to 1`,
    );
    this.place.hidden = shapes.length === 0;
    this.pairs.replaceChildren();
    if (shapes.length) this.list.querySelector('button').click();
    else this.show(null);
  }

  #item(shape, chord) {
    const frets = [...shape.frets]
      .reverse()
      .map((f) => (f < 0 ? '–' : f))
      .join(' ');
    const beat = shape.worst_beat_hz === null ? '' : `, beats to ${shape.worst_beat_hz.toFixed(1)} Hz`;
    const button = h(
      'button',
      { type: 'button', 'aria-pressed': 'false', onclick: () => this.#choose(button, shape, chord, 0) },
      h('strong', { class: 'tab' }, frets),
      h('span', {}, `worst ${shape.worst_cents.toFixed(1)}¢${beat}`),
      h(
        'span',
        { class: 'dim' },
        `${shape.span_mm.toFixed(0)} mm, ${shape.fingers} ${shape.fingers === 1 ? 'finger' : 'fingers'}`,
      ),
    );
    return h('li', {}, button);
  }

  #choose(button, shape, chord, place) {
    for (const b of this.list.querySelectorAll('button')) setAttr(b, 'aria-pressed', b === button);
    this.#shown = { shape, place, chord };
    const frets = moved(shape, place);
    this.show(frets);
    const at = (step) =>
      this.#choose(button, shape, chord, (place + step + shape.root_frets.length) % shape.root_frets.length);
    this.#tellPairs(shape);
    const many = shape.root_frets.length > 1;
    this.place.replaceChildren(
      many && h('button', { type: 'button', onclick: () => at(-1), 'aria-label': 'Lower place' }, '◂'),
      h(
        'span',
        {},
        `root at fret ${shape.root_frets[place]}${many ? `, ${place + 1} of ${shape.root_frets.length} places` : ''}`,
      ),
      many && h('button', { type: 'button', onclick: () => at(1), 'aria-label': 'Higher place' }, '▸'),
      h('button', { type: 'button', onclick: () => this.show(frets) }, 'Hear'),
      h('button', { type: 'button', onclick: () => this.#detune(frets, shape, chord) }, 'Make it pure: Detune'),
    );
  }

  /** Beats of the lowest place; higher up they are faster by as much as the chord is higher. */
  #tellPairs(shape) {
    const of = (i) => `string ${shape.strings[i]}`;
    this.pairs.replaceChildren(
      wideTable(
        'Pairs of the shape',
        h('caption', {}, `Beats of its pairs with the root at fret ${shape.root_frets[0]}`),
        h(
          'thead',
          {},
          h(
            'tr',
            {},
            ['pair', 'interval', 'cents', 'beats Hz'].map((t) => h('th', { scope: 'col' }, t)),
          ),
        ),
        h(
          'tbody',
          {},
          shape.pairs.map((p) =>
            h(
              'tr',
              {},
              h('th', { scope: 'row' }, `${of(p.low)}, ${of(p.high)}`),
              h('td', {}, p.interval),
              h('td', {}, signed(p.cents, 2)),
              h('td', {}, p.beat_hz === null ? '–' : p.beat_hz.toFixed(2)),
            ),
          ),
        ),
      ),
    );
  }

  #detune(frets, shape, chord) {
    this.#app.wanted = { frets, chord, strings: shape.strings };
    this.#app.go('detune');
  }
}

/** How many shapes are shown, and of how many. */
function counted(shown, total) {
  const all = `${total} ${total === 1 ? 'shape' : 'shapes'}`;
  return shown < total ? `the purest ${shown} of ${all}` : all;
}

/** The frets of a shape at one of its places. */
export function moved(shape, place) {
  const by = shape.root_frets[place] - shape.root_frets[0];
  return shape.frets.map((f) => (f < 0 ? -1 : f + by));
}
