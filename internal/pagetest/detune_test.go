package pagetest

import (
	"fmt"
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
	bounds := eval[map[string]map[string]float64](p, "fetch('api/bounds').then((r) => r.json())")
	for field, name := range map[string]string{"[name=limit]": "limit_cents", "[type=range]": "spare"} {
		ends := eval[[]float64](p, "((el) => [Number(el.min), Number(el.max)])(document.querySelector('.detune "+field+"'))")
		if ends[0] != bounds[name]["least"] || ends[1] != bounds[name]["most"] {
			t.Errorf("%s goes from %g to %g, the server takes %v", field, ends[0], ends[1], bounds[name])
		}
	}
	if most := eval[string](p, "document.activeElement.getAttribute('aria-valuemax')"); most != fmt.Sprint(bounds["limit_cents"]["most"]) {
		t.Errorf("the limit of a string goes to %s cents, the server takes %v", most, bounds["limit_cents"])
	}
	if got := cents(t, strings.TrimSuffix(p.text(third), "¢")); math.Abs(got+10) > 0.01 {
		t.Errorf("limited to 10 cents, string 3 is moved by %g", got)
	}
	p.click(".detune button.main")
	p.wait("Tune with the plan", "document.querySelector('.tune')?.checkVisibility() && document.querySelector('.chosen').textContent.includes('plan')")
}

// On strings that do not fall from first to last a shape keeps the part of every string: the ukulele's string 4 (G4) lies
// above strings 3 and 2 (common practice, no source). Its C major, 0 0 0 3 from string 4, has the notes G4 C4 E4 C5,
// 6:4:5:8; the third E4 lies 13.69 cents above 5/4 of C4, the fifth 1.96 below 3/2 (1200·log2 of the ratios).
func TestDetuneOfStringsThatDoNotFall(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "ukulele-12edo"), "#detune")
	p.wait("a plan", detuneReady)
	worst := func() (before, after float64) {
		caption := p.text(".detune [aria-label^='Pairs of '] caption")
		_, figures, _ := strings.Cut(caption, "worst pair ")
		if _, err := fmt.Sscanf(figures, "%g → %g cents", &before, &after); err != nil {
			t.Fatalf("%v in %q", err, caption)
		}
		return before, after
	}
	if before, after := worst(); before > 20 || after > 0.05 {
		t.Errorf("the shape it begins with: worst pair %g → %g cents, want less than 20 → 0", before, after)
	}
	p.fill("[name=ratios]", "4:5:6:8")
	for n, fret := range []int{3, 0, 0, 0} { // of string 1 and on
		cell := fmt.Sprintf(".board [role=row][aria-label='String %d'] [role=gridcell]:nth-child(%d)", n+1, fret+1)
		if !eval[bool](p, fmt.Sprintf("document.querySelector(%q).matches('.shape')", cell)) {
			p.click(cell)
		}
	}
	p.wait("the chord", "document.querySelector('.shape-text').textContent === '0 0 0 3' && document.querySelectorAll(`.detune [aria-label^='Pairs of '] tbody tr`).length === 6")
	p.forgive() // what was refused on the way
	if before, after := worst(); math.Abs(before-15.64) > 0.1 || after > 0.05 {
		t.Errorf("worst pair %g → %g cents, want 15.6 → 0", before, after)
	}
	// The same from the Fretboard, where a shape is found with the strings of its notes.
	eval[bool](p, "location.hash = 'fretboard'; true")
	p.fill(".fretboard [name=chord]", "4:5:6")
	p.click(".fretboard form button")
	p.wait("shapes", "document.querySelector('.shapes button')?.checkVisibility()")
	p.click(".fretboard .places button:last-child")
	p.wait("its plan", "document.querySelector('.view.detune').checkVisibility() && document.querySelectorAll(`.detune [aria-label^='Pairs of '] tbody tr`).length === 3")
	if before, after := worst(); before > 20 || after > 0.05 {
		t.Errorf("from the Fretboard: worst pair %g → %g cents, want less than 20 → 0", before, after)
	}
}

// A shape that is another chord is refused until the user says that it is meant: 2 1 0 as 2:3:4 starts 302 cents off.
func TestDetuneAsksWhereAChordStartsFarOff(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#detune")
	p.wait("a plan", detuneReady)
	p.fill("[name=ratios]", "2:3:4")
	p.wait("the refusal", "document.querySelector('.detune form .error').textContent.includes('off what it is to be')")
	p.forgive() // the browser logs what was refused
	if at := p.find(".detune button.main"); at.Why != "is disabled" {
		t.Errorf("the plan can be tuned to: %q", at.Why)
	}
	p.click("[name=far]")
	p.wait("a plan, or what stands in its way", "document.querySelector('.detune td') && document.querySelector('.detune form .error').textContent === ''")
	p.fill("[name=ratios]", "4:5:6")
	p.wait("the question to go", "!document.querySelector('[name=far]').checkVisibility() && document.querySelector('.detune td')")
}
