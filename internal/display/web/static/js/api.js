// The JSON API of the server.

/** The code of what was not answered at all. */
export const NO_ANSWER = 'no_answer';

/** What the server refused, in its own words; code is the kind, to be tested for. */
export class Refused extends Error {
  constructor(text, code = '') {
    super(text);
    this.code = code;
  }
}

/** GET path with the query; keys with a list are repeated, empty ones left out. */
export function get(path, query = {}) {
  const q = new URLSearchParams();
  for (const [key, value] of Object.entries(query)) {
    for (const v of [value].flat()) if (v !== '' && v !== null && v !== undefined) q.append(key, v);
  }
  const tail = q.size ? `?${q}` : '';
  return ask(path + tail, {});
}

/** Sends a body with another method. */
export function send(method, path, body = {}) {
  return ask(path, { method, headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
}

const PATIENCE_S = 20; // for an answer

async function ask(path, options) {
  let answer;
  try {
    answer = await fetch(path, { ...options, signal: AbortSignal.timeout(1000 * PATIENCE_S) });
  } catch (err) {
    const late = err.name === 'TimeoutError';
    throw new Refused(
      late ? `the tuner has not answered for ${PATIENCE_S} s` : 'the tuner does not answer: is it still running?',
      NO_ANSWER,
    );
  }
  const body = await answer.json().catch(() => null);
  if (!answer.ok) throw new Refused(body?.error ?? `${path}: ${answer.status} ${answer.statusText}`, body?.code);
  return body;
}
