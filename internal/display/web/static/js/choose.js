// The dialog in which instrument, tuning, reference and plan are chosen.

import { h, setError } from './dom.js';
import { get } from './api.js';
import { plansOf, settingsOf } from './plans.js';
import { retarget } from './risk.js';

let parts = null;

/** Opens the dialog. */
export async function choose(app) {
  parts ??= make(app);
  setError(parts.error, null);
  setSure(parts, false);
  parts.instrument.disabled = true; // what is chosen before it is filled would be lost
  parts.dialog.showModal();
  try {
    await fill(parts, app.tuner.session);
    parts.instrument.disabled = false;
  } catch (err) {
    setError(parts.error, err);
  }
}

function make(app) {
  const p = {
    instrument: h('select', { name: 'instrument' }),
    tuning: h('input', { name: 'tuning', list: 'tunings', autocomplete: 'off', spellcheck: false }),
    tunings: h('datalist', { id: 'tunings' }),
    reference: h('input', { name: 'reference', autocomplete: 'off', spellcheck: false, placeholder: 'A4=440' }),
    plan: h('select', { name: 'plan' }),
    frets: h('input', { type: 'checkbox', name: 'frets' }),
    error: h('p', { class: 'error', role: 'alert' }),
    go: h('button', { class: 'main' }, 'Tune to this'),
    sure: false, // that a check under way may end
  };
  const cancel = h('button', { type: 'button', onclick: () => p.dialog.close() }, 'Cancel');
  p.form = h(
    'form',
    {
      method: 'dialog',
      onsubmit: (e) => {
        e.preventDefault();
        submit(app, p);
      },
    },
    h('h1', { id: 'choose-title' }, 'What are you tuning?'),
    field('Instrument', p.instrument),
    h(
      'div',
      { class: 'pair' },
      field('Tuning', p.tuning, 'Empty: that of the instrument, or 12edo. 31edo, 13ed3, 4:5:6:7, werckmeister-3 …'),
      field('Reference', p.reference, 'A note and its pitch in Hz: A4=440'),
    ),
    p.tunings,
    field('Plan', p.plan, 'Cents for each open string, from Detune'),
    h('label', { class: 'choice' }, p.frets, 'Fretted notes count, too'),
    p.error,
    h('div', { class: 'actions' }, cancel, p.go),
  );
  p.dialog = h('dialog', { 'aria-labelledby': 'choose-title' }, p.form);
  p.instrument.addEventListener('change', () => {
    offerFrets(p);
    p.tuning.value = p.reference.value = '';
    fillPlans(p);
    setError(p.error, null);
    setSure(p, false);
  });
  document.body.append(p.dialog);
  return p;
}

function field(name, input, hint) {
  const id = `hint-${input.name}`;
  if (hint) input.setAttribute('aria-describedby', id);
  return h(
    'div',
    {},
    h('label', { class: 'field' }, h('span', {}, name), input),
    hint && h('p', { class: 'dim small', id }, hint),
  );
}

async function fill(p, session) {
  const now = session?.settings ?? {};
  p.tuning.value = now.tuning ?? '';
  p.reference.value = now.reference ?? '';
  p.frets.checked = now.frets ?? false;
  p.now = now;
  const [{ instruments }, { tunings }] = await Promise.all([get('api/instruments'), get('api/tunings')]);
  p.instrument.replaceChildren(
    h('option', { value: '' }, 'none: any note of the tuning'),
    ...instruments.map((i) => h('option', { value: i.id }, `${i.name} · ${i.strings} strings`)),
  );
  p.instrument.value = now.instrument ?? '';
  offerFrets(p);
  fillPlans(p);
  p.tunings.replaceChildren(...tunings.map((t) => h('option', { value: t.spec }, t.about)));
}

/** Frets are an instrument's. */
function offerFrets(p) {
  p.frets.disabled = p.instrument.value === '';
  p.frets.checked &&= !p.frets.disabled;
}

/** Offers the plan that is in force, those that were kept for the instrument, and none. */
function fillPlans(p) {
  const same = p.now?.instrument === p.instrument.value;
  p.kept = plansOf(p.instrument.value);
  p.plan.replaceChildren(
    h('option', { value: '' }, 'none'),
    ...(same && p.now.plan ? [h('option', { value: 'now', selected: true }, p.now.plan.name)] : []),
    ...p.kept.map((plan, i) => h('option', { value: i }, `${plan.name} · kept`)),
  );
  p.plan.disabled = p.plan.length === 1;
}

/** What the chosen plan sets; one that was kept brings the tuning along that it counts from. */
function planOf(p) {
  if (p.plan.value === '') return { plan: null };
  if (p.plan.value === 'now') return { plan: p.now.plan };
  return settingsOf(p.instrument.value, p.kept[Number(p.plan.value)]);
}

async function submit(app, p) {
  try {
    const done = await retarget(app, {
      instrument: p.instrument.value,
      tuning: p.tuning.value.trim(),
      reference: p.reference.value.trim(),
      frets: p.frets.checked,
      string: 0,
      ...planOf(p),
      end_check: p.sure,
    });
    if (done) p.dialog.close();
  } catch (err) {
    if (err.code === 'check') await ask(p, err);
    else setError(p.error, err);
  }
}

/** Asks before a check is ended, and its readings with it; the second press does it. */
async function ask(p, refused) {
  try {
    const { name, done, of } = await get('api/setup');
    setError(p.error, {
      ...refused,
      message:
        `A check of ${name} is under way, ${done} of ${of} notes. ` +
        'With another instrument it ends, and its readings are forgotten.',
    });
    setSure(p, true);
  } catch (err) {
    setError(p.error, err);
  }
}

/** Whether the next press may end a check. */
function setSure(p, sure) {
  p.sure = sure;
  p.go.textContent = sure ? 'End the check, tune to this' : 'Tune to this';
}
