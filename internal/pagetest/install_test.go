package pagetest

import (
	"encoding/json"
	"fmt"
	"image/png"
	"io/fs"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"tunerd/internal/display/web"
)

// The page can be installed, as Chromium judges it, with icons of the sizes that its manifest tells.
func TestPageIsInstallable(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "demo")
	p := open(t, s, "")
	p.sounding()
	found, err := chromedp.Call(p.ctx, cdppage.GetInstallabilityErrors, cdp.Empty{})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range found.InstallabilityErrors {
		if e.ErrorID != "in-incognito" { // as every page of these tests is
			t.Errorf("it cannot be installed: %s", e.ErrorID)
		}
	}
	data, err := fs.ReadFile(web.Files(), "manifest.webmanifest")
	if err != nil {
		t.Fatal(err)
	}
	var manifest struct {
		Icons []struct{ Src, Sizes string }
	}
	if err := json.Unmarshal(data, &manifest); err != nil || len(manifest.Icons) < 2 {
		t.Fatalf("%d icons, %v", len(manifest.Icons), err)
	}
	for _, icon := range manifest.Icons {
		f, err := web.Files().Open(icon.Src)
		if err != nil {
			t.Error(err)
			continue
		}
		size, err := png.DecodeConfig(f)
		f.Close()
		if got := fmt.Sprintf("%dx%d", size.Width, size.Height); err != nil || got != icon.Sizes {
			t.Errorf("%s is %s, the manifest says %s; %v", icon.Src, got, icon.Sizes, err)
		}
	}
	// The bars of the browser have the colour of the page, dark or bright.
	const same = "document.querySelector('meta[name=theme-color]').content === getComputedStyle(document.documentElement).getPropertyValue('--ground').trim()"
	for range 2 {
		p.click("#theme-button")
		p.wait("the colour of the bars", same)
	}
}

// Printed, a view stands alone, dark on white, with nothing that can only be pressed and nothing cut.
func TestPrint(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", newInstrument("ukulele"), "--journal", benchJournal(t)), "")
	p.sounding()
	for _, view := range []string{"detune", "fretboard", "compare", "journal", "setup"} {
		p.visit(view)
		eval[bool](p, quiet)
		p.do(chromedp.EmulateViewport(718, 1000)) // A4 less its margins, at 96 px an inch
		if _, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
			t.Fatal(err)
		}
		p.wait("a white ground", "getComputedStyle(document.body).backgroundColor === 'rgb(255, 255, 255)'")
		eval[bool](p, "new Promise((done) => setTimeout(done, 150, true))")
		if shown := eval[[]string](p, "[...document.querySelectorAll('.views a, #help-button, form button, .row > button')].filter((e) => e.checkVisibility()).map((e) => e.textContent)"); len(shown) > 0 {
			t.Errorf("%s: printed are %q", view, shown)
		}
		for _, fault := range eval[[]string](p, findFaults) {
			t.Errorf("%s: %s", view, fault)
		}
		if _, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{}); err != nil {
			t.Fatal(err)
		}
		p.do(chromedp.EmulateViewport(1280, 800))
	}
}

// The page fills the screen and leaves it, and says whether the screen stays on.
func TestFullScreenAndAwake(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()
	p.click("#full-button")
	p.wait("the full screen", "document.fullscreenElement && document.getElementById('full-button').textContent === 'Window'")
	p.key("f")
	p.wait("the window", "!document.fullscreenElement && document.getElementById('full-button').textContent === 'Full screen'")

	p.click("#help-button")
	if said := p.text("dialog[open] .awake"); !strings.HasPrefix(said, "The screen ") {
		t.Errorf("the help says %q", said)
	}
	insecure := eval[string](p, `(Object.defineProperty(window, 'isSecureContext', { value: false }),
  import('./js/awake.js').then((m) => m.askToStayAwake()))`)
	if !strings.Contains(insecure, "may go dark") || !strings.Contains(insecure, "--tls") {
		t.Errorf("over plain HTTP: %q", insecure)
	}
}
