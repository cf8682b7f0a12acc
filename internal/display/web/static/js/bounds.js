// What the numbers of forms may be, as the server has it.

import { get } from './api.js';

let told = null; // a promise of the server's bounds

/** Sets up number fields: fields by the server's name of the bound. */
export async function bind(fields) {
  told ??= get('api/bounds');
  try {
    const bounds = await told;
    for (const [name, list] of Object.entries(fields)) {
      for (const field of [list].flat()) [field.min, field.max] = [bounds[name].least, bounds[name].most];
    }
  } catch {
    told = null; // the server refuses by itself what is out of bounds; the next form asks again
  }
}
