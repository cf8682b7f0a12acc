// Relates the stream time of the tuner to the clock of this page.

/**
 * A reading is made at a sample time and arrives some milliseconds later, now more, now less.
 * Drawn by its arrival the pattern would tremble. The shortest delay seen is taken as the delay of all,
 * and given up slowly, so that two clocks that run apart (by up to 0.1 ms a second) do no harm.
 */
export class StreamClock {
  #offset = NaN; // s: page time minus stream time at the shortest delay
  #arrived = 0; // s, page time

  /** A message of stream time t s arrived at now ms (performance.now). */
  note(t, now) {
    const arrived = now / 1000;
    const offset = arrived - t;
    const kept = this.#offset + LEAK * (arrived - this.#arrived);
    this.#offset = offset < kept || !(offset < kept + JUMP) ? offset : kept;
    this.#arrived = arrived;
  }

  /** The stream time in s at now ms; NaN before the first message. */
  at(now) {
    return now / 1000 - this.#offset;
  }
}

const LEAK = 0.0005; // s a second: five times what a crystal may be off
const JUMP = 0.5; // s: beyond this it is another stream, or one that was paused
