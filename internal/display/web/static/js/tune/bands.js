// The look of one strobe band. All of it is a pure function of what was measured and of the time.
// Proportions as in the terminal: stripes of partial k are 1/√k as far apart as those of partial 1,
// so a higher band is finer and also moves faster for the same error.

const LIGHT = 0.42; // of a period
export const STALE_S = 0.25; // s without a frame after which the pattern stops: it would be invention

/** Width in px of one period of partial k in a band of width px. */
export function period(width, k) {
  const first = Math.min(Math.max(width / 4.5, 110), 420);
  return Math.max(first / Math.sqrt(Math.max(k, 1)), 24);
}

/** Position of the pattern in turns at stream time now s, of a band measured at s. */
export function phaseAt(band, at, now) {
  return band.phase + band.drift * Math.min(Math.max(now - at, 0), STALE_S);
}

/**
 * How much of the stripes is left, 1 to 0, when a pattern of drift turns a second is drawn once
 * every shutter seconds: sin(x)/x with x = 2π·drift·shutter, and 0 from the first zero on, where at
 * half a turn a drawing the eye could no longer tell right from left.
 */
export function contrast(drift, shutter) {
  const x = 2 * Math.PI * Math.abs(drift) * shutter;
  if (x >= Math.PI) return 0;
  return x < 1e-4 ? 1 : Math.sin(x) / x;
}

/** 1 for the loudest partial and less for weaker ones, down to 0.6 at 48 dB below it. */
export function brightness(level, loudest) {
  const below = loudest - level;
  return Number.isFinite(below) ? Math.max(1 - Math.max(below, 0) / 120, 0.6) : 1;
}

/** Draws the stripes over the whole of a canvas: at phase 0 a light one stands in the middle. */
export function drawStripes(ctx, { width, height }, { every, phase, look, bright, light, rest }) {
  ctx.globalAlpha = 1;
  ctx.fillStyle = rest;
  ctx.fillRect(0, 0, width, height);
  ctx.fillStyle = light;
  if (look < 1) {
    ctx.globalAlpha = bright * LIGHT * (1 - look);
    ctx.fillRect(0, 0, width, height);
  }
  ctx.globalAlpha = bright * look;
  const bar = LIGHT * every;
  const turn = phase - Math.floor(phase);
  let x = width / 2 + turn * every - bar / 2;
  x -= Math.ceil((x + bar) / every) * every;
  for (; x < width; x += every) ctx.fillRect(x, 0, bar, height);
  ctx.globalAlpha = 1;
}

/** Draws arrow heads that say which way a pattern goes that is too fast to be seen. */
export function drawTooFast(ctx, { width, height }, drift, colour) {
  const size = Math.min(height * 0.3, 40);
  const step = size * 3;
  const dir = Math.sign(drift);
  ctx.strokeStyle = colour;
  ctx.lineWidth = Math.max(size / 5, 2);
  ctx.beginPath();
  for (let x = (width % step) / 2 + step / 2; x < width; x += step) {
    ctx.moveTo(x - (dir * size) / 2, height / 2 - size);
    ctx.lineTo(x + (dir * size) / 2, height / 2);
    ctx.lineTo(x - (dir * size) / 2, height / 2 + size);
  }
  ctx.stroke();
}

/** Draws the band of a partial that does not sound: a line, broken while the tuner listens. */
export function drawRest(ctx, { width, height }, listening, colour) {
  ctx.clearRect(0, 0, width, height);
  ctx.strokeStyle = colour;
  ctx.lineWidth = Math.max(height / 24, 1);
  ctx.setLineDash(listening ? [width / 60, width / 90] : []);
  ctx.beginPath();
  ctx.moveTo(0, height / 2);
  ctx.lineTo(width, height / 2);
  ctx.stroke();
  ctx.setLineDash([]);
}

/**
 * Draws a band without movement, for who asked for reduced motion: a mark beside the middle by
 * the drift, on a scale that is linear up to about 1 Hz and grows slowly beyond.
 */
export function drawStill(ctx, { width, height }, drift, { light, rest, line }) {
  ctx.fillStyle = rest;
  ctx.fillRect(0, 0, width, height);
  ctx.fillStyle = line;
  ctx.fillRect(width / 2 - 1, 0, 2, height);
  const mark = Math.max(height / 3, 10);
  const x = width / 2 + (Math.asinh(drift) / Math.asinh(20)) * (width / 2 - mark);
  ctx.fillStyle = light;
  ctx.fillRect(Math.min(Math.max(x, mark), width - mark) - mark / 2, height * 0.15, mark, height * 0.7);
}
