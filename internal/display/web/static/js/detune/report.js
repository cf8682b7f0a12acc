// What a plan does to chords, in tables.

import { h, wideTable } from '../dom.js';
import { signed } from '../format.js';

const LISTED = 12;
const SHORT = 12; // strings whose frets stand on one line

/** The pairs of a chord that was to be pure, before and after. */
export function chordTable(chord) {
  return wideTable(
    `Pairs of ${chord.chord}`,
    h('caption', {}, `${chord.chord}: worst pair ${off(chord.worst_before)} → ${off(chord.worst_after)} cents`),
    head(['strings', 'ratio', 'cents', 'beats Hz', 'partials']),
    h(
      'tbody',
      {},
      chord.pairs.map((p) =>
        h(
          'tr',
          {},
          h('th', { scope: 'row' }, `${p.low} and ${p.high}`),
          h('td', {}, p.ratio),
          h('td', {}, change(signed(p.cents_before, 1), signed(p.cents_after, 1))),
          h('td', {}, change(rate(p.beat_before), rate(p.beat_after))),
          h('td', {}, p.low_partial ? `${p.low_partial} and ${p.high_partial}` : '–'),
        ),
      ),
    ),
  );
}

/** What other chords lose or gain. */
export function otherTable(rest, total) {
  const shown = rest.slice(0, LISTED);
  return wideTable(
    'Other chords',
    h('caption', {}, total > LISTED ? `The ${LISTED} of ${total} that lose most` : 'Those that lose most first'),
    head(['frets', 'chord', 'worst pair, cents', 'fastest beat, Hz', '']),
    h(
      'tbody',
      {},
      shown.map((c) =>
        h(
          'tr',
          {},
          h(
            'th',
            { scope: 'row', class: c.frets.length > SHORT ? 'tab' : 'tab short' },
            [...c.frets]
              .reverse()
              .map((f) => (f < 0 ? 'x' : f))
              .join(' '),
          ),
          h('td', {}, c.ratios),
          h('td', {}, change(off(c.worst_before), off(c.worst_after))),
          h('td', {}, change(rate(c.fastest_beat_before), rate(c.fastest_beat_after))),
          h('td', {}, verdict(c)),
        ),
      ),
    ),
  );
}

function head(names) {
  return h(
    'thead',
    {},
    h(
      'tr',
      {},
      names.map((t) => h(t ? 'th' : 'td', t ? { scope: 'col' } : {}, t)),
    ),
  );
}

function change(before, after) {
  return [h('span', { class: 'dim' }, `${before} → `), h('strong', {}, after)];
}

function verdict(c) {
  return Math.abs(c.loss_cents) < 0.05 ? 'as before' : c.loss_cents > 0 ? 'worse' : 'purer';
}

function off(cents) {
  return Number.isFinite(cents) ? cents.toFixed(1) : '–';
}

function rate(hz) {
  return hz === null || hz === undefined ? '–' : Math.abs(hz).toFixed(2);
}
