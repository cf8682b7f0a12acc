// Runs beside the sound: gathers raw samples into messages, each with the number of its first.

const FRAMES = 512; // of a message

class Tap extends AudioWorkletProcessor {
  #first = -1; // frame of the context at sample 0
  #message = null; // number as 64-bit integer, then float32 samples, little-endian
  #filled = 0;

  process([channels]) {
    const frames = channels[0]?.length;
    if (!frames) return true;
    if (this.#first < 0) this.#first = currentFrame;
    if (!this.#message) {
      this.#message = new ArrayBuffer(8 + 4 * FRAMES);
      new DataView(this.#message).setBigUint64(0, BigInt(currentFrame - this.#first), true);
    }
    const samples = new Float32Array(this.#message, 8);
    for (let i = 0; i < frames; i++) {
      let sum = 0;
      for (const channel of channels) sum += channel[i];
      samples[this.#filled++] = sum / channels.length;
    }
    if (this.#filled >= FRAMES) {
      this.port.postMessage(this.#message, [this.#message]);
      this.#message = null;
      this.#filled = 0;
    }
    return true;
  }
}

registerProcessor('tap', Tap);
