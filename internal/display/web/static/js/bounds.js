// What the numbers of forms may be, as the server has it.

import { get } from './api.js';

let told = null; // a promise of the server's bounds

/** What a number may be, { least, most } by the server's name of the bound; null while it is not known. */
export async function boundOf(name) {
  told ??= get('api/bounds');
  try {
    return (await told)[name];
  } catch {
    told = null; // the next who asks tries again
    return null;
  }
}

/** Sets up number fields: fields by the server's name of the bound. */
export async function bind(fields) {
  for (const [name, list] of Object.entries(fields)) {
    const bound = await boundOf(name);
    if (!bound) return; // the server refuses by itself what is out of bounds
    for (const field of [list].flat()) [field.min, field.max] = [bound.least, bound.most];
  }
}
