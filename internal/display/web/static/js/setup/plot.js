// How the notes of a string lie: every note that was read with its error bar, and the fit through them.

import { h, s } from '../dom.js';
import { signed, noteText } from '../format.js';

const SIZE = { width: 560, height: 260, left: 46, right: 14, top: 24, bottom: 34 };

/** Draws one string of a result. */
export class StringPlot {
  constructor() {
    this.element = h('div', { class: 'string-plot', role: 'img', 'aria-label': 'Deviation of the notes' });
  }

  show(string) {
    const notes = string.notes.filter((n) => !n.harmonic);
    const most =
      Math.max(
        4,
        ...notes.map((n) => Math.abs(n.cents) + n.sigma_cents),
        ...string.curve.map((c) => Math.abs(c.now_cents)),
      ) * 1.15;
    const far = Math.max(...string.curve.map((c) => c.nut_mm), 1) * 1.04;
    const toX = (mm) => SIZE.left + (mm / far) * (SIZE.width - SIZE.left - SIZE.right);
    const toY = (c) =>
      (SIZE.top + SIZE.height - SIZE.bottom) / 2 - ((c / most) * (SIZE.height - SIZE.top - SIZE.bottom)) / 2;
    const placeOf = (fret) => (fret ? (string.curve.find((c) => c.fret === fret)?.nut_mm ?? 0) : 0);
    const svg = s('svg', { viewBox: `0 0 ${SIZE.width} ${SIZE.height}`, 'aria-hidden': 'true', focusable: 'false' });
    for (const c of gridOf(most))
      svg.append(
        s('line', { class: c ? 'grid' : 'zero', x1: SIZE.left, x2: SIZE.width - SIZE.right, y1: toY(c), y2: toY(c) }),
        text(SIZE.left - 6, toY(c) + 4, signed(c, 0), 'end'),
      );
    svg.append(text(4, 13, 'cents off its place above the open string'));
    const line = (key) => string.curve.map((c) => `${toX(c.nut_mm)},${toY(c[key])}`).join(' ');
    svg.append(
      s('polyline', { class: 'now', points: line('now_cents') }),
      s('polyline', { class: 'after', points: line('after_cents') }),
    );
    for (const n of notes) {
      const [x, y] = [toX(placeOf(n.fret)), toY(n.cents)];
      const bar = Math.abs(toY(n.cents + n.sigma_cents) - y);
      svg.append(
        s('line', { class: 'bar', x1: x, x2: x, y1: y - bar, y2: y + bar }),
        s('circle', { class: n.left_out ? 'note out' : 'note', cx: x, cy: y, r: 5 }),
        text(x, SIZE.height - 16, n.fret ? String(n.fret) : 'open', 'middle'),
      );
    }
    svg.append(text(SIZE.width - SIZE.right, SIZE.height - 2, 'fret', 'end'));
    this.element.setAttribute(
      'aria-label',
      `Deviation of the notes of string ${noteText(string.label)}, worst ${string.now.worst_cents.toFixed(1)} cents`,
    );
    this.element.replaceChildren(svg);
  }
}

function gridOf(most) {
  const step = [1, 2, 5, 10, 20, 50].find((v) => most / v <= 4) ?? 100;
  const n = Math.floor(most / step);
  return Array.from({ length: 2 * n + 1 }, (_, i) => (i - n) * step);
}

function text(x, y, what, anchor = 'start') {
  return s('text', { x, y, 'text-anchor': anchor }, what);
}
