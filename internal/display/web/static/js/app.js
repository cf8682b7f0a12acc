// Starts the page: stream, views, theme, keys.

import { Tuner } from './state.js';
import { Announcer } from './announce.js';
import { kept, keep } from './settings.js';
import { onKey } from './keys.js';
import { NO_ANSWER } from './api.js';
import { h, setError, setText } from './dom.js';
import { openHelp } from './help.js';
import { choose } from './choose.js';
import { askToStayAwake } from './awake.js';
import * as tune from './tune/view.js';

const VIEWS = {
  tune: { title: 'Tune', load: async () => tune },
  fretboard: { title: 'Fretboard', styles: ['board'], load: () => import('./board/view.js') },
  detune: { title: 'Detune', styles: ['board', 'detune'], load: () => import('./detune/view.js') },
  compare: { title: 'Compare', styles: ['board', 'compare'], load: () => import('./compare/view.js') },
  setup: { title: 'Setup', styles: ['board', 'setup'], load: () => import('./setup/view.js') },
  journal: { title: 'Journal', styles: ['board', 'journal'], load: () => import('./journal/view.js') },
};

const app = {
  tuner: new Tuner(),
  announcer: new Announcer(document.getElementById('spoken')),
  view: null, // the one shown
  awake: '', // whether the screen stays on, in words
  wanted: null, // a shape that Detune is to begin with: { frets, chord, strings } as the Fretboard found it
  say(text) {
    this.announcer.say(text);
  },
  complain,
  go,
  freeze,
  offerUndo,
  linked,
  remember,
};

const made = {}; // promises of views by name
const styled = {}; // promises of style sheets by name
const nav = document.querySelector('.views');
const main = document.getElementById('main');

for (const [name, view] of Object.entries(VIEWS)) {
  nav.append(h('a', { href: `#${name}` }, view.title));
}

/**
 * Shows what was refused, or another sentence, under the view and, if it is for the ear too, says it; an empty one
 * takes it away.
 */
function complain(what, aloud = true) {
  const text = what.message ?? what;
  setError(document.getElementById('message'), { message: text, code: what.code });
  if (text && aloud) app.say(text);
}

let parting = ''; // words that a view takes along to the next

/** Goes to a view, where words are shown. */
function go(name, words = '') {
  parting = words;
  if (asked() === name) complain(words);
  else location.hash = name;
}

const UNDO_MS = 120_000; // that the way back is offered
const undo = document.getElementById('undo');

/** Offers the way back to a session, if what it was set to has changed. */
function offerUndo(before) {
  undo.hidden = JSON.stringify(before.settings) === JSON.stringify(app.tuner.session.settings);
  const names = [
    before.instrument?.name,
    before.tuning.name,
    before.settings.plan && `plan ${before.settings.plan.name}`,
  ];
  const back = h(
    'button',
    { type: 'button', onclick: () => takeBack(before) },
    `Undo: ${names.filter(Boolean).join(' · ')}`,
  );
  undo.replaceChildren(back);
  clearTimeout(offerUndo.end);
  offerUndo.end = setTimeout(() => {
    undo.hidden = true;
  }, UNDO_MS);
}

async function takeBack({ settings }) {
  undo.hidden = true;
  try {
    await app.tuner.restore(settings);
    app.say('as before');
  } catch (err) {
    complain(err);
  }
}

/** Lets all readings of the page stand still, or go on. */
function freeze() {
  app.tuner.freeze(!app.tuner.frozen);
  app.say(app.tuner.frozen ? 'frozen' : 'going on');
}

/** Loads the module and the styles of a view, makes it, and puts it on the page. */
async function make({ load, styles = [] }) {
  const [module] = await Promise.all([load(), ...styles.map(addStyle)]);
  const view = module.create(app);
  view.element.hidden = true;
  main.append(view.element);
  return view;
}

function addStyle(name) {
  styled[name] ??= new Promise((resolve) => {
    document.head.append(h('link', { rel: 'stylesheet', href: `css/${name}.css`, onload: resolve, onerror: resolve }));
  });
  return styled[name];
}

/** The name of the view that the address asks for. */
function asked() {
  const [name] = location.hash.slice(1).split('?');
  return Object.hasOwn(VIEWS, name) ? name : 'tune';
}

/** What the address says beside the view, as in #compare?from=5. */
function linked() {
  return new URLSearchParams(location.hash.split('?')[1] ?? '');
}

/** Writes into the address what a view shows, so that a link to it can be kept. */
function remember(view, shown) {
  if (asked() !== view) return;
  const tail = new URLSearchParams(shown);
  const hash = `#${view}${tail.size ? `?${tail}` : ''}`;
  if (hash !== location.hash) history.replaceState(null, '', hash);
}

async function show() {
  const name = asked();
  for (const link of nav.children) {
    if (link.hash === `#${name}`) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  document.title = name === 'tune' ? 'tunerd' : `${VIEWS[name].title} · tunerd`;
  const view = await (made[name] ??= make(VIEWS[name]));
  if (name !== asked()) return; // the user has gone on meanwhile
  if (view === app.view) return view.show?.(); // the address says something else of it
  if (app.view) {
    app.view.hide?.();
    app.view.element.hidden = true;
  }
  app.view = view;
  view.element.hidden = false;
  complain(parting);
  parting = '';
  view.show?.();
}

window.addEventListener('hashchange', () => {
  show();
  main.focus({ preventScroll: true });
  scrollTo(0, 0);
});

const themeButton = document.getElementById('theme-button');

function setTheme(theme) {
  document.documentElement.dataset.theme = theme;
  setText(themeButton, theme === 'bench' ? 'Bright' : 'Dark');
  themeButton.setAttribute('aria-label', theme === 'bench' ? 'Bright stage colours' : 'Dark bench colours');
  paintBars();
  document.dispatchEvent(new Event('theme'));
}

/** The colour of the browser's own bars is that of the page. */
function paintBars() {
  const ground = getComputedStyle(document.documentElement).getPropertyValue('--ground').trim();
  document.querySelector('meta[name=theme-color]').content = ground;
}

function toggleTheme() {
  const theme = document.documentElement.dataset.theme === 'bench' ? 'stage' : 'bench';
  keep('theme', theme);
  setTheme(theme);
}

themeButton.addEventListener('click', toggleTheme);
setTheme(document.documentElement.dataset.theme);
document.getElementById('help-button').addEventListener('click', () => openHelp(app));

const fullButton = document.getElementById('full-button');
fullButton.hidden = !document.fullscreenEnabled; // a telephone may have no full screen

/** Fills the screen with the page, or leaves that. */
async function toggleFull() {
  try {
    if (document.fullscreenElement) await document.exitFullscreen();
    else await document.documentElement.requestFullscreen();
  } catch (err) {
    complain(`The browser does not give the full screen: ${err.message}`);
  }
}

fullButton.addEventListener('click', toggleFull);
document.addEventListener('fullscreenchange', () => {
  setText(fullButton, document.fullscreenElement ? 'Window' : 'Full screen');
});

onKey((key) => {
  if (app.view?.key?.(key)) return true;
  switch (key) {
    case '?':
      openHelp(app);
      return true;
    case 'b':
      toggleTheme();
      return true;
    case 's':
      choose(app);
      return true;
    case 'f':
      toggleFull();
      return true;
    case ' ':
      freeze();
      return true;
    case '[':
    case ']':
      neighbour(key === ']' ? 1 : -1);
      return true;
  }
  return false;
});

function neighbour(step) {
  const names = Object.keys(VIEWS);
  go(names[(names.indexOf(asked()) + step + names.length) % names.length]);
}

const link = document.getElementById('link');
const linkWord = document.getElementById('link-word');
const linkInput = document.querySelector('.link .input');

/** Says in a word what state the connection and the input are in. */
function showLink() {
  const { tuner } = app;
  link.dataset.state = tuner.link;
  const words = {
    connecting: 'connecting',
    lost: 'no connection',
    stale: 'no news',
    live: tuner.frozen ? 'frozen' : tuner.hears,
  };
  setText(linkWord, words[tuner.link]);
  setText(linkInput, tuner.session ? `· ${tuner.session.input.name.split(/[\\/]/).pop()}` : '');
}

const READ_MS = 2000; // that a word stays to be read

/** Takes away words older than ms that say that nobody answers: somebody does. */
function answered(ms) {
  const { tuner } = app;
  if (tuner.link !== 'live' || tuner.silence() > READ_MS / 2) return;
  let some = false;
  for (const el of document.querySelectorAll(`[data-code="${NO_ANSWER}"]`)) {
    if (performance.now() - el.dataset.at < ms) continue;
    setError(el, null);
    some = true;
  }
  if (some) app.view?.show?.(); // it may lack what it asked for
}

app.tuner.addEventListener('link', showLink);
app.tuner.addEventListener('link', () => answered(0));
app.tuner.addEventListener('freeze', showLink);
setInterval(() => {
  showLink();
  answered(READ_MS);
  if (kept('spoken') && asked() === 'tune' && !app.tuner.frozen) app.announcer.reading(app.tuner);
}, 200);

/** Keeps the screen of a tablet on the bench from going dark, where the browser lets a page do so. */
async function stayAwake() {
  if (document.visibilityState !== 'visible') return;
  app.awake = await askToStayAwake();
}

document.addEventListener('visibilitychange', stayAwake);
stayAwake();
app.tuner.start();
show();
