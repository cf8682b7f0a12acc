// The nearest simple ratio of an interval, as the tuner itself finds it: of all n/m whose odd parts
// are at most the limit, any octave, the nearest.

const LIMIT = 15;
const ratios = list(LIMIT);

/** The ratio nearest to cents and how far cents is off it: { ratio, off }. */
export function nearestRatio(cents) {
  const octave = Math.floor(cents / 1200);
  let best = null;
  for (const r of ratios) {
    for (const o of [octave - 1, octave, octave + 1]) {
      const off = cents - r.cents - 1200 * o;
      if (!best || Math.abs(off) < Math.abs(best.off) - 1e-9) best = { n: r.n, m: r.m, o, off };
    }
  }
  return { ratio: text(best), off: best.off };
}

function text({ n, m, o }) {
  const [a, b] = o >= 0 ? [n * 2 ** o, m] : [n, m * 2 ** -o];
  const d = gcd(a, b);
  return `${a / d}/${b / d}`;
}

/** All ratios from 1/1 up to 2/1 of odd numbers up to the limit, simplest first. */
function list(limit) {
  const found = [];
  for (let n = 1; n <= limit; n += 2) {
    for (let m = 1; m <= limit; m += 2) {
      if (gcd(n, m) !== 1) continue;
      const o = -Math.floor(Math.log2(n / m));
      found.push({ n: o > 0 ? n * 2 ** o : n, m: o < 0 ? m * 2 ** -o : m });
    }
  }
  for (const r of found) r.cents = 1200 * Math.log2(r.n / r.m);
  return found.sort((a, b) => a.n * a.m - b.n * b.m);
}

function gcd(a, b) {
  return b ? gcd(b, a % b) : a;
}
