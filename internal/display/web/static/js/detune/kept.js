// The plans that were kept for an instrument: to keep one under a name, to tune to one, to forget one.

import { h, setError, setText } from '../dom.js';
import { signed } from '../format.js';
import { forgetPlan, keepPlan, plansOf, settingsOf } from '../plans.js';
import { retarget } from '../risk.js';

const MOST_NAME = 120; // characters, as the server has it

/** The panel; plan() gives the plan that is shown, or null, with the tuning it counts from. */
export class KeptPlans {
  #app;
  #instrument = '';

  constructor(app, plan) {
    this.#app = app;
    this.plan = plan;
    this.name = h('input', { name: 'plan', maxLength: MOST_NAME, autocomplete: 'off', placeholder: 'its name' });
    this.button = h('button', {}, 'Keep this plan');
    this.status = h('p', { class: 'error', role: 'alert' });
    this.list = h('ul', { class: 'kept-plans' });
    const keep = (e) => {
      e.preventDefault();
      this.#keep();
    };
    this.element = h(
      'section',
      { class: 'panel', 'aria-label': 'Kept plans' },
      h('h2', {}, 'Kept plans'),
      h(
        'form',
        { class: 'row', onsubmit: keep },
        h('label', { class: 'field grow' }, h('span', {}, 'Name of the plan above'), this.name),
        this.button,
      ),
      this.status,
      this.list,
      h('p', { class: 'dim small' }, 'This browser keeps them for the instrument. They can also be chosen in Tune.'),
    );
  }

  /** Shows the plans of an instrument. */
  show(instrument) {
    this.#instrument = instrument;
    this.list.replaceChildren(...plansOf(instrument).map((plan) => this.#item(plan)));
  }

  /** Offers to keep a plan, or not. */
  offer(plan) {
    this.button.disabled = !plan;
    this.name.placeholder = plan?.plan.name || 'its name';
  }

  #keep() {
    const made = this.plan();
    if (!made) return;
    const name = this.name.value.trim() || made.name || 'plan';
    const done = keepPlan(this.#instrument, { ...made, name });
    setError(this.status, done ? null : { message: 'This browser keeps nothing, as in a private window.' });
    if (!done) return;
    this.name.value = '';
    this.show(this.#instrument);
    this.#app.say(`plan ${name} kept`);
  }

  #item(plan) {
    const remove = h('button', { type: 'button', onclick: () => this.#forget(remove, plan) }, 'Forget');
    const cents = plan.cents.map((c) => signed(c, 1)).join(' ');
    return h(
      'li',
      {},
      h('span', {}, h('strong', {}, plan.name), h('span', { class: 'dim small tab' }, ` ${plan.tuning} ${cents}`)),
      h('button', { type: 'button', onclick: () => this.#tune(plan) }, 'Tune to it'),
      remove,
    );
  }

  /** Forgets at the second press. */
  #forget(button, plan) {
    if (!button.dataset.sure) {
      button.dataset.sure = 'yes';
      setText(button, 'Forget for good');
      return;
    }
    forgetPlan(this.#instrument, plan.name);
    this.show(this.#instrument);
  }

  async #tune(plan) {
    try {
      setError(this.status, null);
      if (await retarget(this.#app, settingsOf(this.#instrument, plan))) this.#app.go('tune');
    } catch (err) {
      setError(this.status, err);
    }
  }
}
