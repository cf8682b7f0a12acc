package pagetest

import (
	"io/fs"
	"testing"
	"time"

	"tunerd/internal/display/web"
)

// The whole page, every view of it, is at most 300 kB as it is served.
func TestPageWeight(t *testing.T) {
	const most = 300_000
	total := int64(0)
	err := fs.WalkDir(web.Files(), ".", func(_ string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		info, err := entry.Info()
		total += info.Size()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes", total)
	if total > most {
		t.Errorf("the page has %d bytes, want at most %d", total, most)
	}
}

// The first reading stands on the page soon after it was loaded. The goal is 500 ms on an idle machine;
// the time is reported, and only ten times as much is called a fault.
func TestFirstReadingComesSoon(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", record(t, tone{220, 60, 48000}.samples(), 48000))
	warm := open(t, s, "") // the tuner hears the tone, and the browser has started
	warm.sounding()
	p := open(t, s, "#none")
	times := eval[[]float64](p, `new Promise((done) => {
  const loaded = () => performance.getEntriesByType('navigation')[0].loadEventEnd;
  const look = () => document.querySelector('.head:not(.last) .cents')?.textContent ? done([performance.now(), loaded()]) : requestAnimationFrame(look);
  look();
})`)
	ms, loaded := times[0], times[1]
	t.Logf("first reading %.0f ms after the page was asked for, %.0f ms after it was loaded", ms, ms-loaded)
	if ms > 5000 {
		t.Errorf("first reading after %v, want about 500 ms", time.Duration(ms)*time.Millisecond)
	}
}

// The page asks for nothing that is not its own.
func TestPageWorksOffline(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "demo")
	p := open(t, s, "#compare")
	p.wait("the comparison", compareReady)
	foreign := eval[[]string](p, "performance.getEntriesByType('resource').map((r) => r.name).filter((n) => !n.startsWith(location.origin))")
	if len(foreign) > 0 {
		t.Errorf("the page fetched %q", foreign)
	}
}
