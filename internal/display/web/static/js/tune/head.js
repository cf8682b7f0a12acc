// The reading in large figures.

import { h, setText, setClass } from '../dom.js';
import * as format from '../format.js';

const WORDS = { flat: '← flat', sharp: 'sharp →', 'in tune': 'in tune', settling: 'settling' };
const COLOURS = { flat: 'flat', sharp: 'sharp', 'in tune': 'tuned', settling: 'settling' };
const LEVEL_FLOOR = -63; // dB re full scale at the left end of the bar

/** Note, deviation and figures. */
export class Head {
  constructor() {
    const p = (this.p = {
      name: h('span', { class: 'name' }),
      octave: h('span', { class: 'octave' }),
      steps: h('span', { class: 'steps' }),
      place: h('p', { class: 'place' }),
      cents: h('p', { class: 'cents' }),
      word: h('span', { class: 'word' }),
      exact: h('span', { class: 'exact' }),
      figures: {},
    });
    const list = h('dl', { class: 'figures' });
    for (const [key, label, more] of FIGURES) {
      p.figures[key] = h('dd', {});
      list.append(h('div', { class: more ? 'more' : '' }, h('dt', {}, label), p.figures[key]));
    }
    p.bar = h('span', { class: 'bar-fill' });
    p.level = h('span', {});
    p.figures.level.append(h('span', { class: 'levelbar', 'aria-hidden': 'true' }, p.bar), p.level);
    this.element = h(
      'div',
      { class: 'head' },
      h(
        'div',
        { class: 'large' },
        h('div', { class: 'notebox' }, h('p', { class: 'note' }, p.name, p.octave, p.steps), p.place),
        h('div', { class: 'centsbox' }, p.cents, h('p', { class: 'verdict' }, p.word, ' ', p.exact)),
      ),
      list,
    );
  }

  /** Shows the newest reading; one that is not of now is shown weaker, with its age. */
  show(tuner, live) {
    const f = live ? tuner.frame : tuner.reading;
    setClass(this.element, 'last', !live);
    if (live && tuner.doubted) this.#doubt(f);
    else if (f) this.#reading(f, live, tuner);
    else this.#nothing(tuner);
    this.#level(tuner.frame?.level_db);
  }

  #nothing(tuner) {
    this.#note(tuner.hears || 'connecting', true);
    for (const el of [this.p.place, this.p.cents, this.p.word, this.p.exact]) setText(el, '');
    setText(
      this.p.place,
      {
        listening: 'no pitch yet',
        'several notes': tuner.session?.strings.length ? '"Together" reads all strings' : 'play one at a time',
      }[tuner.hears] ?? 'play a note',
    );
    for (const [key] of FIGURES) if (key !== 'level') setText(this.p.figures[key], '–');
  }

  /** Says which string sounds instead of the held one, and nothing by which its peg could be turned. */
  #doubt(f) {
    this.#note(f.seems?.label ?? '?', !f.seems);
    setText(this.p.place, f.seems ? `string ${f.seems.string}?` : '');
    setText(this.p.cents, '');
    setText(this.p.word, format.doubtText(f));
    this.p.word.className = 'word doubt';
    setText(this.p.exact, '');
    for (const [key, , , text] of FIGURES) if (text) setText(this.p.figures[key], key === 'measured' ? text(f) : '–');
  }

  #reading(f, live, tuner) {
    this.#note(f.target.label, false);
    setText(this.p.place, place(f.target, tuner));
    setText(this.p.cents, format.bigCents(f.cents, f.cents_sigma));
    this.p.cents.className = `cents ${COLOURS[f.state]}`;
    const when = format.age(tuner.now() - f.t_s);
    setText(this.p.word, live ? WORDS[f.state] : when === 'now' ? 'last, just now' : `last, ${when} ago`);
    this.p.word.className = `word ${live ? COLOURS[f.state] : ''}`;
    setText(this.p.exact, `${format.cents(f.cents, f.cents_sigma)} ± ${format.sigmaText(f.cents_sigma)} cents`);
    for (const [key, , , text] of FIGURES) if (text) setText(this.p.figures[key], text(f));
  }

  #note(label, isWord) {
    const parts = isWord ? { name: label, octave: '', steps: '' } : format.noteParts(label);
    setClass(this.element, 'wordy', parts.name.length > 3);
    setText(this.p.name, parts.name);
    setText(this.p.octave, parts.octave);
    setText(this.p.steps, parts.steps);
  }

  #level(db) {
    const known = Number.isFinite(db);
    const part = known ? Math.min(Math.max(1 - db / LEVEL_FLOOR, 0), 1) : 0;
    this.p.bar.style.setProperty('--part', part.toFixed(3));
    setText(this.p.level, known ? `${format.signed(db, 0)} dB` : 'none');
  }
}

const FIGURES = [
  ['target', 'target', false, (f) => `${format.hz(f.target.hz, f.cents_sigma)} Hz`],
  ['measured', 'measured', false, (f) => `${format.hz(f.f1_hz, f.cents_sigma)} Hz`],
  ['beat', 'beat', false, (f) => format.beatText(f.beat_hz, f.f1_hz, f.cents_sigma)],
  ['level', 'level', false, null],
  ['attack', 'attack', true, (f) => beside(f.attack_f1_hz, f)],
  ['partial1', 'partial 1', true, (f) => beside(f.partial1_hz, f)],
  ['b', 'inharmonicity', true, (f) => (f.inharmonicity > 0 ? f.inharmonicity.toPrecision(2) : '–')],
  ['snr', 'over noise', true, (f) => (f.snr_db > 0 ? `${f.snr_db.toFixed(0)} dB` : '–')],
];

/** A frequency that is known less well than the reading, and how far it is off that. */
function beside(hz, f) {
  if (!(hz > 0)) return '–';
  const off = format.cents(format.centsBetween(hz, f.f1_hz), Math.max(f.cents_sigma, 0.1));
  return `${format.hz(hz, Math.max(f.cents_sigma, 0.2))} Hz, ${off}¢`;
}

function place(target, tuner) {
  if (!target.string) return `step ${format.signed(target.step, 0).replace('+', '')}`;
  const fret = target.fret > 0 ? ` fret ${target.fret}` : '';
  const held = tuner.session?.settings.string === target.string ? ' ■ held' : '';
  return `string ${target.string}${fret}${held}`;
}
