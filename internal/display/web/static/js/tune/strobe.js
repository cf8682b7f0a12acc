// The strobe: one canvas for each partial, drawn from its measured phase and drift at the time of
// the display's own frame.

import { h, setText, setAttr, setClass } from '../dom.js';
import * as format from '../format.js';
import { moving } from '../settings.js';
import * as bands from './bands.js';

const FIRST = [1, 2, 3, 4].map((partial) => ({ partial, clear: false }));

const LEGENDS = { string: 'Rows rest when this string is in tune', harmonics: 'Rows rest at exact harmonics' };

/** The stack of bands with what stands beside and below it. */
export class Strobe {
  #rows = [];
  #last = 0; // ms, of the last drawing
  #shutter = 1 / 60; // s a drawing stays on the screen, smoothed
  #colours = null;
  #stillAt = 0;

  /** swapRows() is called when the legend is pressed. */
  constructor(swapRows) {
    this.stack = h('div', { class: 'bands' });
    this.guide = ['flat', 'in tune', 'sharp'].map((word) =>
      h('span', { dataset: { word } }, { flat: '← flat', 'in tune': 'in tune', sharp: 'sharp →' }[word]),
    );
    this.legend = h('button', {
      type: 'button',
      class: 'plain legend',
      title: 'What the rows are compared with (x)',
      onclick: swapRows,
    });
    this.picture = h(
      'div',
      { role: 'img', 'aria-label': 'Strobe' },
      this.stack,
      h('p', { class: 'guide', 'aria-hidden': 'true' }, this.guide),
    );
    this.element = h('div', { class: 'strobe' }, this.picture, this.legend);
    document.addEventListener('theme', () => {
      this.#colours = null;
    });
  }

  /** Draws the pattern as it is at now ms. */
  draw(tuner, live, now) {
    this.#open(now);
    const f = live ? tuner.frame : tuner.reading;
    const list = f?.bands.length ? f.bands : FIRST;
    this.#fit(list);
    const colours = (this.#colours ??= readColours(this.element));
    if (live && !moving()) {
      if (now - this.#stillAt < 500) return;
      this.#stillAt = now;
    }
    const scene = {
      tuner,
      f,
      live,
      colours,
      at: tuner.frozen ? tuner.now() : tuner.clock.at(now),
      loudest: loudest(list),
    };
    list.forEach((band, i) => this.#band(this.#rows[i], band, scene));
  }

  /** Measures how long drawings stay on the screen. */
  #open(now) {
    const dt = (now - this.#last) / 1000;
    this.#last = now;
    if (dt > 0.002 && dt < 0.1) this.#shutter += 0.05 * (dt - this.#shutter);
  }

  #fit(list) {
    while (this.#rows.length > list.length) this.#rows.pop().el.remove();
    while (this.#rows.length < list.length) {
      const row = {
        number: h('span', { class: 'k' }),
        canvas: h('canvas', {}),
        drift: h('span', { class: 'drift' }),
        over: h('span', { class: 'over' }),
      };
      row.el = h('div', { class: 'band' }, row.number, h('div', { class: 'window' }, row.canvas, row.over), row.drift);
      row.ctx = row.canvas.getContext('2d', { alpha: true });
      this.#rows.push(row);
      this.stack.append(row.el);
    }
  }

  #band(row, band, { tuner, f, live, colours, at, loudest: top }) {
    const size = fitCanvas(row.canvas);
    setText(row.number, String(band.partial));
    if (!live || tuner.doubted) {
      setText(row.over, '');
      bands.drawRest(row.ctx, size, tuner.frame?.hears === 'listening', colours.line);
      return;
    }
    const light = colours[f.state];
    if (!band.clear) {
      row.ctx.fillStyle = colours.rest;
      row.ctx.fillRect(0, 0, size.width, size.height);
      setText(row.over, `partial ${band.partial} not clear`);
      return;
    }
    setText(row.over, '');
    if (!moving()) {
      bands.drawStill(row.ctx, size, band.drift_hz, { light, rest: colours.rest, line: colours.line });
      return;
    }
    const look = bands.contrast(band.drift_hz, this.#shutter);
    const every = bands.period(size.width / size.scale, band.partial) * size.scale;
    const phase = bands.phaseAt({ phase: band.phase_turns, drift: band.drift_hz }, f.t_s, at);
    bands.drawStripes(row.ctx, size, {
      every,
      phase,
      look,
      light,
      rest: colours.rest,
      bright: bands.brightness(band.level_db, top),
    });
    if (look < 0.1) bands.drawTooFast(row.ctx, size, band.drift_hz, colours.text);
  }

  /** Writes what changes slowly: drifts, the guide, the words for screen readers. */
  words(tuner, live) {
    const f = tuner.frame;
    for (const word of this.guide) setClass(word, 'now', live && f.state === word.dataset.word);
    for (const [i, row] of this.#rows.entries()) {
      const band = live ? f.bands[i] : null; // none while it is doubted which string sounds
      setText(row.drift, band?.clear ? `${format.beat(band.drift_hz, f.f1_hz * band.partial, f.cents_sigma)} Hz` : '');
    }
    setAttr(this.picture, 'aria-label', `Strobe: ${spoken(f, live)}`);
    setText(this.legend, LEGENDS[tuner.session?.settings.rows] ?? '');
  }
}

function spoken(f, live) {
  if (!live) return 'nothing sounds';
  if (f.standing === 'doubted') return format.doubtText(f);
  return {
    settling: 'the reading settles',
    flat: 'stripes move left, flat',
    sharp: 'stripes move right, sharp',
    'in tune': 'stripes at rest, in tune',
  }[f.state];
}

/** Gives the canvas as many pixels as the screen has there. */
function fitCanvas(canvas) {
  const scale = devicePixelRatio || 1;
  const width = Math.round(canvas.clientWidth * scale);
  const height = Math.round(canvas.clientHeight * scale);
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
  return { width, height, scale };
}

function loudest(list) {
  return Math.max(...list.filter((b) => b.clear).map((b) => b.level_db), -Infinity);
}

function readColours(element) {
  const style = getComputedStyle(element);
  const colour = (name) => style.getPropertyValue(name).trim();
  return {
    settling: colour('--dim'),
    flat: colour('--flat'),
    sharp: colour('--sharp'),
    'in tune': colour('--tune'),
    rest: colour('--stripe-rest'),
    line: colour('--line'),
    text: colour('--text'),
  };
}
