// What this browser remembers: the look and the behaviour of the page, not of the tuner.

const STANDARD = { theme: null, motion: null, shortcuts: true, spoken: true, face: 'strobe', volume: 0.25 };

/** Reads a setting. */
export function kept(name) {
  try {
    const text = localStorage.getItem(`tunerd.${name}`);
    return text === null ? STANDARD[name] : name === 'theme' ? text : JSON.parse(text);
  } catch {
    return STANDARD[name];
  }
}

/** Keeps a setting; null forgets it. */
export function keep(name, value) {
  try {
    if (value === null) localStorage.removeItem(`tunerd.${name}`);
    else localStorage.setItem(`tunerd.${name}`, name === 'theme' ? value : JSON.stringify(value));
  } catch {
    /* private window: it lasts as long as the page */
  }
}

const still = matchMedia('(prefers-reduced-motion: reduce)');

/** Whether the strobe may move: the user's word here, else that of the system. */
export function moving() {
  return kept('motion') ?? !still.matches;
}
