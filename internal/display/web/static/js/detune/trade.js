// The trade-off: how pure the wanted chords become against what the others suffer, for every part
// that the others may count.

import { h, s } from '../dom.js';

const SIZE = { width: 520, height: 240, left: 46, right: 16, top: 22, bottom: 36 };

/** The curve; choose(spare) is called when a point is pressed or reached by the arrow keys. */
export class Trade {
  #points = [];
  #at = 0;

  constructor(choose) {
    this.choose = choose;
    this.element = h('div', {
      class: 'trade',
      role: 'slider',
      tabIndex: 0,
      hidden: true,
      'aria-label': 'Part that the other chords count',
      'aria-valuemin': '0',
      'aria-valuemax': '100',
      onkeydown: (e) => this.#key(e),
      onclick: (e) => this.#click(e),
    });
  }

  /** Shows the points of the server; the first is the instrument as it is. */
  show(points, spare) {
    this.#points = points;
    this.element.hidden = points.length < 2;
    this.select(spare);
  }

  /** Marks the point nearest to a part. */
  select(spare) {
    if (this.#points.length < 2) return;
    const near = (p) => Math.abs(p.spare - spare);
    this.#at = this.#points.reduce((best, p, i) => (p.spare >= 0 && near(p) < near(this.#points[best]) ? i : best), 1);
    const p = this.#points[this.#at];
    this.element.setAttribute('aria-valuenow', Math.round(100 * p.spare));
    this.element.setAttribute(
      'aria-valuetext',
      `${Math.round(100 * p.spare)} percent: chosen chords ${p.pure_rms.toFixed(1)} cents, ` +
        `others ${p.other_rms.toFixed(1)} cents`,
    );
    this.#draw();
  }

  #key(e) {
    const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, Home: -1e6, End: 1e6 }[e.key];
    if (!step) return;
    e.preventDefault();
    this.#go(this.#at + step);
  }

  #click(e) {
    const box = this.element.firstElementChild.getBoundingClientRect();
    const [x, y] = [
      ((e.clientX - box.left) * SIZE.width) / box.width,
      ((e.clientY - box.top) * SIZE.height) / box.height,
    ];
    const { toX, toY } = this.#scales();
    const far = (p) => Math.hypot(toX(p.pure_rms) - x, toY(p.other_rms) - y);
    this.#go(this.#points.reduce((best, p, i) => (i > 0 && far(p) < far(this.#points[best]) ? i : best), 1));
  }

  #go(i) {
    this.choose(this.#points[Math.min(Math.max(i, 1), this.#points.length - 1)].spare);
  }

  #scales() {
    const most = (key) => Math.max(...this.#points.map((p) => p[key]), 0.1) * 1.1;
    const [x1, y1] = [most('pure_rms'), most('other_rms')];
    return {
      x1,
      y1,
      toX: (c) => SIZE.left + (c / x1) * (SIZE.width - SIZE.left - SIZE.right),
      toY: (c) => SIZE.height - SIZE.bottom - (c / y1) * (SIZE.height - SIZE.top - SIZE.bottom),
    };
  }

  #draw() {
    const { x1, y1, toX, toY } = this.#scales();
    const svg = s('svg', { viewBox: `0 0 ${SIZE.width} ${SIZE.height}`, 'aria-hidden': 'true', focusable: 'false' });
    for (const c of ticks(x1))
      svg.append(
        s('line', { class: 'grid', x1: toX(c), x2: toX(c), y1: SIZE.top, y2: SIZE.height - SIZE.bottom }),
        text(toX(c), SIZE.height - 20, c, 'middle'),
      );
    for (const c of ticks(y1))
      svg.append(
        s('line', { class: 'grid', x1: SIZE.left, x2: SIZE.width - SIZE.right, y1: toY(c), y2: toY(c) }),
        text(SIZE.left - 6, toY(c) + 4, c, 'end'),
      );
    svg.append(
      text(4, 13, 'other chords, cents', 'start'),
      text(SIZE.width - 4, SIZE.height - 4, 'chosen chords, cents', 'end'),
    );
    const [asItIs, ...curve] = this.#points;
    svg.append(
      s('polyline', { class: 'curve', points: curve.map((p) => `${toX(p.pure_rms)},${toY(p.other_rms)}`).join(' ') }),
    );
    for (const p of curve) svg.append(s('circle', { class: 'point', cx: toX(p.pure_rms), cy: toY(p.other_rms), r: 4 }));
    const [x, y] = [toX(asItIs.pure_rms), toY(asItIs.other_rms)];
    svg.append(
      s('path', { class: 'now', d: `M${x - 6},${y - 6}L${x + 6},${y + 6}M${x - 6},${y + 6}L${x + 6},${y - 6}` }),
      text(x - 10, y - 8, 'as it is', 'end'),
    );
    const p = this.#points[this.#at];
    svg.append(s('circle', { class: 'point chosen', cx: toX(p.pure_rms), cy: toY(p.other_rms), r: 9 }));
    this.element.replaceChildren(svg);
  }
}

function text(x, y, what, anchor) {
  return s('text', { x, y, 'text-anchor': anchor }, String(what));
}

function ticks(most) {
  const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100].find((v) => most / v <= 6) ?? 200;
  return Array.from({ length: Math.floor(most / step) + 1 }, (_, i) => Number((i * step).toFixed(2)));
}
