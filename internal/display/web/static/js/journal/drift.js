// The story of the open strings: a band for each, with the pitch it was found with and the one it
// was left with in every session.

import { h, s, textScale } from '../dom.js';
import { signed, noteText } from '../format.js';

const HEIGHT = 96; // px of a string's band at the usual size of text, as below
const LEFT = 150;
const NARROW_LEFT = 108;
const NARROW = 560; // px of width
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
    const u = textScale();
    const g = { u, height: HEIGHT * u, left: (width < NARROW * u ? NARROW_LEFT : LEFT) * u, right: width - RIGHT * u };
    const times = strings.flatMap((x) => x.sittings.map((y) => Date.parse(y.at)));
    if (times.length === 0) return void this.element.replaceChildren();
    const [from, to] = [Math.min(...times), Math.max(...times)];
    const toX = (t) => g.left + (to > from ? (t - from) / (to - from) : 0.5) * (g.right - g.left);
    const svg = s('svg', {
      width,
      height: strings.length * g.height + 28 * u,
      'aria-hidden': 'true',
      focusable: 'false',
    });
    strings.forEach((x, i) => svg.append(...this.#band(x, i, { ...g, toX, restrung })));
    const bottom = strings.length * g.height + 18 * u;
    svg.append(label(g.left, bottom, day(from)), label(g.right, bottom, day(to), 'end'));
    this.element.replaceChildren(svg);
  }

  #band(x, i, { u, height, left, right, toX, restrung }) {
    const middle = (i + 0.5) * height;
    const most = Math.max(LEAST, ...x.sittings.flatMap((y) => [Math.abs(y.found_cents), Math.abs(y.left_cents)]));
    const toY = (c) => middle - (c / most) * (height / 2 - 12 * u);
    const out = [
      s('rect', { class: 'back', x: left, y: i * height + 3, width: right - left, height: height - 6 }),
      s('line', { class: 'grid', x1: left, x2: right, y1: middle, y2: middle }),
      s('text', { class: 'name', x: 0, y: middle - 4 * u }, `${x.string}  ${noteText(x.label)}`),
      label(0, middle + 16 * u, x.verdict),
      label(left - 6 * u, i * height + 16 * u, signed(most, 0), 'end'),
      label(left - 6 * u, (i + 1) * height - 8 * u, signed(-most, 0), 'end'),
    ];
    for (const r of restrung) {
      const at = toX(Date.parse(r.at));
      if ((r.string === 0 || r.string === x.string) && at >= left)
        out.push(s('line', { class: 'new-string', x1: at, x2: at, y1: i * height + 3, y2: (i + 1) * height - 3 }));
    }
    x.sittings.forEach((y, k) => {
      const at = toX(Date.parse(y.at));
      const before = x.sittings[k - 1];
      if (before)
        out.push(
          s('line', {
            class: 'moved',
            x1: toX(Date.parse(before.at)),
            y1: toY(before.left_cents),
            x2: at,
            y2: toY(y.found_cents),
          }),
        );
      out.push(
        s('line', { class: 'tuned', x1: at, x2: at, y1: toY(y.found_cents), y2: toY(y.left_cents) }),
        s('circle', { class: 'found', cx: at, cy: toY(y.found_cents), r: 5 * u }),
        s('rect', { class: 'left', x: at - 5 * u, y: toY(y.left_cents) - 5 * u, width: 10 * u, height: 10 * u }),
      );
    });
    return out;
  }
}

function label(x, y, text, anchor = 'start') {
  return s('text', { x, y, 'text-anchor': anchor }, text);
}

function day(ms) {
  return new Date(ms).toLocaleDateString(undefined, { dateStyle: 'short' });
}
