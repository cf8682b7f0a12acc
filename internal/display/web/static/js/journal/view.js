// The Journal view: sessions that were kept, what was read in them, and how the strings drift.

import { h, setError, setText, wideTable } from '../dom.js';
import { get, send } from '../api.js';
import * as format from '../format.js';
import { DriftPlot } from './drift.js';

/** Makes the view. */
export function create(app) {
  return new Journal(app);
}

class Journal {
  #app;
  #sessions = [];
  #instrument = null;

  constructor(app) {
    this.#app = app;
    this.drift = new DriftPlot();
    this.element = this.#build();
  }

  #build() {
    this.instrument = h('select', {
      name: 'instrument',
      onchange: () => {
        this.#app.remember('journal', {});
        this.#choose(this.instrument.value);
      },
    });
    this.status = h('p', { class: 'error', role: 'alert' });
    this.verdicts = h('div', {});
    this.list = h('tbody', {});
    this.detail = h('section', { class: 'panel', 'aria-label': 'Session', tabIndex: -1, hidden: true });
    this.restring = h('button', { type: 'button', onclick: () => this.#newStrings() }, 'New strings today');
    this.body = h(
      'div',
      { class: 'stack' },
      h(
        'section',
        { class: 'panel', 'aria-label': 'Drift' },
        h('h2', {}, 'How the open strings drift'),
        h(
          'p',
          { class: 'dim small' },
          'Circle: as found. Square: as left. The line between two sessions is what the string did by itself; ',
          'a dashed line is a change of strings. Cents against the target.',
        ),
        this.drift.element,
        this.verdicts,
        h('div', { class: 'row' }, this.restring),
      ),
      h(
        'div',
        { class: 'columns' },
        h(
          'section',
          { class: 'panel', 'aria-label': 'Sessions' },
          wideTable(
            'Sessions',
            h('caption', {}, 'Sessions, the newest first'),
            h(
              'thead',
              {},
              h(
                'tr',
                {},
                ['when', 'what', 'readings', 'remark'].map((t) => h('th', { scope: 'col' }, t)),
              ),
            ),
            this.list,
          ),
        ),
        this.detail,
      ),
    );
    this.empty = h(
      'p',
      { class: 'panel', hidden: true },
      'Nothing is kept yet. ',
      h('code', {}, 'tunerd listen --keep'),
      ' and ',
      h('code', {}, 'tunerd measure --keep'),
      ' keep what they read; it is shown here then.',
    );
    return h(
      'section',
      { class: 'view journal', 'aria-label': 'Journal' },
      h(
        'div',
        { class: 'viewhead' },
        h('h1', {}, 'Journal'),
        h('label', { class: 'field' }, h('span', {}, 'Instrument'), this.instrument),
      ),
      this.status,
      this.empty,
      this.body,
    );
  }

  show() {
    this.#load();
  }

  async #load() {
    await this.#try(async () => {
      const { sessions } = await get('api/journal/sessions');
      this.#sessions = sessions.reverse();
      const names = [...new Set(sessions.map((x) => x.instrument))];
      this.empty.hidden = sessions.length > 0;
      this.body.hidden = this.instrument.parentElement.hidden = sessions.length === 0;
      this.instrument.replaceChildren(...names.map((n) => h('option', { value: n }, n || 'none')));
      const now = this.#app.tuner.session?.settings.instrument;
      const linked = sessions.find((x) => String(x.id) === this.#app.linked().get('session'));
      const wanted = [linked?.instrument, this.#instrument, now].find((n) => names.includes(n)) ?? names[0];
      if (sessions.length > 0) await this.#choose(wanted);
      if (linked) await this.#open(linked.id);
    });
  }

  async #choose(name) {
    this.#instrument = name;
    this.instrument.value = name;
    this.#sure(false);
    const mine = this.#sessions.filter((x) => x.instrument === name);
    this.list.replaceChildren(
      ...mine.map((x) =>
        h(
          'tr',
          {},
          h('th', { scope: 'row' }, h('button', { type: 'button', onclick: () => this.#open(x.id) }, when(x.started))),
          [x.kind, String(x.readings), x.note].map((t) => h('td', {}, t)),
        ),
      ),
    );
    this.detail.hidden = true;
    await this.#try(async () => this.#drift(await get('api/journal/drift', { instrument: name })));
  }

  #drift(drift) {
    this.drift.show(drift);
    this.verdicts.replaceChildren(
      wideTable(
        'What the strings do',
        h('caption', {}, 'What the strings do between sessions'),
        h(
          'thead',
          {},
          h(
            'tr',
            {},
            ['string', 'sessions', 'typical move', 'strings since', 'verdict'].map((t) => h('th', { scope: 'col' }, t)),
          ),
        ),
        h(
          'tbody',
          {},
          drift.strings.map((x) =>
            h(
              'tr',
              {},
              h('th', { scope: 'row' }, `${x.string}  ${format.noteText(x.label)}`),
              [
                String(x.sittings.length),
                x.typical_cents === null ? '–' : `${x.typical_cents.toFixed(1)}¢`,
                x.since ? day(x.since) : '–',
                x.verdict,
              ].map((t) => h('td', {}, t)),
            ),
          ),
        ),
      ),
      ...drift.left_out.map((words) => h('p', { class: 'dim small' }, words)),
    );
  }

  async #open(id) {
    await this.#try(async () => {
      const { session: x, readings } = await get(`api/journal/sessions/${id}`);
      const note = h('input', { name: 'note', value: x.note, maxLength: 400 });
      const remove = h('button', { type: 'button', onclick: () => this.#delete(remove, id) }, 'Delete');
      this.detail.replaceChildren(
        h('h2', {}, `${when(x.started)} · ${x.kind}`),
        h(
          'p',
          { class: 'dim' },
          [x.input, x.tuning, x.reference, x.plan && `plan ${x.plan}`].filter(Boolean).join(' · '),
        ),
        h(
          'form',
          {
            class: 'row',
            onsubmit: (e) => {
              e.preventDefault();
              this.#note(id, note.value);
            },
          },
          h('label', { class: 'field grow' }, h('span', {}, 'Remark'), note),
          h('button', {}, 'Keep the remark'),
          remove,
        ),
        wideTable(
          'Readings',
          h('caption', {}, `${readings.length} readings`),
          h(
            'thead',
            {},
            h(
              'tr',
              {},
              ['at', 'note', 'string', 'cents', 'Hz', ''].map((t) => h(t ? 'th' : 'td', t ? { scope: 'col' } : {}, t)),
            ),
          ),
          h(
            'tbody',
            {},
            readings.map((r) =>
              h(
                'tr',
                {},
                h('th', { scope: 'row' }, `${r.t_s.toFixed(1)} s`),
                [
                  format.noteText(r.label),
                  place(r),
                  `${format.cents(r.cents, r.f1_sigma_cents)} ± ${format.sigmaText(r.f1_sigma_cents)}`,
                  format.hz(r.f1_hz, r.f1_sigma_cents),
                  r.mark,
                ].map((t) => h('td', {}, t)),
              ),
            ),
          ),
        ),
      );
      this.#app.remember('journal', { session: id });
      this.detail.hidden = false;
      this.detail.focus({ preventScroll: false });
    });
  }

  async #note(id, text) {
    await this.#try(async () => {
      await send('PUT', `api/journal/sessions/${id}/note`, { note: text });
      await this.#load();
      await this.#open(id);
      this.#app.say('remark kept');
    });
  }

  /** Deletes at the second press: what is gone does not come back. */
  async #delete(button, id) {
    if (!button.dataset.sure) {
      button.dataset.sure = 'yes';
      setText(button, 'Delete for good');
      return;
    }
    await this.#try(async () => {
      await send('DELETE', `api/journal/sessions/${id}`);
      await this.#load();
    });
  }

  /** Notes it at the second press: it stays in the journal. */
  async #newStrings() {
    if (!this.restring.dataset.sure) return this.#sure(true);
    this.#sure(false);
    await this.#try(async () => {
      await send('POST', 'api/journal/events', {
        instrument: this.#instrument,
        string: 0,
        kind: 'new strings',
        text: '',
      });
      await this.#choose(this.#instrument);
      this.#app.say('noted: new strings');
    });
  }

  /** Whether the next press notes new strings. */
  #sure(sure) {
    if (sure) this.restring.dataset.sure = 'yes';
    else delete this.restring.dataset.sure;
    setText(this.restring, sure ? 'Note it: all strings are new today' : 'New strings today');
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

function place(r) {
  if (!r.string) return '–';
  const at = r.harmonic ? ` harmonic ${r.harmonic}` : r.fret ? ` fret ${r.fret}` : ' open';
  return r.string + at;
}

function when(text) {
  return new Date(text).toLocaleString(undefined, { dateStyle: 'medium', timeStyle: 'short' });
}

function day(text) {
  return new Date(text).toLocaleDateString(undefined, { dateStyle: 'medium' });
}
