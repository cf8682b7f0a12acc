// The Setup view: a guided check of intonation. The tuner asks for one note after another, and the
// fit says how far nut and saddle are to be moved.

import { h, setError, setText, setClass } from '../dom.js';
import { get, send } from '../api.js';
import { bind } from '../bounds.js';
import * as format from '../format.js';
import { Cautions } from '../risk.js';
import { noInstrument } from '../empty.js';
import { Result } from './result.js';

const MARKS = { done: '✓', unsteady: '~', skipped: '–', '': '·' };
const STATES = { done: 'done', unsteady: 'unsteady', skipped: 'skipped', '': 'to come' };
const ACTIONS = [
  ['redo', 'Once more', 'r'],
  ['back', 'Note before', 'u'],
  ['accept', 'Good enough', 'g'],
  ['skip', 'Skip', 'k'],
];

/** Makes the view. */
export function create(app) {
  return new Setup(app);
}

class Setup {
  #app;
  #state = null;

  constructor(app) {
    this.#app = app;
    this.result = new Result();
    this.element = this.#build();
    app.tuner.addEventListener('session', ({ detail }) => this.#session(detail));
    if (app.tuner.session) this.#session(app.tuner.session);
    const { notes, plucks, thread } = this.begin.elements;
    bind({ notes, plucks, thread_mm: thread });
    app.tuner.addEventListener('setup', (e) => this.#take(e.detail));
    app.tuner.addEventListener('frame', (e) => {
      if (app.view === this) this.#live(e.detail);
    });
    app.tuner.addEventListener('link', () => {
      if (app.view === this) this.#live(app.tuner.frame);
    });
  }

  #build() {
    this.status = h('p', { class: 'error', role: 'alert' });
    this.cautions = new Cautions();
    this.begin = this.#form();
    this.cannot = h('p', { class: 'panel', hidden: true });
    this.empty = noInstrument(this.#app);
    const p = (this.p = {
      note: h('p', { class: 'ask' }),
      label: h('p', { class: 'ask-label' }),
      how: h('p', {}),
      why: h('p', { class: 'dim' }),
      count: h('p', { class: 'count' }),
      said: h('p', { class: 'said', role: 'status' }),
      live: h('p', { class: 'live-pitch' }),
      bar: h('progress', { 'aria-label': 'Notes that are through' }),
      of: h('span', { class: 'dim' }),
    });
    this.actions = h(
      'div',
      { class: 'row' },
      ACTIONS.map(([action, text, key]) =>
        h('button', { type: 'button', title: `key ${key}`, onclick: () => this.#act(action) }, text),
      ),
      (this.end = h('button', { type: 'button', onclick: () => this.#end() }, 'End the check')),
    );
    this.entries = h('ol', { class: 'entries' });
    this.guide = h(
      'div',
      { class: 'stack' },
      h(
        'section',
        { class: 'panel guide-panel', 'aria-label': 'Play now' },
        h('div', { class: 'progress-row' }, p.bar, p.of),
        h('div', { class: 'asked' }, h('div', {}, p.note, p.label), p.live),
        p.how,
        p.why,
        p.count,
        p.said,
        this.actions,
      ),
      this.result.element,
      h('section', { class: 'panel', 'aria-label': 'Notes of the check' }, h('h2', {}, 'Notes'), this.entries),
    );
    return h(
      'section',
      { class: 'view setup', 'aria-label': 'Setup' },
      (this.title = h('h1', {}, 'Setup: intonation')),
      this.status,
      this.cautions.element,
      this.empty,
      this.cannot,
      this.begin,
      this.guide,
    );
  }

  #form() {
    const number = (name, text, value, props) =>
      h(
        'label',
        { class: 'field narrow' },
        h('span', {}, text),
        h('input', { name, type: 'number', required: true, value, ...props }),
      );
    return h(
      'form',
      {
        class: 'panel',
        onsubmit: (e) => {
          e.preventDefault();
          this.#start(new FormData(e.target));
        },
      },
      h(
        'p',
        {},
        'The tuner asks for open strings, harmonics and those frets that tell nut, saddle and frets apart best. ',
        'Pluck each note as it is asked for, always in the same way, and let it ring for two seconds. ',
        'Tune the open strings first.',
      ),
      h(
        'div',
        { class: 'row' },
        number('notes', 'Notes a string', 12),
        number('plucks', 'Plucks a note', 2),
        number('thread', 'Screw, mm a turn', 0, { step: 'any' }),
        h('label', { class: 'choice' }, h('input', { type: 'checkbox', name: 'fixed' }), 'one straight saddle'),
      ),
      h(
        'p',
        { class: 'caution' },
        'Slacken the strings before saddle or nut are moved, and wear eye protection. ',
        "The maker's and a licensed technician's word stands above these figures.",
      ),
      h('div', { class: 'row' }, h('button', { class: 'main' }, 'Begin the check')),
    );
  }

  /** What the tuner is set to decides whether there can be a check. */
  #session(session) {
    this.cautions.show(session.cautions);
    setText(this.cannot, session.no_check && `${session.no_check}.`);
    this.#offer();
  }

  /** Offers a check where there can be one, else says why not. */
  #offer() {
    const { session } = this.#app.tuner;
    const active = this.#state?.active ?? false;
    this.begin.hidden = active || !session || session.no_check !== '';
    this.empty.hidden = active || !session || session.instrument !== null;
    this.cannot.hidden = active || !session?.instrument || session.no_check === '';
    this.guide.hidden = !active;
  }

  show() {
    this.#try(async () => this.#take(await get('api/setup')));
  }

  key(key) {
    const action = ACTIONS.find((a) => a[2] === key);
    if (!this.#state?.active || !action) return false;
    this.#act(action[0]);
    return true;
  }

  #start(data) {
    this.#try(async () =>
      this.#take(
        await send('POST', 'api/setup', {
          notes: Number(data.get('notes')),
          plucks: Number(data.get('plucks')),
          thread_mm: Number(data.get('thread')),
          fixed_bridge: data.has('fixed'),
        }),
      ),
    );
  }

  #act(action) {
    this.#try(async () => this.#take(await send('POST', 'api/setup/action', { action })));
  }

  /** Ends at the second press: the readings are gone then. */
  #end() {
    if (!this.end.dataset.sure) {
      this.end.dataset.sure = 'yes';
      setText(this.end, 'End, forget the readings');
      return;
    }
    this.#try(async () => this.#take(await send('DELETE', 'api/setup')));
  }

  #take(state) {
    const before = this.#state;
    this.#state = state;
    this.#offer();
    setText(this.title, state.active ? `Setup: ${state.name}` : 'Setup: intonation');
    delete this.end.dataset.sure;
    setText(this.end, 'End the check');
    if (!state.active) return this.result.clear();
    this.#prompt(state);
    this.#list(state);
    if (state.enough && (!before || before.done !== state.done || this.result.empty))
      this.result.load(state.prompt?.string);
  }

  #prompt({ prompt, done, of, said }) {
    const { p } = this;
    p.bar.max = of;
    p.bar.value = done;
    setText(p.of, `${done} of ${of} notes`);
    setText(p.said, said);
    setText(p.note, prompt ? `String ${prompt.string}, ${noteName(prompt)}` : 'The check is through');
    setText(
      p.label,
      prompt ? `${format.noteText(prompt.label)} · ${prompt.hz.toFixed(2)} Hz` : 'Below is what it found.',
    );
    setText(p.how, prompt?.how ?? '');
    setText(p.why, prompt ? `for ${prompt.why}` : '');
    setText(
      p.count,
      prompt ? `${prompt.plucks} heard, ${prompt.need > 0 ? `${prompt.need} more at least` : 'once more'}` : '',
    );
    if (!prompt) setText(p.live, '');
  }

  #list({ entries, prompt }) {
    const strings = [...new Set(entries.map((e) => e.string))];
    this.entries.replaceChildren(
      ...strings.map((n) =>
        h(
          'li',
          {},
          h('strong', {}, `String ${n}`),
          h(
            'ul',
            {},
            entries
              .map((e, i) => [e, i])
              .filter(([e]) => e.string === n)
              .map(([e, i]) => {
                const now = prompt?.index === i;
                return h(
                  'li',
                  { class: now ? 'now' : e.state || 'to-come', 'aria-current': now ? 'step' : undefined },
                  h('span', { 'aria-hidden': 'true' }, now ? '▸' : MARKS[e.state]),
                  ` ${noteName(e)}`,
                  h('span', { class: 'unseen' }, now ? ', now' : `, ${STATES[e.state]}`),
                );
              }),
          ),
        ),
      ),
    );
  }

  /** What sounds now, against the note that is asked for. */
  #live(f) {
    const prompt = this.#state?.prompt;
    if (!prompt) return;
    if (this.#app.tuner.link !== 'live') f = null; // what is old is not what sounds
    const on = f?.hears === 'sounding';
    setText(this.p.live, on ? against(f, prompt) : (f?.hears ?? ''));
    setClass(this.p.live, 'dim', !on);
  }

  async #try(f) {
    try {
      setError(this.status, null);
      await f();
    } catch (err) {
      setError(this.status, err);
    }
  }
}

/** A pitch, and how far it is from the note that is asked for. */
function against(f, prompt) {
  const off = format.cents(format.centsBetween(f.f1_hz, prompt.hz), f.f1_sigma_cents, 1);
  return `${format.hz(f.f1_hz, f.f1_sigma_cents)} Hz, ${off}¢`;
}

function noteName(n) {
  return n.harmonic ? `harmonic ${n.harmonic}` : n.fret ? `fret ${n.fret}` : 'open';
}
