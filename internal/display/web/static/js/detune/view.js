// The Detune view: a shape on the board that is to be pure, what that asks of every string, and
// what it does to other chords.

import { h, setError, setText, debounce } from '../dom.js';
import { get, send } from '../api.js';
import { noteText } from '../format.js';
import { tunedAs } from '../session.js';
import { bind } from '../bounds.js';
import { play } from '../sound.js';
import { soundPanel } from '../soundpanel.js';
import { acceptBox } from '../risk.js';
import { noInstrument } from '../empty.js';
import { Board, hasFrets, hasLengths } from '../board/board.js';
import { Limits } from './limits.js';
import { Trade } from './trade.js';
import { KeptPlans } from './kept.js';
import { chordTable, otherTable } from './report.js';

const METHODS = [
  ['least squares', 'Least squares'],
  ['worst error', 'Worst error'],
  ['beat energy', 'Beats'],
];
const PURE = [
  ['fundamentals', 'By fundamentals'],
  ['partials', 'By partials'],
];
const LIMIT = 50; // cents, to begin with

/** Makes the view. */
export function create(app) {
  return new Detune(app);
}

class Detune {
  #app;
  #key = '';
  #frets = []; // of every string from string 1; -1 is not played
  #chords = []; // kept, beside the one on the board: { text, label }
  #method = METHODS[0][0];
  #pure = PURE[0][0];
  #plan = null; // the newest answer
  #asked = 0;
  #leaving = false;

  constructor(app) {
    this.#app = app;
    this.board = new Board((cell) => this.#pick(cell));
    this.solveSoon = debounce(150, () => this.#solve());
    this.limits = new Limits(this.solveSoon);
    this.trade = new Trade((spare) => this.#setSpare(spare));
    this.element = this.#build();
    app.tuner.addEventListener('session', () => {
      if (app.view === this && !this.#leaving) this.#load();
    });
  }

  #build() {
    this.title = h('h1', {}, 'Detune');
    this.ratios = h('input', {
      name: 'ratios',
      value: '4:5:6',
      autocomplete: 'off',
      spellcheck: false,
      oninput: this.solveSoon,
    });
    this.anchor = h('select', { name: 'anchor', onchange: this.solveSoon });
    this.limit = h('input', {
      name: 'limit',
      type: 'number',
      required: true,
      step: 'any',
      value: LIMIT,
      oninput: () => this.#limitAll(),
    });
    this.spare = h('input', {
      type: 'range',
      step: 0.01,
      value: 0,
      oninput: () => this.#setSpare(Number(this.spare.value)),
    });
    bind({ limit_cents: this.limit, spare: this.spare });
    this.explore = h('button', { type: 'button', onclick: () => this.#explore() }, 'Show the trade-off');
    this.shapeName = h('span', { class: 'field-name' });
    this.shape = h('output', { class: 'tab shape-text' });
    this.kept = h('ul', { class: 'kept' });
    this.status = h('p', { class: 'error', role: 'alert' });
    ({ box: this.risk, label: this.riskLabel } = acceptBox({
      onchange: () => this.#solve(this.risk.checked, this.far.checked),
    }));
    this.far = h('input', { type: 'checkbox', name: 'far', onchange: () => this.#solve(false, this.far.checked) });
    this.farLabel = h('label', { class: 'choice', hidden: true }, this.far, 'It is this chord that I mean');
    this.riskLabel.hidden = true;
    this.before = h('button', { type: 'button', onclick: () => this.#hear('hz_before') }, 'Hear it now');
    this.after = h('button', { type: 'button', onclick: () => this.#hear('hz_after') }, 'Hear it pure');
    this.tune = h('button', { type: 'button', class: 'main', onclick: () => this.#send() }, 'Tune to this plan');
    this.refused = h('p', { class: 'error', role: 'alert' });
    this.cautions = h('ul', { class: 'caution cautions' });
    this.obstacles = h('ul', { class: 'obstacles' });
    this.pairs = h('section', { class: 'panel', 'aria-label': 'Pairs before and after' });
    this.cost = h('div', {});
    this.others = h(
      'section',
      { class: 'panel', 'aria-label': 'Other chords' },
      h('h2', {}, 'What it costs other chords'),
      this.#sparing(),
      this.trade.element,
      this.cost,
    );
    this.plans = new KeptPlans(this.#app, () => this.#kept());
    this.force = h('p', { class: 'dim in-force' });
    this.empty = noInstrument(this.#app);
    this.body = h(
      'div',
      { class: 'stack' },
      this.board.element,
      this.#form(),
      h(
        'div',
        { class: 'columns' },
        h(
          'div',
          { class: 'stack' },
          h(
            'section',
            { class: 'panel', 'aria-label': 'Strings' },
            h('h2', {}, 'How far each string moves'),
            this.limits.element,
            this.#allLimits(),
            this.obstacles,
            this.cautions,
            this.refused,
            this.riskLabel,
            h('div', { class: 'row' }, this.tune, this.before, this.after),
          ),
          this.plans.element,
          soundPanel(),
        ),
        h('div', { class: 'stack' }, this.pairs, this.others),
      ),
    );
    return h(
      'section',
      { class: 'view detune', 'aria-label': 'Detune' },
      h(
        'div',
        { class: 'viewhead' },
        this.title,
        h('p', { class: 'dim' }, 'Press a note for each string of the shape; press it again to leave the string out.'),
      ),
      this.force,
      this.empty,
      this.body,
    );
  }

  #form() {
    return h(
      'form',
      {
        class: 'row',
        onsubmit: (e) => {
          e.preventDefault();
          this.#solve();
        },
      },
      h('div', {}, this.shapeName, this.shape),
      h('label', { class: 'field grow' }, h('span', {}, 'should be, lowest note first'), this.ratios),
      h('label', { class: 'field narrow' }, h('span', {}, 'stays'), this.anchor),
      this.#segments(
        'Balance chords by',
        METHODS,
        () => this.#method,
        (v) => {
          this.#method = v;
        },
      ),
      this.#segments(
        'Pure',
        PURE,
        () => this.#pure,
        (v) => {
          this.#pure = v;
        },
      ),
      h('button', { type: 'button', onclick: () => this.#keep() }, 'And another chord'),
      this.kept,
      this.status,
      this.farLabel,
    );
  }

  #segments(label, choices, now, set) {
    const box = h(
      'div',
      { class: 'segments', role: 'group', 'aria-label': label },
      choices.map(([value, text]) =>
        h(
          'button',
          {
            type: 'button',
            'aria-pressed': String(value === now()),
            onclick: (e) => {
              set(value);
              this.spare.disabled = this.explore.disabled = this.#method !== METHODS[0][0];
              for (const b of box.children) b.setAttribute('aria-pressed', String(b === e.currentTarget));
              this.#solve();
            },
          },
          text,
        ),
      ),
    );
    return box;
  }

  /** Gives all strings the limit that was typed, if it is one. */
  #limitAll() {
    if (!this.limit.reportValidity()) return;
    this.limits.setAll(this.limit.valueAsNumber);
    this.solveSoon();
  }

  #allLimits() {
    return h(
      'label',
      { class: 'field narrow' },
      h('span', {}, 'Most that any string may be moved, cents; or drag the ends of a string'),
      this.limit,
    );
  }

  show() {
    this.#leaving = false;
    this.#load();
  }

  async #load() {
    const { session } = this.#app.tuner;
    if (!session) return void this.#app.tuner.addEventListener('session', () => this.#load(), { once: true });
    const { instrument, plan } = session.settings;
    const as = tunedAs(session);
    this.empty.hidden = instrument !== '';
    this.body.hidden = instrument === '';
    const key = JSON.stringify([instrument, as]);
    try {
      const fresh = instrument && key !== this.#key; // then it is solved with what is filled in
      if (fresh) {
        const same = this.data?.id === instrument && this.data.tuned === as.tuning;
        this.#key = key;
        await this.#fill(
          { ...(await get(`api/instruments/${encodeURIComponent(instrument)}/board`, as)), tuned: as.tuning },
          as,
          same,
        );
        setText(
          this.force,
          plan
            ? `Plan ${plan.name} is in force: strings are moved from where it has them, and a new plan takes its place.`
            : '',
        );
      }
      const linked = instrument && this.data && !fresh && this.#linked();
      if (this.#app.wanted) this.#take(this.#app.wanted);
      else if (linked && this.#isOther(linked)) this.#take(linked);
      else if (instrument && !this.#plan && !fresh) this.#solve();
    } catch (err) {
      this.#key = '';
      setError(this.status, err);
    }
  }

  /** Shows a board, tuned as it is now; the shape and the chords that were kept stay where it is the same one. */
  async #fill(data, as, same) {
    this.data = data;
    setText(this.title, `Detune ${data.name}`);
    setText(this.shapeName, hasFrets(data) ? 'Shape, last string to first' : 'Open strings, last to first');
    this.others.hidden = !hasLengths(data); // other shapes are found by lengths
    this.board.show(data);
    this.plans.show(data.id);
    this.board.label((cell) => [noteText(cell.label), `${cell.cents.toFixed(0)}¢`]);
    if (same) {
      this.#mark();
      return void this.#solve();
    }
    this.anchor.replaceChildren(
      h('option', { value: 0 }, 'none'),
      ...data.strings.map((s) => h('option', { value: s.string }, `string ${s.string}`)),
    );
    this.limits.reset(data.strings, Number(this.limit.value));
    this.#chords = [];
    this.#listKept();
    if (!this.#app.wanted) await this.#first(as);
  }

  /** Begins with the purest shape of a major triad that the instrument has, where shapes can be found. */
  async #first(as) {
    const linked = this.#linked();
    if (linked) return this.#take(linked);
    if (!hasLengths(this.data))
      return this.#take({ frets: this.data.strings.map(() => -1), strings: [], chord: '4:5:6' });
    const { shapes } = await get(`api/instruments/${encodeURIComponent(this.data.id)}/shapes`, {
      chord: '4:5:6',
      most: 1,
      ...as,
    });
    const [shape] = shapes;
    this.#take({
      frets: shape?.frets ?? this.data.strings.map(() => -1),
      strings: shape?.strings ?? [],
      chord: '4:5:6',
    });
  }

  /** Takes a shape with the strings of its notes in the order of the chord, as the Fretboard view finds them. */
  #take({ frets, chord, strings }) {
    this.#app.wanted = null;
    this.#frets = [...frets];
    this.ratios.value = chord;
    const dealt = this.#dealt();
    if (strings.some((n, i) => dealt[i] !== n)) this.ratios.value = byString(strings, partsOf(chord));
    const first = frets.findLastIndex((f) => f >= 0);
    this.anchor.value = String(first + 1);
    this.#mark();
    this.#solve();
  }

  #pick(cell) {
    const at = cell.string - 1;
    this.#frets[at] = this.#frets[at] === cell.fret ? -1 : cell.fret;
    this.#mark();
    this.solveSoon();
  }

  #mark() {
    this.board.mark((cell) => (this.#frets[cell.string - 1] === cell.fret ? 'shape' : null));
    setText(this.shape, this.#shapeWords());
    this.limits.concern(this.#frets.flatMap((f, i) => (f < 0 ? [] : [i + 1])));
  }

  #text() {
    return [...this.#frets]
      .reverse()
      .map((f) => (f < 0 ? 'x' : f))
      .join(' ');
  }

  /** The shape as it is shown: of open strings alone their names say more than their frets. */
  #shapeWords() {
    if (hasFrets(this.data)) return this.#text();
    return this.#frets
      .flatMap((f, i) => (f < 0 ? [] : [noteText(this.data.strings[i].label)]))
      .reverse()
      .join(' ');
  }

  /** The strings that are played, the lowest note first. */
  #dealt() {
    const hz = (n) => this.board.cell(n, this.#frets[n - 1]).hz;
    return this.#frets.flatMap((f, i) => (f < 0 ? [] : [i + 1])).sort((a, b) => hz(a) - hz(b) || b - a);
  }

  /**
   * The chord as the server reads it, which deals parts from the last string to the first. Where the pitches of the
   * strings do not rise in that order, every string is named with its part, the lowest note having the least.
   */
  #chord() {
    const ratios = this.ratios.value.trim();
    const [parts, strings] = [partsOf(ratios), this.#dealt()];
    const inOrder = strings.every((n, i) => i === 0 || n < strings[i - 1]);
    const plain = parts.length !== strings.length || parts.some((p) => Number.isNaN(sizeOf(p)));
    if (plain || (inOrder && parts.every((p, i) => i === 0 || sizeOf(parts[i - 1]) <= sizeOf(p))))
      return `${this.#text()} as ${ratios}`;
    return `${this.#text()} as ${byString(
      strings,
      parts.toSorted((a, b) => sizeOf(a) - sizeOf(b)),
    )}`;
  }

  /** The shape and the chord that the address asks for, if they can be played here; else null. */
  #linked() {
    const [shape, chord] = ['shape', 'as'].map((name) => this.#app.linked().get(name) ?? '');
    const frets = shape
      .split(' ')
      .map((f) => (f === 'x' ? -1 : Number(f)))
      .reverse();
    const playable =
      frets.length === this.data.strings.length && frets.every((f, i) => f === -1 || this.board.cell(i + 1, f));
    return playable && chord ? { frets, chord, strings: [] } : null;
  }

  /** What to do while there is no chord. */
  #howToBegin() {
    const how = 'Choose notes on at least two strings, as many as the chord has parts.';
    if (hasLengths(this.data)) return how;
    return `The file of ${this.data.name} gives no scale_length_mm, so no shape can be proposed. ${how}`;
  }

  #isOther({ frets, chord }) {
    return chord !== this.ratios.value || frets.some((f, i) => f !== this.#frets[i]);
  }

  /** Says if the chord has another number of parts than notes are chosen; an empty text if not. */
  #unlike() {
    const ratios = this.ratios.value.trim();
    const [parts, notes] = [partsOf(ratios).length, this.#dealt().length];
    if (ratios.includes('=') || parts === notes) return '';
    const many = (n, what) => `${n} ${what}${n === 1 ? '' : 's'}`;
    return `The chord has ${many(parts, 'part')}, and ${many(notes, 'note')} are chosen: make them as many.`;
  }

  #keep() {
    this.#chords.push(this.#chord());
    this.#listKept();
    setError(this.status, null);
    this.#app.say('kept; now choose another shape');
  }

  #listKept() {
    this.kept.replaceChildren(
      ...this.#chords.map((text, i) =>
        h(
          'li',
          {},
          h('span', { class: 'tab' }, text),
          h(
            'button',
            {
              type: 'button',
              'aria-label': `Leave out ${text}`,
              onclick: () => {
                this.#chords.splice(i, 1);
                this.#listKept();
                this.#solve();
              },
            },
            'Leave out',
          ),
        ),
      ),
    );
  }

  #sparing() {
    return h(
      'div',
      { class: 'row' },
      h('label', { class: 'field grow' }, h('span', {}, 'Spare them: none to all (least squares)'), this.spare),
      this.explore,
    );
  }

  #setSpare(spare) {
    this.spare.value = String(spare);
    this.trade.select(spare);
    this.solveSoon();
  }

  async #explore() {
    try {
      const answer = await send('POST', 'api/detune', { ...this.#problem(), spare: 0, explore: true });
      this.trade.show(answer.trade, Number(this.spare.value));
      const left = answer.trade_left_out;
      setText(
        this.status,
        left
          ? `${left} of ${left + answer.trade.length} plans are not shown: they bring a string near to breaking.`
          : '',
      );
    } catch (err) {
      setError(this.status, err);
    }
  }

  /** What is asked of the server. */
  #problem() {
    const { tuning, reference, plan } = this.#app.tuner.session.settings;
    return {
      instrument: this.data.id,
      tuning,
      reference,
      from: plan?.cents ?? [],
      chords: [...new Set([...this.#chords, this.#chord()])],
      anchor: Number(this.anchor.value),
      limits: this.limits.get(),
      method: this.#method,
      pure_by: this.#pure,
      spare: this.#method === METHODS[0][0] ? Number(this.spare.value) : 0,
      accept_risk: this.risk.checked,
      accept_far: this.far.checked,
    };
  }

  /** Asks for the plan. A risk is accepted for this one plan alone. */
  async #solve(accepted = false, far = false) {
    this.risk.checked = accepted;
    this.far.checked = far;
    if (!this.data) return; // it is on its way
    if (this.#frets.filter((f) => f >= 0).length < 2) return this.#show(null, { message: this.#howToBegin() });
    const asked = ++this.#asked;
    this.#app.remember('detune', { shape: this.#text(), as: this.ratios.value });
    const unlike = this.#unlike();
    if (unlike) return this.#show(null, { message: unlike });
    try {
      const answer = await send('POST', 'api/detune', this.#problem());
      if (asked === this.#asked) this.#show(answer, null);
    } catch (err) {
      if (asked === this.#asked) this.#show(null, err);
    }
  }

  #show(answer, error) {
    this.#plan = answer;
    this.farLabel.hidden = error?.code !== 'far' && !this.far.checked;
    this.riskLabel.hidden = error?.code !== 'risk' && !this.risk.checked;
    setError(this.refused, null);
    setError(this.status, error);
    for (const b of [this.tune, this.before, this.after]) b.disabled = !answer;
    this.plans.offer(answer);
    this.limits.show(answer?.strings);
    this.obstacles.replaceChildren(...(answer?.obstacles ?? []).map((o) => h('li', {}, o.text)));
    this.cautions.replaceChildren(...(answer?.cautions ?? []).map((text) => h('li', {}, text)));
    this.pairs.replaceChildren(
      h('h2', {}, 'Pairs of the chord, now and then'),
      ...(answer?.chords ?? []).map(chordTable),
    );
    this.cost.replaceChildren(answer ? otherTable(answer.others, answer.others_total) : '');
  }

  /** Plays the shape as the open strings are, or as the plan would have them. */
  #hear(which) {
    const pitches = this.#frets.map((f, i) =>
      f < 0 ? 0 : this.#plan.strings[i][which] * 2 ** (this.board.cell(i + 1, f).cents / 1200),
    );
    play(pitches.filter((hz) => hz > 0).sort((a, b) => a - b));
  }

  /** The plan that is shown, as it is kept. */
  #kept() {
    const { tuning, reference } = this.#app.tuner.session.settings;
    return this.#plan && { ...this.#plan.plan, tuning, reference };
  }

  async #send() {
    try {
      setError(this.refused, null);
      this.#leaving = true; // the next plan is asked for when this view is shown again
      const before = this.#app.tuner.session;
      await this.#app.tuner.set({ plan: this.#plan.plan, accept_risk: this.risk.checked });
      this.#app.offerUndo(before);
      this.#app.go('tune');
    } catch (err) {
      this.#leaving = false;
      setError(this.refused, err);
    }
  }
}

/** The parts of a chord such as 4:5:6 or 1/1 5/4 3/2. */
function partsOf(chord) {
  return chord
    .split(chord.includes(':') ? ':' : /\s+/)
    .map((p) => p.trim())
    .filter(Boolean);
}

/** The size of a part that is a whole number or a ratio; of anything else NaN. */
function sizeOf(part) {
  const m = /^(\d+)(?:\/(\d+))?$/.exec(part);
  return m ? Number(m[1]) / Number(m[2] ?? 1) : NaN;
}

/** Names every string with its part, as the server reads it: 3=4 1=5 2=6. */
function byString(strings, parts) {
  return strings.map((n, i) => `${n}=${parts[i]}`).join(' ');
}
