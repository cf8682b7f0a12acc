// Numbers as people read them, by the same rules as the terminal: the digits follow the
// uncertainty. What is not known is "?".

/** How many decimals a value of standard uncertainty sigma deserves, 0 to most. */
export function decimals(sigma, unknown, most) {
  let n = unknown;
  if (known(sigma)) {
    n = -Math.floor(Math.log10(sigma));
    if (sigma * 10 ** n >= 9.5) n--; // rounds up to the next power of ten: 0.096 is ±0.1
  }
  return Math.min(Math.max(n, 0), most);
}

/** A deviation in cents with its sign: "+1.2" for 1.2374 ± 0.3. */
export function cents(value, sigma, most = 3) {
  return signed(value, decimals(sigma, 1, most));
}

/** A deviation in large figures: at most two decimals below 10 cents, one below 100, none above. */
export function bigCents(value, sigma) {
  const size = Math.abs(value);
  const most = size < 9.95 ? 2 : size < 99.5 ? 1 : 0;
  return signed(value, Math.max(decimals(sigma, 1, most), Math.min(most, 1)));
}

/** A standard uncertainty in cents with one significant digit. */
export function sigmaText(sigma) {
  if (!known(sigma)) return '?';
  const digits = decimals(sigma, 1, 3);
  return Math.max(sigma, 10 ** -digits).toFixed(digits);
}

/** A frequency in Hz known to sigma cents. */
export function hz(value, sigma) {
  if (!Number.isFinite(value)) return '?';
  return value.toFixed(Math.max(decimals(hzSigma(value, sigma), 2, 4), 1));
}

/** The rate of a beat against a note of hz that is known to sigma cents. */
export function beat(rate, hertz, sigma) {
  return signed(rate, decimals(hzSigma(hertz, sigma), 2, 4));
}

/** A beat rate without a sign and, for a slow one, how long it lasts. */
export function beatText(rate, hertz, sigma) {
  const size = Math.abs(rate);
  const text = beat(rate, hertz, sigma).replace(/^[+−]/, '') + ' Hz';
  return size >= 0.01 && size < 1 ? `${text}, ${(1 / size).toFixed(0)} s` : text;
}

/** A number with its sign; what rounds to nothing has none. */
export function signed(value, digits) {
  if (!Number.isFinite(value)) return '?';
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return text;
  return (value < 0 ? '−' : '+') + text;
}

/** How long ago: "now", "12 s", "3 min". */
export function age(seconds) {
  if (!(seconds >= 1)) return 'now';
  if (seconds < 100) return `${Math.floor(seconds)} s`;
  if (seconds < 6000) return `${Math.floor(seconds / 60)} min`;
  if (seconds < 48 * 3600) return `${Math.floor(seconds / 3600)} h`;
  return `${Math.floor(seconds / 86400)} d`;
}

/** Cents from one frequency to another: 1200·log2(hz/from). */
export function centsBetween(hertz, from) {
  return 1200 * Math.log2(hertz / from);
}

/** The label of a note in parts: letter with its signs, octave, and steps beside the letter. */
export function noteParts(label) {
  const m = /^([A-G])([#b]*)(-?\d+)?(?: ([+-]\d+))?$/.exec(label);
  if (!m) return { name: label, octave: '', steps: '' };
  return {
    name: m[1] + m[2].replaceAll('#', '♯').replaceAll('b', '♭'),
    octave: (m[3] ?? '').replace('-', '−'),
    steps: (m[4] ?? '').replace('-', '−'),
  };
}

/** The label of a note with proper signs: "F♯4 −1". */
export function noteText(label) {
  const p = noteParts(label);
  return p.name + p.octave + (p.steps && ` ${p.steps}`);
}

/** The label of a note as it is said aloud. */
export function noteSpoken(label) {
  return noteText(label)
    .replace('♯', ' sharp ')
    .replace('♭', ' flat ')
    .replace(/ ([+−])(\d+)$/, (_, sign, n) => `, ${n} step${n === '1' ? '' : 's'} ${sign === '+' ? 'up' : 'down'}`)
    .replace(/\s+/g, ' ');
}

function hzSigma(hertz, sigma) {
  return ((hertz * Math.LN2) / 1200) * sigma;
}

function known(sigma) {
  return sigma > 0 && sigma !== Infinity;
}

/** Why what sounds is not taken for the held string: the same words as in the terminal. */
export function doubtText(f) {
  const name = (t) => `string ${t.string} (${t.label})`;
  if (f.seems)
    return `sounds like ${name(f.seems)}, ${signed(f.seems.cents, 0)} cents from it; held is ${name(f.target)}`;
  const off = `${Math.abs(f.cents).toFixed(0)} cents ${f.cents < 0 ? 'below' : 'above'}`;
  return `${off} ${name(f.target)}, which is held: is it that string?`;
}
