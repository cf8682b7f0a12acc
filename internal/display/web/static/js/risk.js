// What targets mean for the strings: the caution, and the question before one goes beyond the limit.

import { h, setText } from './dom.js';

const ACCEPT = 'I accept that a string comes near to breaking';

/** A box to accept a risk in words. */
export function acceptBox(props) {
  const box = h('input', { type: 'checkbox', name: 'risk', ...props });
  return { box, label: h('label', { class: 'choice' }, box, ACCEPT) };
}

/**
 * Changes what the tuner is set to. What the server refuses because it would bring a string near to
 * breaking is asked about, and done if it is accepted. Returns whether it was done; it can be undone then.
 */
export async function retarget(app, settings) {
  const before = app.tuner.session;
  try {
    await app.tuner.set(settings);
  } catch (err) {
    if (err.code !== 'risk') throw err;
    if (!(await accepts(err.message))) return false;
    await app.tuner.set({ ...settings, accept_risk: true });
  }
  app.offerUndo(before);
  return true;
}

let parts = null;

/** Asks, and returns whether the risk is accepted. */
function accepts(words) {
  parts ??= make();
  const { dialog, said, box, go } = parts;
  setText(said, words);
  box.checked = false;
  go.disabled = true;
  dialog.returnValue = '';
  dialog.showModal();
  return new Promise((answer) => {
    dialog.addEventListener('close', () => answer(dialog.returnValue === 'accepted'), { once: true });
  });
}

function make() {
  const said = h('p', {});
  const go = h('button', { class: 'main', value: 'accepted', disabled: true }, 'Tune to it all the same');
  const { box, label } = acceptBox({
    onchange: () => {
      go.disabled = !box.checked;
    },
  });
  const dialog = h(
    'dialog',
    { 'aria-labelledby': 'risk-title' },
    h(
      'form',
      { method: 'dialog' },
      h('h1', { id: 'risk-title' }, 'Near to breaking'),
      said,
      h(
        'p',
        { class: 'caution' },
        "Wear eye protection. The maker's and a licensed technician's word stands above these figures.",
      ),
      label,
      h('div', { class: 'actions' }, h('button', { type: 'button', onclick: () => dialog.close() }, 'Cancel'), go),
    ),
  );
  document.body.append(dialog);
  return { dialog, said, box, go };
}

/** What the targets in force mean for the strings: its first sentence, and the rest to unfold. */
export class Cautions {
  constructor() {
    this.first = h('summary', {});
    this.rest = h('ul', { class: 'cautions' });
    this.element = h('details', { class: 'caution folded', hidden: true }, this.first, this.rest);
  }

  show(list) {
    this.element.hidden = list.length === 0;
    setText(this.first, list[0] ?? '');
    this.rest.replaceChildren(...list.slice(1).map((text) => h('li', {}, text)));
  }
}
