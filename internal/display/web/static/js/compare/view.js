// The Compare view: which division serves the chords that are played, and what it costs.

import { h, setError, setText, wideTable } from '../dom.js';
import { get } from '../api.js';
import { bind } from '../bounds.js';
import { signed } from '../format.js';
import { retarget } from '../risk.js';
import { Plot } from './plot.js';

const MEASURES = {
  worst_cents: ['worst pair, cents', 'worst'],
  weighted_cents: ['weighted error, cents', 'weighted'],
  worst_steps: ['worst pair, parts of a step', 'in steps'],
};
const LISTED = 12;

/** Makes the view. */
export function create(app) {
  return new Compare(app);
}

class Compare {
  #app;
  #answer = null;
  #measure = 'worst_cents';
  #chosen = 0;
  #reference = ''; // that the chosen one is shown on

  constructor(app) {
    this.#app = app;
    this.plot = new Plot((n) => this.#choose(n));
    this.element = this.#build();
    app.tuner.addEventListener('session', () => {
      if (app.view === this) this.show();
    });
  }

  #build() {
    this.chords = h('input', { name: 'chords', value: '4:5:6:7, 10:12:15', autocomplete: 'off', spellcheck: false });
    this.from = h('input', { name: 'from', type: 'number', required: true, value: 5 });
    this.to = h('input', { name: 'to', type: 'number', required: true, value: 72 });
    bind({ divisions: [this.from, this.to] });
    this.of = h('input', { name: 'of', value: '2/1', autocomplete: 'off', spellcheck: false });
    this.status = h('p', { class: 'error', role: 'alert' });
    this.measures = h(
      'div',
      { class: 'segments', role: 'group', 'aria-label': 'Error shown' },
      Object.entries(MEASURES).map(([key, [, text]]) =>
        h(
          'button',
          {
            type: 'button',
            dataset: { key },
            'aria-pressed': String(key === this.#measure),
            onclick: () => this.#by(key),
          },
          text,
        ),
      ),
    );
    const form = h(
      'form',
      {
        class: 'row',
        onsubmit: (e) => {
          e.preventDefault();
          this.#fetch();
        },
      },
      h('label', { class: 'field grow' }, h('span', {}, 'Chords, with commas between'), this.chords),
      h('label', { class: 'field narrow' }, h('span', {}, 'From'), this.from),
      h('label', { class: 'field narrow' }, h('span', {}, 'to steps'), this.to),
      h('label', { class: 'field narrow' }, h('span', {}, 'of'), this.of),
      h('button', { class: 'main' }, 'Compare'),
    );
    this.best = h('tbody', {});
    const table = wideTable(
      'The purest of the range',
      h('caption', {}, 'The purest of the range'),
      h(
        'thead',
        {},
        h(
          'tr',
          {},
          ['division', 'step ¢', 'worst ¢', 'weighted ¢', 'odd limit'].map((t) => h('th', { scope: 'col' }, t)),
        ),
      ),
      this.best,
    );
    this.detail = h('section', { class: 'panel', 'aria-label': 'Chosen division', 'aria-live': 'polite' });
    return h(
      'section',
      { class: 'view compare', 'aria-label': 'Compare' },
      h('div', { class: 'viewhead' }, h('h1', {}, 'Divisions against chords'), this.measures),
      form,
      this.status,
      this.plot.element,
      h(
        'p',
        { class: 'dim small' },
        'Filled: consistent, every pair of the chord is also the best approximation of its own interval. ',
        'Hollow: not. Numbered: purer than every smaller one. Bars: the taller, the purer the chord.',
      ),
      h('div', { class: 'columns' }, this.detail, h('section', { class: 'panel' }, table)),
    );
  }

  show() {
    const linked = this.#app.linked();
    if (this.#take(linked)) this.#fetch(Number(linked.get('n')));
    else if (!this.#answer) this.#fetch();
    else if (this.#reference !== this.#askedFor()) this.#choose(this.#chosen);
    else this.#remember();
  }

  /** What chords are put on: the reference that the tuner is set to, which a new tuning keeps. */
  #askedFor() {
    const { reference } = this.#app.tuner.session ?? {};
    return reference ? `${reference.label}=${reference.hz}` : '';
  }

  /** Fills in what the address says; whether that is something else than what is shown. */
  #take(linked) {
    const fields = [this.chords, this.from, this.to, this.of].filter((f) => linked.get(f.name) ?? '');
    const changed = fields.filter((f) => f.value !== linked.get(f.name));
    for (const f of changed) f.value = linked.get(f.name);
    return changed.length > 0 || (linked.has('n') && Number(linked.get('n')) !== this.#chosen);
  }

  #remember() {
    const shown = [this.chords, this.from, this.to, this.of].map((f) => [f.name, f.value]);
    this.#app.remember('compare', [...shown, ['n', this.#chosen]]);
  }

  /** Asks for the comparison and shows division n of it, or the purest. */
  async #fetch(n = 0) {
    try {
      setError(this.status, null);
      const of = this.of.value.trim();
      this.#answer = await get('api/divisions', {
        range: `${this.from.value}..${this.to.value}`,
        chords: this.chords.value,
        of: of === '2/1' ? '' : of,
      });
      this.of.value = this.#answer.of;
      this.#fill();
      const { divisions } = this.#answer;
      this.#choose((divisions.find((d) => d.division === n) ?? divisions[0]).division);
    } catch (err) {
      setError(this.status, err);
    }
  }

  #by(key) {
    this.#measure = key;
    for (const b of this.measures.children) b.setAttribute('aria-pressed', String(b.dataset.key === key));
    if (this.#answer) this.#fill();
    this.plot.select(this.#chosen);
  }

  #fill() {
    const { divisions, chords } = this.#answer;
    const rows = divisions.map((d) => ({
      ...d,
      value: d[this.#measure],
      perChord: d.steps.map((steps, i) => chordError(steps, chords[i], d.step_cents)),
    }));
    rows.sort((a, b) => a.division - b.division);
    this.plot.show(rows, chords, MEASURES[this.#measure][0]);
    const sorted = [...divisions].sort((a, b) => a[this.#measure] - b[this.#measure]).slice(0, LISTED);
    this.best.replaceChildren(
      ...sorted.map((d) =>
        h(
          'tr',
          {},
          h(
            'th',
            { scope: 'row' },
            h('button', { type: 'button', onclick: () => this.#choose(d.division) }, this.#spec(d.division)),
          ),
          [d.step_cents.toFixed(3), d.worst_cents.toFixed(2), d.weighted_cents.toFixed(2), d.odd_limit ?? '–'].map(
            (t) => h('td', {}, String(t)),
          ),
        ),
      ),
    );
  }

  #spec(n) {
    const of = this.#answer.of;
    return of === '2/1' ? `${n}edo` : `${n}ed${of.replace(/\/1$/, '')}`;
  }

  async #choose(n) {
    this.#chosen = n;
    this.plot.select(n);
    this.#remember();
    const spec = this.#spec(n);
    const reference = (this.#reference = this.#askedFor());
    try {
      const { fits } = await get('api/compare', { spec, chords: this.chords.value, reference });
      if (this.#chosen === n) this.#show(spec, fits[0]);
    } catch (err) {
      setError(this.status, err);
    }
  }

  #show(spec, fit) {
    this.detail.replaceChildren(
      h(
        'div',
        { class: 'viewhead' },
        h(
          'h2',
          {},
          `${spec}: worst ${fit.worst_cents.toFixed(2)}¢, ${fit.consistent ? 'consistent' : 'not consistent'}`,
        ),
        h('button', { type: 'button', onclick: () => this.#use(spec) }, `Tune to ${spec}`),
      ),
      ...fit.chords.map((c) =>
        wideTable(
          `Pairs of ${c.chord}`,
          h('caption', {}, `${c.chord} on ${c.root_label}: steps ${c.steps.join(' ')}`),
          h(
            'thead',
            {},
            h(
              'tr',
              {},
              ['pair', 'steps', 'error ¢', 'beats Hz'].map((t) => h('th', { scope: 'col' }, t)),
            ),
          ),
          h(
            'tbody',
            {},
            c.pairs.map((p) =>
              h(
                'tr',
                {},
                h('th', { scope: 'row' }, p.ratio),
                h('td', {}, p.steps === p.best_steps ? String(p.steps) : `${p.steps}, best ${p.best_steps}`),
                h('td', {}, signed(p.error_cents, 2)),
                h('td', {}, p.beat_hz === null ? '–' : p.beat_hz.toFixed(2)),
              ),
            ),
          ),
        ),
      ),
    );
  }

  async #use(spec) {
    try {
      if (!(await retarget(this.#app, { tuning: spec, plan: null }))) return;
      this.#app.go('tune', fretWords(this.#app.tuner.session));
    } catch (err) {
      setError(this.status, err);
    }
  }
}

const FRET_CENTS = 2; // that frets may be off without a word: about what a careful hand presses

/** What is to be said where the frets of the instrument do not play the tuning. */
function fretWords({ instrument, tuning, frets_off_cents: off }) {
  if (!(off > FRET_CENTS)) return '';
  return (
    `The frets of ${instrument.name} are not those of ${tuning.name}: they stay where they are, ` +
    `up to ${off.toFixed(1)} cents off it. Only the open strings follow.`
  );
}

/**
 * The most that an interval between two notes of a chord is off, in cents: the spread of the errors of its
 * notes above the root. A chord that is not written as 4:5:6:7 gives 0.
 */
function chordError(steps, chord, stepCents) {
  const parts = chord.split(':').map(Number);
  if (parts.length !== steps.length || parts.some((p) => !(p > 0))) return 0;
  const off = steps.map((n, i) => n * stepCents - 1200 * Math.log2(parts[i] / parts[0]));
  return Math.max(...off) - Math.min(...off);
}
