// The help: keys, signs, and the switches of this page.

import { h } from './dom.js';
import { keyHelp } from './keys.js';
import { kept, keep, moving } from './settings.js';

let dialog = null;

/** Opens the help. */
export function openHelp() {
  dialog ??= make();
  dialog.showModal();
}

function make() {
  const keys = keyHelp.flatMap(([names, does]) => [
    h('dt', {}, ...names.split(/  +/).flatMap((name, i) => [i ? ' ' : '', h('kbd', {}, name)])),
    h('dd', {}, does),
  ]);
  const el = h('dialog', { 'aria-labelledby': 'help-title' },
    h('div', { class: 'body' },
      h('h1', { id: 'help-title' }, 'Keys and signs'),
      h('dl', { class: 'keys' }, keys),
      h('p', { class: 'dim' }, 'Stripes move right: sharp. Left: flat. At rest: in tune. ',
        '▸ sounds now, ■ is held. ± is one standard uncertainty.'),
      toggle('Single keys work', () => kept('shortcuts'), (on) => keep('shortcuts', on)),
      toggle('Stripes move', moving, (on) => keep('motion', on)),
      toggle('Readings are spoken to screen readers', () => kept('spoken'), (on) => keep('spoken', on)),
      h('div', { class: 'actions' }, h('button', { class: 'main', type: 'button', onclick: () => el.close() }, 'Close'))));
  document.body.append(el);
  return el;
}

function toggle(text, now, set) {
  return h('label', { class: 'choice' },
    h('input', { type: 'checkbox', checked: now(), onchange: (e) => set(e.target.checked) }), text);
}
