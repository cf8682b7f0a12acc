// Plans that this browser keeps, by instrument: they survive a reload and a restart of the tuner.

const PLACE = 'tunerd.plans';
const MOST = 100; // of an instrument

function all() {
  try {
    return JSON.parse(localStorage.getItem(PLACE)) ?? {};
  } catch {
    return {}; // a private window, or not ours
  }
}

/** The plans of an instrument, the newest first, each { name, tuning, reference, cents }. */
export function plansOf(instrument) {
  const list = all()[instrument];
  return Array.isArray(list) ? list : [];
}

/** Keeps a plan in place of one of the same name; whether the browser has taken it. */
export function keepPlan(instrument, plan) {
  const others = plansOf(instrument).filter((p) => p.name !== plan.name);
  return store(instrument, [plan, ...others].slice(0, MOST));
}

/** Forgets the plan of that name. */
export function forgetPlan(instrument, name) {
  return store(
    instrument,
    plansOf(instrument).filter((p) => p.name !== name),
  );
}

function store(instrument, list) {
  try {
    localStorage.setItem(PLACE, JSON.stringify({ ...all(), [instrument]: list }));
    return true;
  } catch {
    return false;
  }
}

/** What the tuner is to be set to for a plan. */
export function settingsOf(instrument, { name, tuning, reference, cents }) {
  return { instrument, tuning, reference, plan: { name, cents } };
}
