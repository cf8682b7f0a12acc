// Single-key shortcuts. They rest while text is being typed, a dialog is open, or the user has
// switched them off.

import { kept } from './settings.js';

/** What the keys do, for the help. A key means the same in every view, or nothing. */
export const keyHelp = [
  ['1 – 9, 0', 'hold this string (0 is 10)'],
  ['n  p', 'hold the next, the previous string'],
  ['a  Esc', 'let go: nearest string or note again'],
  ['Space', 'freeze all readings, go on'],
  ['y', 'what sounds is the held string: follow it'],
  ['x', 'rows of the strobe: this string, or exact harmonics'],
  ['c', 'clear the readings'],
  ['l', 'every string, or one note'],
  ['m', 'all strings together, or one note'],
  ['s', 'choose instrument, tuning, reference, plan'],
  ['b', 'dark bench, bright stage'],
  ['f', 'full screen, window'],
  ['[  ]', 'previous, next view'],
  ['r', 'check in Setup: this note once more'],
  ['u', 'check in Setup: the note before'],
  ['g', 'check in Setup: good enough'],
  ['k', 'check in Setup: skip the note'],
  ['?', 'these keys'],
];

/** Calls act(key) for every plain key press that is meant as a shortcut; true means it was one. */
export function onKey(act) {
  document.addEventListener('keydown', (e) => {
    if (e.defaultPrevented || e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
    if (!kept('shortcuts') || document.querySelector('dialog[open]')) return;
    const at = e.target;
    // A field of a dialog that has just been closed may keep the focus for one picture more.
    if (at.closest?.('input:not([type="checkbox"], [type="range"]), select, textarea')?.checkVisibility()) return;
    // Space belongs to what has the focus, if that takes it.
    if (e.key === ' ' && at.closest?.('button, a, input, [tabindex="0"]')) return;
    if (act(e.key)) e.preventDefault();
  });
}
