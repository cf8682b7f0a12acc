// The story of the open strings: a band for each, with the pitch it was found with and the one it
// was left with in every session.

import { h, s } from '../dom.js';
import { signed, noteText } from '../format.js';

const HEIGHT = 96; // px of a string's band
const LEFT = 150;
const RIGHT = 24;
const LEAST = 5; // cents that a band shows to either side at least

/** Draws the drift that the server tells. */
export class DriftPlot {
  #drift = null;

  constructor() {
    this.element = h('div', { class: 'drift', role: 'img', 'aria-label': 'Drift of the open strings over time' });
    new ResizeObserver(() => this.#draw()).observe(this.element);
  }

  show(drift) {
    this.#drift = drift;
    this.#draw();
  }

  #draw() {
    const width = this.element.clientWidth;
    if (!this.#drift || width === 0) return;
    const { strings, restrung } = this.#drift;
    const times = strings.flatMap((x) => x.sittings.map((y) => Date.parse(y.at)));
    if (times.length === 0) return void this.element.replaceChildren();
    const [from, to] = [Math.min(...times), Math.max(...times)];
    const toX = (t) => LEFT + (to > from ? (t - from) / (to - from) : 0.5) * (width - LEFT - RIGHT);
    const svg = s('svg', { width, height: strings.length * HEIGHT + 28, 'aria-hidden': 'true', focusable: 'false' });
    strings.forEach((x, i) => svg.append(...this.#band(x, i, { width, toX, restrung })));
    const bottom = strings.length * HEIGHT + 18;
    svg.append(label(LEFT, bottom, day(from)), label(width - RIGHT, bottom, day(to), 'end'));
    this.element.replaceChildren(svg);
  }

  #band(x, i, { width, toX, restrung }) {
    const middle = (i + 0.5) * HEIGHT;
    const most = Math.max(LEAST, ...x.sittings.flatMap((y) => [Math.abs(y.found_cents), Math.abs(y.left_cents)]));
    const toY = (c) => middle - (c / most) * (HEIGHT / 2 - 12);
    const out = [
      s('rect', { class: 'back', x: LEFT, y: i * HEIGHT + 3, width: width - LEFT - RIGHT, height: HEIGHT - 6 }),
      s('line', { class: 'grid', x1: LEFT, x2: width - RIGHT, y1: middle, y2: middle }),
      s('text', { class: 'name', x: 0, y: middle - 4 }, `${x.string}  ${noteText(x.label)}`),
      label(0, middle + 16, x.verdict), label(LEFT - 8, i * HEIGHT + 16, signed(most, 0), 'end'), label(LEFT - 8, (i + 1) * HEIGHT - 8, signed(-most, 0), 'end'),
    ];
    for (const r of restrung) {
      const at = toX(Date.parse(r.at));
      if ((r.string === 0 || r.string === x.string) && at >= LEFT) out.push(s('line', { class: 'new-string', x1: at, x2: at, y1: i * HEIGHT + 3, y2: (i + 1) * HEIGHT - 3 }));
    }
    x.sittings.forEach((y, k) => {
      const at = toX(Date.parse(y.at));
      const before = x.sittings[k - 1];
      if (before) out.push(s('line', { class: 'moved', x1: toX(Date.parse(before.at)), y1: toY(before.left_cents), x2: at, y2: toY(y.found_cents) }));
      out.push(s('line', { class: 'tuned', x1: at, x2: at, y1: toY(y.found_cents), y2: toY(y.left_cents) }),
        s('circle', { class: 'found', cx: at, cy: toY(y.found_cents), r: 5 }),
        s('rect', { class: 'left', x: at - 5, y: toY(y.left_cents) - 5, width: 10, height: 10 }));
    });
    return out;
  }
}

function label(x, y, text, anchor = 'start') {
  return s('text', { x, y, 'text-anchor': anchor }, text);
}

function day(ms) {
  return new Date(ms).toLocaleDateString(undefined, { dateStyle: 'medium' });
}
