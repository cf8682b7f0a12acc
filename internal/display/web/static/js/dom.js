// Small functions to make and change elements.

const SVG = 'http://www.w3.org/2000/svg';

/**
 * Makes an HTML element. Keys of props: `on…` adds a listener, `class` and names with a dash set
 * attributes, a `dataset` object sets data attributes, everything else is set as a property.
 * Children are nodes or texts; null and false are left out.
 */
export function h(tag, props = {}, ...children) {
  const el = document.createElement(tag);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null) continue;
    if (key.startsWith('on')) el.addEventListener(key.slice(2), value);
    else if (key === 'class') el.className = value;
    else if (key === 'dataset') Object.assign(el.dataset, value);
    else if (key.includes('-') || key === 'role' || key === 'for' || key === 'list') el.setAttribute(key, value);
    else el[key] = value;
  }
  el.append(...present(children));
  return el;
}

/** Makes an SVG element; props are attributes, `on…` adds a listener. */
export function s(tag, props = {}, ...children) {
  const el = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null) continue;
    if (key.startsWith('on')) el.addEventListener(key.slice(2), value);
    else el.setAttribute(key, value);
  }
  el.append(...present(children));
  return el;
}

function present(children) {
  return children.flat().filter((c) => c !== null && c !== undefined && c !== false);
}

/** A text for screen readers only. */
export function unseen(text) {
  return h('span', { class: 'unseen' }, text);
}

/** A table that may be wider than the page: its box scrolls, also by keys. */
export function wideTable(name, ...parts) {
  return h('div', { class: 'scroll', tabIndex: 0, role: 'group', 'aria-label': name }, h('table', {}, ...parts));
}

/** Sets the text of an element if it is another one: nothing is laid out afresh for no change. */
export function setText(el, text) {
  if (el.textContent !== text) el.textContent = text;
}

/** Says what went wrong, with its code, so that it can be taken away when it is no longer true; null says nothing. */
export function setError(el, err) {
  setText(el, err?.message ?? '');
  el.dataset.code = err?.code ?? '';
  el.dataset.at = performance.now();
}

/** How many px a rem has, over the usual 16: drawings grow with the text. */
export function textScale() {
  return parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
}

/** Sets an attribute if it is another one; null takes it away. */
export function setAttr(el, name, value) {
  if (value === null) el.removeAttribute(name);
  else if (el.getAttribute(name) !== String(value)) el.setAttribute(name, value);
}

/** Sets a class on or off. */
export function setClass(el, name, on) {
  el.classList.toggle(name, Boolean(on));
}

/** Calls f after quiet milliseconds without another call. */
export function debounce(quiet, f) {
  let timer = 0;
  return (...args) => {
    clearTimeout(timer);
    timer = setTimeout(f, quiet, ...args);
  };
}
