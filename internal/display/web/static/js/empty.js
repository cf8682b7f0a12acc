// What stands in place of a view that needs an instrument.

import { h } from './dom.js';
import { choose } from './choose.js';

/** A panel that says that no instrument is chosen, with the way to one. */
export function noInstrument(app) {
  return h(
    'div',
    { class: 'panel empty', hidden: true },
    h('p', {}, 'No instrument is chosen.'),
    h('button', { type: 'button', onclick: () => choose(app) }, 'Choose an instrument'),
  );
}
