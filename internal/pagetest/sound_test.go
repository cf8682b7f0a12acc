package pagetest

import (
	"fmt"
	"testing"
)

// render plays pitches as the page does and returns the loudest sample, as a part of full scale. The sound
// goes to a context that computes it at once instead of a loudspeaker; all else is the page's own.
func render(t *testing.T, p *page, volume float64, strum float64, pitches string) float64 {
	t.Helper()
	return eval[float64](p, fmt.Sprintf(`(async () => {
		const offline = new OfflineAudioContext(2, 6 * 48000, 48000);
		offline.resume = async () => {};
		window.AudioContext = class { constructor() { return offline; } };
		const { play, volume } = await import('./js/sound.js?' + Math.random()); // one of its own, with no context yet
		volume.set(%g);
		play(%s, %g);
		const sound = await offline.startRendering();
		let most = 0;
		for (let c = 0; c < sound.numberOfChannels; c++) for (const x of sound.getChannelData(c)) most = Math.max(most, Math.abs(x));
		return most;
	})()`, volume, pitches, strum))
}

// The page's sounds stay under a third of full scale, whatever is played at whatever volume: 0.35 is −9.1 dBFS.
func TestSoundsKeepBelowTheirCap(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#tune")
	p.sounding()
	const loudest = 0.35
	for name, pitches := range map[string]string{
		"one note":                         "[110]",
		"a chord":                          "[82.4, 110, 146.8, 196, 246.9, 329.6]",
		"sixteen strings at once in phase": "Array(16).fill(220)",
		"a pure chord":                     "[100, 200, 300, 400, 500, 600, 700, 800]",
		"the lowest and the highest":       "[20, 20000, 4000]",
	} {
		for _, strum := range []float64{0, 0.09} {
			if most := render(t, p, 1, strum, pitches); most > loudest || most < 0.05 {
				t.Errorf("%s, %g s apart: a peak of %.3f, want at most %.3f, and a sound", name, strum, most, loudest)
			}
		}
	}
	quiet, usual := render(t, p, 0, 0, "[220]"), render(t, p, 0.25, 0, "[220]")
	if quiet != 0 || usual >= render(t, p, 1, 0, "[220]") {
		t.Errorf("at volume 0 a peak of %.3f, at the usual one of %.3f", quiet, usual)
	}
}
