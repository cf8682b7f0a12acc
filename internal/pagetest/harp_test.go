package pagetest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// A harp has neither frets nor, in its file, lengths: nothing is asked of the server that it cannot answer (the page's
// errors fail the test), what cannot be done is said, and what can be done is done: its open strings C3, E3 and G3 of
// quarter-comma meantone hold a pure third and a fifth that is 5.38 cents flat, a quarter of the comma 81/80.
func TestHarp(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", newInstrument("harp")), "#detune")
	p.wait("how to begin", "document.querySelector('.detune form .error')?.textContent.includes('no shape can be proposed')")
	for _, n := range []int{27, 25, 23} {
		p.click(fmt.Sprintf(".detune .board [role=row][aria-label='String %d'] .open", n))
	}
	p.wait("the names of the strings", "document.querySelector('.shape-text').textContent === 'C3 E3 G3'")
	p.wait("a plan", detuneReady)
	caption := p.text(".detune [aria-label^='Pairs of '] caption")
	if !strings.HasSuffix(caption, "worst pair 5.4 → 0.0 cents") {
		t.Errorf("the chord: %q", caption)
	}

	p.visit("setup")
	p.wait("why there is no check", "document.querySelector('.setup .panel:not([hidden])').textContent === 'Lever harp has no frets; a check of intonation compares fretted notes with open strings.'")
	if p.find(".setup form button").Why == "" {
		t.Error("a check is offered all the same")
	}
	p.visit("fretboard")
	p.wait("why there are no shapes", "document.querySelector('.fretboard [role=status]').textContent.includes('gives no scale_length_mm')")
	if p.find(".fretboard form button").Why == "" {
		t.Error("shapes are offered all the same")
	}

	// An instrument with frets brings the check back while its view is open.
	p.visit("setup")
	p.key("s")
	p.wait("the choice", "document.querySelector('dialog[open] option[value=ukulele-12edo]')")
	p.choose("dialog[open] [name=instrument]", "ukulele-12edo")
	p.click("dialog[open] button.main")
	p.wait("the check", "document.querySelector('.setup form').checkVisibility()")
}

// A board that is wider than a phone begins at string 1, which stands last.
func TestStandingBoardBeginsAtStringOne(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", newInstrument("fan")), "#fretboard")
	p.wait("the board", "document.querySelector('.board [role=gridcell]')")
	p.do(chromedp.EmulateViewport(390, 844))
	p.wait("it to stand at its end", `((box, cell) => box.scrollWidth > box.clientWidth &&
  cell.getBoundingClientRect().right <= box.getBoundingClientRect().right + 1)(document.querySelector('.boardbox'), document.querySelector("[aria-label='String 1'] .open"))`)
}

// Without an instrument the views that need one offer the way to it.
func TestNoInstrument(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--tuning", "19edo"), "")
	p.sounding()
	for _, view := range []string{"fretboard", "detune", "setup"} {
		p.visit(view)
		p.click("." + view + " .empty button")
		p.wait("the choice", "document.querySelector('dialog[open] option[value=violin]')")
		p.click("dialog[open] .actions button")
	}
	p.click(".setup .empty button")
	p.wait("the choice", "document.querySelector('dialog[open] option[value=ukulele-12edo]')")
	p.choose("dialog[open] [name=instrument]", "ukulele-12edo")
	p.click("dialog[open] button.main")
	p.wait("the check", "document.querySelector('.setup form').checkVisibility()")
}

// visit goes to a view by its link.
func (p *page) visit(view string) {
	p.t.Helper()
	p.click(".views a[href='#" + view + "']")
	p.wait("the view "+view, "document.querySelector('.view."+view+"')?.checkVisibility()")
}
