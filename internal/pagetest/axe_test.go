package pagetest

import (
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// A finding is what axe-core found wrong in a page.
type finding struct {
	ID     string   `json:"id"`
	Impact string   `json:"impact"`
	Help   string   `json:"help"`
	Where  []string `json:"where"`
}

const runAxe = `axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => ({
  id: v.id, impact: v.impact ?? '', help: v.help,
  where: v.nodes.slice(0, 4).map((n) => n.target.join(' ') + ': ' + (n.any[0]?.message ?? n.all[0]?.message ?? n.none[0]?.message ?? '')),
})))`

// Rules of the Web Content Accessibility Guidelines, as axe-core 4.14.1 checks them: nothing serious or
// critical in any view, neither on the dark bench nor on the bright stage, wide or narrow.
func TestAccessibility(t *testing.T) {
	needBrowser(t)
	axe, err := os.ReadFile("testdata/axe-core/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, "--input", "demo", "--instrument", "ukulele-12edo")
	p := open(t, s, "")
	for _, c := range looks {
		p.do(chromedp.EmulateViewport(c.width, 800))
		p.show(c)
		eval[bool](p, string(axe)+"; true")
		for _, f := range eval[[]finding](p, runAxe) {
			report := t.Logf
			if f.Impact == "serious" || f.Impact == "critical" {
				report = t.Errorf
			}
			report("%s: %s: %s (%s)\n\t%s", c.name, f.Impact, f.Help, f.ID, strings.Join(f.Where, "\n\t"))
		}
		eval[bool](p, "localStorage.clear() ?? true")
	}
}

// A look is one view in one state.
type look struct {
	name, view, theme string
	width             int64
	ready             string      // JavaScript condition that it is whole
	act               func(*page) // brings it about; nil: it is so
}

var looks = []look{
	{"tune", "tune", "bench", 1280, tuneReady, nil},
	{"tune bright", "tune", "stage", 360, tuneReady, nil},
	{"strings", "tune", "stage", 1280, "document.querySelector('.lanes').checkVisibility()", press(".tune .segments button:nth-child(2)")},
	{"choice", "tune", "bench", 1280, "document.querySelector('dialog[open] option:nth-child(2)')", press(".chosen")},
	{"help", "tune", "stage", 1280, "document.querySelector('dialog[open] .keys')", press("#help-button")},
	{"fretboard", "fretboard", "bench", 1280, "document.querySelector('.shapes button')", findShapes},
	{"fretboard bright", "fretboard", "stage", 360, "document.querySelector('.shapes button')", findShapes},
	{"detune", "detune", "bench", 1280, detuneReady, nil},
	{"detune bright", "detune", "stage", 360, detuneReady, nil},
	{"setup", "setup", "bench", 1280, "document.querySelector('.setup form')?.checkVisibility()", nil},
	{"journal", "journal", "bench", 1280, journalReady, nil},
	{"compare", "compare", "bench", 1280, compareReady, nil},
	{"compare bright", "compare", "stage", 360, compareReady, nil},
}

const (
	tuneReady    = "document.querySelector('.head:not(.last) .cents')?.textContent && document.querySelector('.strings button')"
	detuneReady  = "document.querySelector('.detune td')"
	journalReady = "document.querySelector('.journal tbody td, .journal .panel:not([hidden])')?.checkVisibility()"
	compareReady = "document.querySelector('.compare td')"
)

// press returns what presses an element.
func press(selector string) func(*page) { return func(p *page) { p.click(selector) } }

func findShapes(p *page) {
	p.fill("[name=chord]", "4:5:6")
	p.click(".fretboard form button")
}

// show brings a look about.
func (p *page) show(c look) {
	p.t.Helper()
	eval[bool](p, "localStorage.setItem('tunerd.theme', '"+c.theme+"') ?? true")
	eval[bool](p, "location.hash = '"+c.view+"'; true")
	p.do(chromedp.Reload())
	p.wait("the view", "document.readyState === 'complete' && document.querySelector('.view."+c.view+"')?.checkVisibility()")
	if c.view != "tune" {
		p.wait("the view to fill", "document.querySelector('.board [role=gridcell], .plot svg, .detune form, .setup form, .journal select')")
	} else {
		p.sounding()
	}
	if c.act != nil {
		c.act(p)
	}
	p.wait(c.name, c.ready)
}
