// The help: keys, signs, and the switches of this page.

import { send } from './api.js';
import { h, setText } from './dom.js';
import { keyHelp } from './keys.js';
import { kept, keep, moving } from './settings.js';

let dialog = null;

/** Opens the help. */
export function openHelp(app) {
  dialog ??= make(app);
  dialog.querySelector('.leave').hidden = !app.tuner.guarded;
  setText(dialog.querySelector('.awake'), app.awake);
  dialog.showModal();
  dialog.querySelector('h1').focus(); // not the first switch, far below the keys
  dialog.scrollTop = 0;
}

function make(app) {
  const keys = keyHelp.flatMap(([names, does]) => [
    h('dt', {}, ...names.split(/  +/).flatMap((name, i) => [i ? ' ' : '', h('kbd', {}, name)])),
    h('dd', {}, does),
  ]);
  const el = h(
    'dialog',
    { 'aria-labelledby': 'help-title' },
    h(
      'div',
      { class: 'body' },
      h('h1', { id: 'help-title', tabIndex: -1 }, 'Keys and signs'),
      h('dl', { class: 'keys' }, keys),
      h(
        'p',
        { class: 'dim' },
        'Stripes move right: sharp. Left: flat. At rest: in tune. ',
        '▸ sounds now, ■ is held. ± is one standard uncertainty.',
      ),
      toggle(
        'Single keys work',
        () => kept('shortcuts'),
        (on) => keep('shortcuts', on),
      ),
      toggle('Stripes move', moving, (on) => keep('motion', on)),
      toggle(
        'Readings are spoken to screen readers',
        () => kept('spoken'),
        (on) => keep('spoken', on),
      ),
      h('p', { class: 'dim awake' }),
      h(
        'div',
        { class: 'actions' },
        h('button', { class: 'leave', type: 'button', onclick: () => leave(app, el) }, 'Let this browser in no longer'),
        h('button', { class: 'main', type: 'button', onclick: () => el.close() }, 'Close'),
      ),
    ),
  );
  document.body.append(el);
  return el;
}

/** Ends the session of this browser: the link with the token lets it in again. */
async function leave(app, el) {
  app.tuner.stop(); // else it asks for the stream once more, and is refused
  try {
    await send('DELETE', 'api/access');
    app.complain('This browser is let in no longer. The link that tunerd has printed lets it in again.');
  } catch (err) {
    app.tuner.resume();
    app.complain(err);
  }
  el.close();
}

function toggle(text, now, set) {
  return h(
    'label',
    { class: 'choice' },
    h('input', { type: 'checkbox', checked: now(), onchange: (e) => set(e.target.checked) }),
    text,
  );
}
