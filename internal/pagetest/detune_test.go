package pagetest

import (
	"math"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
)

// A shape chosen on the board is made pure, the limit of a string is moved by key, and the plan goes to Tune. With
// equal-tempered open strings the third of an E major chord lies 13.69 cents above 5/4 (400 − 1200·log2(5/4)), so the string
// that carries it must drop by as much.
func TestDetune(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#detune")
	p.wait("a plan", detuneReady)
	if shape := p.text(".shape-text"); shape != "x x 2 1 0 x" {
		t.Errorf("it begins with the shape %q, want E major on strings 4 to 2", shape)
	}
	third := ".limits li:nth-child(3) .by"
	if got := cents(t, strings.TrimSuffix(p.text(third), "¢")); math.Abs(got+13.69) > 0.01 {
		t.Errorf("string 3 is moved by %g cents, want -13.69", got)
	}
	// The board is a way in, too: without string 2 a third is left.
	p.click(".board [role=row]:nth-child(3) [role=gridcell]")
	p.wait("the string left out", "document.querySelector('.shape-text').textContent === 'x x 2 1 x x'")
	p.fill("[name=ratios]", "4:5")
	p.wait("the pair alone", "document.querySelectorAll('.detune [aria-label^=Pairs] tbody tr').length === 1")
	p.forgive() // two strings for three parts were refused meanwhile
	p.focus(".limits li:nth-child(3) .down")
	p.key(strings.Repeat(kb.PageDown, 4))
	p.wait("the limit", "document.activeElement.getAttribute('aria-valuenow') === '10'")
	p.wait("what stands in the way", "document.querySelector('.obstacles li')")
	if got := cents(t, strings.TrimSuffix(p.text(third), "¢")); math.Abs(got+10) > 0.01 {
		t.Errorf("limited to 10 cents, string 3 is moved by %g", got)
	}
	p.click(".detune button.main")
	p.wait("Tune with the plan", "document.querySelector('.tune')?.checkVisibility() && document.querySelector('.chosen').textContent.includes('plan')")
}
