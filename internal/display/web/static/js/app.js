// Starts the page: stream, views, theme, keys.

import { Tuner } from './state.js';
import { Announcer } from './announce.js';
import { kept, keep } from './settings.js';
import { onKey } from './keys.js';
import { h, setText } from './dom.js';
import { openHelp } from './help.js';
import { choose } from './choose.js';
import * as tune from './tune/view.js';

const VIEWS = {
  tune: { title: 'Tune', load: async () => tune },
  fretboard: { title: 'Fretboard', load: () => import('./board/view.js') },
  detune: { title: 'Detune', load: () => import('./detune/view.js') },
  compare: { title: 'Compare', load: () => import('./compare/view.js') },
};

const app = {
  tuner: new Tuner(),
  announcer: new Announcer(document.getElementById('spoken')),
  view: null, // the one shown
  say(text) { this.announcer.say(text); },
  complain, go,
};

const made = {}; // views by name
const nav = document.querySelector('.views');
const main = document.getElementById('main');

for (const [name, view] of Object.entries(VIEWS)) {
  nav.append(h('a', { href: `#${name}` }, view.title));
}

/** Shows a sentence under the view and says it; an empty one takes it away. */
function complain(text) {
  setText(document.getElementById('message'), text);
  if (text) app.say(text);
}

/** Goes to a view. */
function go(name) {
  location.hash = name;
}

async function show() {
  const name = location.hash.slice(1) in VIEWS ? location.hash.slice(1) : 'tune';
  for (const link of nav.children) {
    if (link.hash === `#${name}`) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  document.title = name === 'tune' ? 'tunerd' : `${VIEWS[name].title} · tunerd`;
  if (!made[name]) {
    made[name] = (await VIEWS[name].load()).create(app);
    main.append(made[name].element);
  }
  app.view?.hide?.();
  for (const view of Object.values(made)) view.element.hidden = view !== made[name];
  app.view = made[name];
  app.name = name;
  complain('');
  app.view.show?.();
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
  document.dispatchEvent(new Event('theme'));
}

function toggleTheme() {
  const theme = document.documentElement.dataset.theme === 'bench' ? 'stage' : 'bench';
  keep('theme', theme);
  setTheme(theme);
}

themeButton.addEventListener('click', toggleTheme);
setTheme(document.documentElement.dataset.theme);
document.getElementById('help-button').addEventListener('click', openHelp);

onKey((key) => {
  switch (key) {
    case '?': openHelp(); return true;
    case 'b': toggleTheme(); return true;
    case 's': choose(app); return true;
    case '[': case ']': neighbour(key === ']' ? 1 : -1); return true;
  }
  return app.view?.key?.(key) ?? false;
});

function neighbour(step) {
  const names = Object.keys(VIEWS);
  go(names[(names.indexOf(app.name) + step + names.length) % names.length]);
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
    live: tuner.hears,
  };
  setText(linkWord, words[tuner.link]);
  setText(linkInput, tuner.session ? `· ${tuner.session.input.name}` : '');
}

app.tuner.addEventListener('link', showLink);
setInterval(() => {
  showLink();
  if (kept('spoken') && app.name === 'tune') app.announcer.reading(app.tuner);
}, 200);

app.tuner.start();
show();
