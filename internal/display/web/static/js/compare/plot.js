// The plot of divisions against chords: the error of every division on a logarithmic scale, and
// below, on the same axis, a row for each chord.

import { h, s, textScale } from '../dom.js';

const MARGIN = { top: 26, right: 18, bottom: 30, left: 78 }; // at the usual size of text, as ROW
const ROW = 34; // px of a chord's row
const GRID = [0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200];

/** The plot; choose(division) is called when one is pressed or reached by the arrow keys. */
export class Plot {
  #rows = [];
  #chosen = 0;
  #data = null;

  constructor(choose) {
    this.choose = choose;
    this.element = h('div', {
      class: 'plot',
      role: 'slider',
      tabIndex: 0,
      'aria-label': 'Division',
      'aria-orientation': 'horizontal',
      onkeydown: (e) => this.#key(e),
      onclick: (e) => this.#click(e),
    });
    new ResizeObserver(() => this.#draw()).observe(this.element);
  }

  /** Shows divisions (rising), each { division, value, consistent, perChord: [cents] }, for chords. */
  show(rows, chords, label) {
    let best = Infinity;
    this.#rows = rows.map((r) => {
      const record = r.value < best - 1e-9;
      best = Math.min(best, r.value);
      return { ...r, record };
    });
    this.#data = { chords, label };
    this.#draw();
  }

  select(division) {
    this.#chosen = division;
    const row = this.#rows.find((r) => r.division === division);
    const { element: el } = this;
    el.setAttribute('aria-valuemin', this.#rows[0]?.division ?? 0);
    el.setAttribute('aria-valuemax', this.#rows.at(-1)?.division ?? 0);
    el.setAttribute('aria-valuenow', division);
    if (row) el.setAttribute('aria-valuetext', `${division} steps, ${row.value.toFixed(2)} ${this.#data.label}`);
    this.#draw();
  }

  #key(e) {
    const step = {
      ArrowLeft: -1,
      ArrowDown: -1,
      ArrowRight: 1,
      ArrowUp: 1,
      PageUp: 10,
      PageDown: -10,
      Home: -1e6,
      End: 1e6,
    }[e.key];
    if (!step || this.#rows.length === 0) return;
    e.preventDefault();
    const at = this.#rows.findIndex((r) => r.division === this.#chosen);
    const to = Math.min(Math.max(at + step, 0), this.#rows.length - 1);
    this.choose(this.#rows[to].division);
  }

  #click(e) {
    const svg = this.element.firstElementChild;
    if (!svg || this.#rows.length === 0) return;
    const x = e.clientX - svg.getBoundingClientRect().left;
    const { toX } = this.#scales();
    const near = (r) => Math.abs(toX(r.division) - x);
    this.choose(this.#rows.reduce((a, b) => (near(b) < near(a) ? b : a)).division);
  }

  #scales() {
    const width = this.element.clientWidth;
    const rows = this.#rows;
    const u = textScale();
    const margin = Object.fromEntries(Object.entries(MARGIN).map(([side, px]) => [side, px * u]));
    const row = ROW * u;
    const below = this.#data.chords.length * row + 14 * u;
    const height = Math.max(this.element.clientHeight, 200) - below;
    const values = rows.map((r) => Math.max(r.value, 0.1));
    const [lo, hi] = [Math.min(...values) / 1.3, Math.max(...values) * 1.3];
    const [from, to] = [rows[0].division, rows.at(-1).division];
    const toX = (n) => margin.left + ((n - from + 0.5) / (to - from + 1)) * (width - margin.left - margin.right);
    const toY = (v) =>
      margin.top + (1 - Math.log(Math.max(v, lo) / lo) / Math.log(hi / lo)) * (height - margin.top - margin.bottom);
    return { width, height, lo, hi, from, to, toX, toY, below, margin, row, u };
  }

  #draw() {
    if (this.#rows.length === 0 || this.element.clientWidth === 0) return void this.element.replaceChildren();
    const g = this.#scales();
    const svg = s('svg', { width: g.width, height: g.height + g.below, 'aria-hidden': 'true', focusable: 'false' });
    svg.append(...this.#axes(g), ...this.#records(g), ...this.#points(g), ...this.#chordRows(g));
    this.element.replaceChildren(svg);
  }

  #axes(g) {
    const out = GRID.filter((v) => v > g.lo && v < g.hi).flatMap((v) => [
      s('line', { class: 'grid', x1: g.margin.left, x2: g.width - g.margin.right, y1: g.toY(v), y2: g.toY(v) }),
      s('text', { x: g.margin.left - 8 * g.u, y: g.toY(v) + 5 * g.u, 'text-anchor': 'end' }, String(v)),
    ]);
    const every =
      [1, 2, 5, 10, 20, 50, 100, 200, 500].find((step) => ((g.to - g.from) / step) * 44 * g.u < g.width) ?? 1000;
    for (let n = Math.ceil(g.from / every) * every; n <= g.to; n += every) {
      out.push(
        s('line', { class: 'grid', x1: g.toX(n), x2: g.toX(n), y1: g.margin.top, y2: g.height - g.margin.bottom }),
        s('text', { x: g.toX(n), y: g.height - g.margin.bottom + 18 * g.u, 'text-anchor': 'middle' }, String(n)),
      );
    }
    out.push(
      s('text', { x: 4 * g.u, y: 15 * g.u }, this.#data.label),
      s('text', { x: g.width - g.margin.right, y: 15 * g.u, 'text-anchor': 'end' }, 'lower is purer'),
    );
    return out;
  }

  /** A stair through the divisions that are better than every smaller one, with their numbers. */
  #records(g) {
    const best = this.#rows.filter((r) => r.record);
    let path = '';
    best.forEach((r, i) => {
      path += i ? `H${g.toX(r.division)}V${g.toY(r.value)}` : `M${g.toX(r.division)},${g.toY(r.value)}`;
    });
    if (best.length) path += `H${g.width - g.margin.right}`;
    return [s('path', { class: 'stair', d: path })];
  }

  #points(g) {
    const size = Math.min(Math.max(((g.width - g.margin.left) / this.#rows.length) * 0.32, 2.5 * g.u), 7 * g.u);
    const out = [];
    for (const r of this.#rows) {
      const chosen = r.division === this.#chosen;
      const [x, y] = [g.toX(r.division), g.toY(r.value)];
      if (chosen) out.push(s('line', { class: 'cursor', x1: x, x2: x, y1: g.margin.top - 4, y2: g.height + g.below }));
      out.push(
        s('circle', {
          class: r.consistent ? 'point' : 'point hollow',
          cx: x,
          cy: y,
          r: chosen ? size + 3 * g.u : size,
        }),
      );
    }
    let lastX = -Infinity;
    for (const r of this.#rows.filter((row) => row.record || row.division === this.#chosen)) {
      const x = g.toX(r.division);
      if (x - lastX < 22 * g.u && r.division !== this.#chosen) continue;
      lastX = x;
      out.push(
        s(
          'text',
          {
            class: r.division === this.#chosen ? 'number chosen' : 'number',
            x,
            y: g.toY(r.value) - size - 8 * g.u,
            'text-anchor': 'middle',
          },
          String(r.division),
        ),
      );
    }
    return out;
  }

  /** A bar for each division and chord: the taller, the purer; none from 40 cents on. */
  #chordRows(g) {
    const wide = Math.max((g.toX(g.from + 1) - g.toX(g.from)) * 0.7, 1);
    return this.#data.chords.flatMap((chord, i) => {
      const base = g.height + (i + 1) * g.row;
      const bars = this.#rows.map((r) => {
        const tall = Math.max(0, 1 - Math.log2(1 + r.perChord[i]) / Math.log2(41)) * (g.row - 6 * g.u);
        return s('rect', {
          class: r.division === this.#chosen ? 'bar chosen' : 'bar',
          x: g.toX(r.division) - wide / 2,
          y: base - tall,
          width: wide,
          height: tall,
        });
      });
      return [
        s('line', { class: 'grid', x1: g.margin.left, x2: g.width - g.margin.right, y1: base, y2: base }),
        ...bars,
        s('text', { class: 'small', x: g.margin.left - 8 * g.u, y: base - 5 * g.u, 'text-anchor': 'end' }, chord),
      ];
    });
  }
}
