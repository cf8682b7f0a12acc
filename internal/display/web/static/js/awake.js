// Whether the screen stays on while the page is looked at.

const ON = 'The screen stays on while this page is seen.';
const INSECURE =
  "The screen may go dark: browsers keep it on only for a page on the tuner's own machine or over TLS (serve --tls).";
const UNKNOWN = 'The screen may go dark: this browser keeps it on for no page.';

/** Asks the browser to keep the screen on, and says in words what came of it. */
export async function askToStayAwake() {
  if (!isSecureContext) return INSECURE;
  if (!navigator.wakeLock) return UNKNOWN;
  try {
    await navigator.wakeLock.request('screen');
    return ON;
  } catch {
    return 'The screen may go dark: the browser does not keep it on now, as when the battery is low.';
  }
}
