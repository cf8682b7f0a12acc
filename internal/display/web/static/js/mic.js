// The microphone of this page, sent to a tuner that runs with --input browser.

const SLOW = 1 << 20; // bytes waiting in the socket beyond which samples are dropped; the tuner sees a gap

const NOT_ALLOWED =
  'The microphone is not allowed to this page. Allow it in the settings of the browser for this address.';

/** Whether the tuner takes its sound from a page, also before one has sent any. */
export function wanted(session) {
  return session?.input.from_page ?? false;
}

/**
 * A Microphone that is open or not. Its state is 'off', 'opening' or 'on'; changed(state, why) is called
 * with every change.
 */
export class Microphone {
  state = 'off';
  #stop = () => {};

  constructor(changed) {
    this.changed = changed;
  }

  toggle() {
    return this.state === 'off' ? this.open() : this.close();
  }

  /** Asks for the microphone and begins to send. */
  async open() {
    if (!navigator.mediaDevices) {
      return this.#set(
        'off',
        "A browser gives its microphone only on the tuner's own machine or over TLS: start it with --tls.",
      );
    }
    this.#set('opening');
    try {
      await this.#send(
        await navigator.mediaDevices.getUserMedia({
          audio: {
            echoCancellation: false,
            noiseSuppression: false,
            autoGainControl: false,
            channelCount: 1,
          },
        }),
      );
    } catch (err) {
      this.close(err.name === 'NotAllowedError' ? NOT_ALLOWED : `The microphone cannot be used: ${err.message}`);
    }
  }

  /** Stops; why is said to the user. */
  close(why = '') {
    this.#stop();
    this.#stop = () => {};
    this.#set('off', why);
  }

  async #send(stream) {
    const [track] = stream.getAudioTracks();
    // At the device's own rate nothing is resampled.
    const context = new AudioContext({ sampleRate: track.getSettings().sampleRate });
    let socket = null;
    let tap = null;
    this.#stop = () => {
      if (tap) tap.port.onmessage = null;
      track.stop();
      context.close();
      socket?.close();
    };
    await context.audioWorklet.addModule('js/mic-worklet.js');
    socket = await connect(context.sampleRate);
    const source = context.createMediaStreamSource(stream);
    tap = new AudioWorkletNode(context, 'tap', { numberOfOutputs: 0, channelCountMode: 'max' });
    tap.port.onmessage = ({ data }) => {
      if (socket.bufferedAmount < SLOW) socket.send(data);
    };
    source.connect(tap);
    await context.resume();
    socket.onclose = (e) => {
      if (this.state === 'on') this.close(e.reason || 'The tuner has closed the connection.');
    };
    track.onended = () => this.close('The microphone has gone: plug it in, or allow it again.');
    this.#set('on');
  }

  #set(state, why = '') {
    this.state = state;
    this.changed(state, why);
  }
}

/** Opens the socket and resolves when the tuner is ready to hear. */
function connect(rate) {
  const url = new URL('microphone', location.href);
  url.protocol = url.protocol.replace('http', 'ws');
  url.hash = '';
  const socket = new WebSocket(url);
  const name = navigator.userAgentData?.platform || 'page';
  return new Promise((resolve, reject) => {
    socket.onopen = () => socket.send(JSON.stringify({ type: 'hello', sample_rate: rate, name }));
    socket.onmessage = () => resolve(socket);
    socket.onclose = (e) => reject(new Error(e.reason || 'the tuner does not take the sound of a page'));
  });
}
