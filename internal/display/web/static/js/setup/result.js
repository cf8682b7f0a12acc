// What a check has found so far: plots, moves, words, and files to take home.

import { h, wideTable } from '../dom.js';
import { get } from '../api.js';
import { signed, noteText } from '../format.js';
import { StringPlot } from './plot.js';

const FILES = [
  ['report.html', 'Report, HTML'],
  ['report.pdf', 'Report, PDF'],
  ['report.csv', 'Readings, CSV'],
  ['check.json', 'Check, for tunerd intonation'],
];

/** The part of the view that shows the result. */
export class Result {
  empty = true;
  #string = 0; // shown in the plot
  #picked = false; // by the user

  constructor() {
    this.plot = new StringPlot();
    this.strings = h('div', { class: 'segments', role: 'group', 'aria-label': 'String of the plot' });
    this.table = h('div', {});
    this.words = h('div', { class: 'stack' });
    const files = h(
      'p',
      { class: 'row' },
      FILES.map(([name, text]) =>
        h('a', { class: 'button', href: `api/setup/files/${name}`, download: `intonation-${name}` }, text),
      ),
    );
    this.element = h(
      'section',
      { class: 'panel', 'aria-label': 'Found so far', hidden: true },
      h('h2', {}, 'Found so far'),
      this.strings,
      h(
        'div',
        { class: 'found' },
        h(
          'div',
          {},
          this.plot.element,
          h(
            'p',
            { class: 'dim small' },
            'Circles: notes as read, with one standard error. Line: the fit. Dashed: after the moves.',
          ),
        ),
        h('div', { class: 'stack' }, this.table, this.words),
      ),
      files,
    );
  }

  clear() {
    this.empty = true;
    this.#picked = false;
    this.element.hidden = true;
  }

  /** Asks the server for the result; that it is too early is no error. string is the one that is played. */
  async load(string) {
    let answer;
    try {
      answer = await get('api/setup/result');
    } catch {
      return;
    }
    this.empty = false;
    this.element.hidden = false;
    const found = answer.result.strings.filter((x) => x.curve.length > 0);
    if (!this.#picked || !found.some((x) => x.string === this.#string))
      this.#string = found.some((x) => x.string === string) ? string : (found.at(-1)?.string ?? 0);
    this.#show(found, answer.words);
  }

  #show(found, words) {
    this.strings.replaceChildren(
      ...found.map((x) =>
        h(
          'button',
          {
            type: 'button',
            'aria-pressed': String(x.string === this.#string),
            onclick: () => {
              this.#string = x.string;
              this.#picked = true;
              this.#show(found, words);
            },
          },
          `${x.string} ${noteText(x.label)}`,
        ),
      ),
    );
    const shown = found.find((x) => x.string === this.#string);
    this.plot.element.hidden = !shown;
    if (shown) this.plot.show(shown);
    this.table.replaceChildren(
      wideTable(
        'Moves',
        h('caption', {}, 'Moves in mm, positive away from the head'),
        h(
          'thead',
          {},
          h(
            'tr',
            {},
            ['string', 'nut', 'saddle', 'worst now', 'worst after', 'verdict'].map((t) => h('th', { scope: 'col' }, t)),
          ),
        ),
        h(
          'tbody',
          {},
          found.map((x) =>
            h(
              'tr',
              {},
              h('th', { scope: 'row' }, `${x.string}  ${noteText(x.label)}`),
              [
                move(x, 'nut_mm'),
                move(x, 'saddle_mm'),
                `${x.now.worst_cents.toFixed(1)}¢`,
                x.determined ? `${x.after.worst_cents.toFixed(1)}¢` : '–',
                x.verdict,
              ].map((t) => h('td', {}, t)),
            ),
          ),
        ),
      ),
    );
    const said = [
      ...Object.values(words.strings ?? {}),
      ...(words.frets ?? []),
      ...(words.together ?? []),
      ...(words.doubts ?? []),
    ];
    this.words.replaceChildren(
      h(
        'ul',
        { class: 'words' },
        said.map((t) => h('li', {}, t)),
      ),
      h(
        'ul',
        { class: 'caution cautions' },
        (words.cautions ?? []).map((t) => h('li', {}, t)),
      ),
    );
  }
}

function move(x, end) {
  return x.determined ? `${signed(x.move[end], 2)} ± ${x.move_sigma[end].toFixed(2)}` : '–';
}
