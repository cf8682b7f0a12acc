// What the tuner is set to, as requests about an instrument take it.

/** Tuning, reference and the plan in force. */
export function tunedAs(session) {
  const { tuning, reference, plan } = session.settings;
  return { tuning, reference, plan: plan ? plan.cents.join(',') : '' };
}
