package pagetest

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// The address holds what a view shows: it is shown again after a reload, and by whom the link is sent to. What cannot be
// shown is left out.
func TestLinksHoldWhatIsShown(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "demo", "--instrument", "guitar-12edo", "--journal", benchJournal(t))
	const chosen = "[...document.querySelectorAll('.compare h2')].at(-1)?.textContent"
	p := open(t, s, "#compare?chords=4%3A5&from=12&to=31&n=19")
	p.wait("19edo", chosen+"?.startsWith('19edo')")
	if got := eval[string](p, "document.querySelector('.compare [name=from]').value + document.querySelector('.compare caption').textContent.slice(0, 3)"); got != "124:5" {
		t.Errorf("from and chord are %q", got)
	}
	p.click(".compare tbody button")
	p.wait("another division", "!("+chosen+").startsWith('19edo')")
	division := eval[string](p, chosen)
	p.do(chromedp.Reload())
	p.wait("the same after a reload", chosen+" === "+jsString(division))

	p.do(chromedp.Navigate(s.url + "#detune?shape=x+x+2+1+x+x&as=4%3A5"))
	p.wait("the shape", "document.querySelector('.shape-text')?.textContent === 'x x 2 1 x x' && document.querySelectorAll('.detune [aria-label^=Pairs] tbody tr').length === 1")
	p.click(".board [role=row][aria-label='String 2'] [role=gridcell]")
	p.wait("it to follow", "location.hash.includes('shape=x+x+2+1+0+x')")
	p.do(chromedp.Navigate(s.url + "#fretboard?at=3.2"))
	p.wait("string 3 fret 2", "document.querySelector('.detail h2')?.textContent.endsWith('string 3, fret 2')")
	p.do(chromedp.Navigate(s.url + "#fretboard?at=99.x"))
	p.do(chromedp.Reload())
	p.wait("the first string", "document.querySelector('.detail h2')?.textContent.endsWith('string 1, open')")

	p.visit("journal")
	eval[bool](p, quiet) // else the list may be drawn anew under the click
	p.click(".journal tbody button")
	p.wait("the session in the address", "location.hash.includes('session=')")
	session := p.text(".journal [aria-label=Session] h2")
	p.do(chromedp.Reload())
	p.wait("the session", "document.querySelector('.journal [aria-label=Session] h2')?.textContent === "+jsString(session))
}
