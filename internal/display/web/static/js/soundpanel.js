// What stands wherever something sounds: the volume, a stop, the caution.

import { h } from './dom.js';
import { hush, volume, CAUTION } from './sound.js';

const sliders = []; // one for each view; they go together

/** A panel with the volume of the notes and a button that ends them. */
export function soundPanel() {
  const slider = h('input', {
    type: 'range',
    min: 0,
    max: 1,
    step: 0.05,
    value: volume.get(),
    oninput: () => {
      volume.set(slider.valueAsNumber);
      for (const other of sliders) other.value = slider.value;
    },
  });
  sliders.push(slider);
  return h(
    'section',
    { class: 'panel sound', 'aria-label': 'Sound' },
    h(
      'div',
      { class: 'row' },
      h('label', { class: 'field grow' }, h('span', {}, 'Volume of the notes'), slider),
      h('button', { type: 'button', onclick: hush }, 'Stop the sound'),
    ),
    h('p', { class: 'small caution' }, CAUTION),
  );
}
