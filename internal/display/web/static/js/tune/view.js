// The Tune view: the reading in large figures, the strobe, the strings.

import { h, setText, setAttr } from '../dom.js';
import { age } from '../format.js';
import { kept, keep } from '../settings.js';
import { choose } from '../choose.js';
import { Cautions } from '../risk.js';
import { Microphone, wanted } from '../mic.js';
import { Head } from './head.js';
import { Strobe } from './strobe.js';
import { Strings } from './strings.js';
import { Lanes } from './lanes.js';

const FACES = {
  strobe: ['Note', 'One note: the strobe (l)'],
  lanes: ['Strings', 'The last reading of every string (l)'],
  together: ['Together', 'All strings at once (m)'],
};
const PRESS = 'The tuner hears what a page sends: press "Let this page listen".';
const TEXT_MS = 100; // figures change no faster than they can be read

/** Makes the view. */
export function create(app) {
  return new Tune(app);
}

class Tune {
  #app;
  #shown = 'strobe';
  #running = 0; // id of the animation frame asked for
  #textAt = 0;
  #still = false; // what stands still has been drawn
  #parts = {};
  deaf = ''; // why this page does not listen, though it should

  constructor(app) {
    this.#app = app;
    const { tuner } = app;
    this.head = new Head();
    this.strobe = new Strobe(() => this.#swapRows());
    this.list = new Strings((n) => this.#hold(n));
    this.lanes = new Lanes((n) => this.#hold(n));
    this.mic = new Microphone((state, why) => this.#listening(state, why));
    this.element = this.#build();
    tuner.addEventListener('session', () => this.#session());
    tuner.addEventListener('strings', () => this.#strings());
    tuner.addEventListener('freeze', ({ detail }) => this.#freeze(detail));
    tuner.addEventListener('notice', ({ detail }) => {
      const rings = detail.event === 'ringing';
      const again = rings && this.rang;
      this.rang ||= rings;
      this.#say(detail.event === 'several notes' ? severalWords(tuner.session) : detail.message, !again);
    });
    tuner.addEventListener('frame', ({ detail }) => {
      if (detail.message) this.#say(detail.message, !this.rang);
      if (detail.hears !== 'sounding' || !this.rang) return;
      this.rang = false; // what rang has given way to a note
      this.#app.complain('');
    });
    new ResizeObserver(() => {
      this.#still = false;
    }).observe(this.element);
    if (tuner.session) this.#session();
    this.#face();
  }

  #build() {
    const p = this.#parts;
    p.chosen = h('button', {
      type: 'button',
      class: 'plain chosen',
      'aria-haspopup': 'dialog',
      title: 'Choose what to tune (s)',
      onclick: () => choose(this.#app),
    });
    p.buttons = Object.entries(FACES).map(([face, [text, title]]) =>
      h('button', { type: 'button', title, dataset: { face }, onclick: () => this.#choose(face) }, text),
    );
    p.faces = h('div', { class: 'segments', role: 'group', 'aria-label': 'Show' }, p.buttons);
    p.freeze = h(
      'button',
      {
        type: 'button',
        'aria-pressed': 'false',
        title: 'Let all readings stand still (Space)',
        onclick: () => this.#app.freeze(),
      },
      'Freeze',
    );
    p.letGo = h('button', { type: 'button', onclick: () => this.#hold(0), hidden: true }, 'Let go');
    p.confirm = h(
      'button',
      { type: 'button', class: 'main confirm', hidden: true, onclick: () => this.#confirm() },
      'It is the held string (y)',
    );
    p.clear = h('button', { type: 'button', onclick: () => this.#clear() }, 'Clear');
    p.listen = h(
      'button',
      { type: 'button', class: 'main', hidden: true, onclick: () => this.mic.toggle() },
      'Let this page listen',
    );
    p.note = h('p', { class: 'remark' });
    p.cautions = new Cautions();
    p.tools = h('div', { class: 'toolrow' }, p.listen, p.faces, p.freeze, p.confirm, p.letGo, p.clear);
    return h(
      'section',
      { class: 'view tune', 'aria-label': 'Tune' },
      h('div', { class: 'bar' }, h('h1', { class: 'unseen' }, 'Tune'), p.chosen, p.tools, p.cautions.element),
      this.head.element,
      this.strobe.element,
      this.lanes.element,
      p.note,
      this.list.element,
    );
  }

  show() {
    cancelAnimationFrame(this.#running);
    const draw = (now) => {
      this.#running = requestAnimationFrame(draw);
      this.#draw(now);
    };
    this.#running = requestAnimationFrame(draw);
  }

  hide() {
    cancelAnimationFrame(this.#running);
  }

  key(key) {
    const { tuner } = this.#app;
    switch (key) {
      case 'a':
      case 'Escape':
        this.#hold(0);
        return true;
      case 'x':
        this.#swapRows();
        return true;
      case 'y':
        if (!this.#app.tuner.doubted) return false;
        this.#confirm();
        return true;
      case 'c':
        this.#clear();
        return true;
      case 'l':
        this.#choose(this.#shown === 'strobe' ? 'lanes' : 'strobe');
        return true;
      case 'm':
        this.#choose(this.#shown === 'together' ? 'strobe' : 'together');
        return true;
      case 'n':
      case 'p':
        this.#hold(neighbour(tuner.strings, key === 'n' ? 1 : -1));
        return true;
    }
    const digit = /^[0-9]$/.test(key) ? Number(key) || 10 : 0;
    if (digit && tuner.strings.some((s) => s.string === digit)) {
      this.#hold(digit);
      return true;
    }
    return false;
  }

  #draw(now) {
    const { tuner } = this.#app;
    if (tuner.frozen && this.#still) return;
    this.#still = tuner.frozen;
    const live = tuner.sounding;
    if (this.strobe.element.checkVisibility()) this.strobe.draw(tuner, live, now);
    if (now - this.#textAt < TEXT_MS && !tuner.frozen) return;
    this.#textAt = now;
    this.head.show(tuner, live);
    this.#parts.confirm.hidden = !tuner.doubted;
    this.strobe.words(tuner, live);
    this.#remark();
    this.list.ages(tuner.now());
    this.lanes.ages(tuner.now());
  }

  /** Says what is wrong with the stream, as long as it is. */
  #remark() {
    const { tuner } = this.#app;
    const texts = {
      lost: `No connection to the tuner${since(tuner.silence())}. What you see is old; the page tries again.`,
      stale: `Nothing new from the tuner${since(tuner.frameAge())}. What you see is old.`,
    };
    const page = wanted(tuner.session) && this.mic.state === 'off';
    const hears = {
      'input lost': page ? PRESS : 'The input is lost; waiting for it to come back.',
      'input ended': 'The recording has ended.',
      waiting: PRESS,
    };
    const text = texts[tuner.link] ?? (this.deaf ? `${this.deaf} ${PRESS}` : (hears[tuner.hears] ?? ''));
    setText(this.#parts.note, text);
    this.element.classList.toggle('old', tuner.link === 'lost' || tuner.link === 'stale');
  }

  #session() {
    const { session } = this.#app.tuner;
    const name = [
      session.instrument?.name,
      session.tuning.name,
      refText(session.reference),
      session.settings.plan?.name && `plan ${session.settings.plan.name}`,
    ];
    const [first, ...rest] = name.filter(Boolean);
    this.#parts.chosen.replaceChildren(
      h('strong', {}, first),
      h('span', { class: 'dim' }, rest.map((t) => ` · ${t}`).join('')),
      h('span', { class: 'change' }, 'change'),
    );
    const some = session.strings.length > 0;
    this.#parts.cautions.show(session.cautions);
    this.#parts.letGo.hidden = session.settings.string === 0;
    this.#parts.clear.hidden = this.#parts.faces.hidden = !some;
    this.element.classList.toggle('no-strings', !some);
    this.lanes.tolerance = session.settings.tolerance_cents;
    this.#parts.listen.hidden = !wanted(session);
    this.#face();
    this.#strings();
  }

  #strings() {
    this.list.show(this.#app.tuner.strings);
    this.lanes.show(this.#app.tuner.strings);
  }

  /** Shows another face, and reads all strings at once or not as that needs. */
  async #choose(face) {
    keep('face', face === 'strobe' ? 'strobe' : 'lanes');
    const { tuner } = this.#app;
    if (tuner.allStrings !== (face === 'together'))
      await this.#try(() => tuner.set({ all_strings: face === 'together' }));
    this.#face();
  }

  #face() {
    const { tuner } = this.#app;
    const some = (tuner.session?.strings.length ?? 0) > 0;
    this.#shown = !some ? 'strobe' : tuner.allStrings ? 'together' : kept('face');
    const lanes = this.#shown !== 'strobe';
    this.lanes.element.hidden = !lanes;
    this.head.element.hidden = this.strobe.element.hidden = lanes;
    this.list.element.hidden = lanes || !some;
    for (const b of this.#parts.buttons) setAttr(b, 'aria-pressed', b.dataset.face === this.#shown);
  }

  #listening(state, why) {
    const { listen } = this.#parts;
    setText(listen, { off: 'Let this page listen', opening: 'Asking …', on: 'Stop listening' }[state]);
    setAttr(listen, 'aria-pressed', state === 'on');
    listen.classList.toggle('main', state === 'off');
    this.deaf = why;
    if (why) this.#app.say(why);
  }

  #freeze(on) {
    setAttr(this.#parts.freeze, 'aria-pressed', on);
    setText(this.#parts.freeze, on ? 'Frozen' : 'Freeze');
    this.element.classList.toggle('frozen', on);
  }

  async #hold(n) {
    this.#app.tuner.freeze(false);
    await this.#try(() => this.#app.tuner.hold(n));
    this.#app.say(n ? `string ${n} held` : 'no string held');
  }

  async #swapRows() {
    const { tuner } = this.#app;
    await this.#try(() => tuner.set({ rows: tuner.session.settings.rows === 'harmonics' ? 'string' : 'harmonics' }));
  }

  async #confirm() {
    await this.#try(() => this.#app.tuner.confirm());
    this.#app.say('the held string is followed');
  }

  async #clear() {
    this.#app.tuner.freeze(false);
    await this.#try(() => this.#app.tuner.clear());
  }

  async #try(f) {
    try {
      await f();
      this.#app.complain('');
    } catch (err) {
      this.#app.complain(err);
    }
  }

  /** Shows a message for a while; what rings on is not said aloud again. */
  #say(text, aloud = true) {
    if (text) this.#app.complain(text, aloud);
    clearTimeout(this.forget);
    this.forget = setTimeout(() => this.#app.complain(''), 6000);
  }
}

function since(ms) {
  return ms < 1000 ? '' : ` for ${age(ms / 1000)}`;
}

/** What can be done where several notes sound and one was expected. */
function severalWords(session) {
  return session?.strings.length
    ? 'Several notes sound. "Together" reads all strings at once.'
    : 'Several notes sound: play one at a time, or choose an instrument, whose strings can be read together.';
}

function refText(reference) {
  return reference && `${reference.label} = ${Number(reference.hz.toFixed(4))} Hz`;
}

/** The number of the string step rows from the held one, round the end, else of the sounding one. */
function neighbour(rows, step) {
  if (rows.length === 0) return 0;
  const held = rows.findIndex((r) => r.held);
  if (held >= 0) return rows[(held + step + rows.length) % rows.length].string;
  return rows.find((r) => r.active)?.string ?? rows.at(step < 0 ? -1 : 0).string;
}
