package pagetest

import (
	"testing"

	"github.com/chromedp/chromedp/kb"
)

const (
	heldString = "document.querySelector('.strings [aria-pressed=\"true\"] .n')?.textContent.replace('Hold string ', '')"
	// overhear keeps what is said to screen readers: the next reading may follow soon.
	overhear = "window.said = []; new MutationObserver(() => said.push(document.getElementById('spoken').textContent)).observe(document.getElementById('spoken'), { childList: true }); true"
)

// Every key of the help does what it says in the Tune view.
func TestKeysInTune(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()
	p.wait("the strings", "document.querySelectorAll('.strings button').length === 5")

	eval[bool](p, overhear)
	p.key("3")
	p.wait("string 3 held", heldString+" === '3'")
	p.wait("that to be said", "said.includes('string 3 held')")
	p.key("n")
	p.wait("string 4 held", heldString+" === '4'")
	p.key("p")
	p.wait("string 3 held again", heldString+" === '3'")
	p.key(kb.Escape)
	p.wait("nothing held", "!"+heldString)

	p.key(" ")
	p.wait("a frozen picture", "document.querySelector('.tune').classList.contains('frozen')")
	frozen := p.text(".head")
	eval[bool](p, "new Promise((done) => setTimeout(done, 400, true))")
	if now := p.text(".head"); now != frozen {
		t.Errorf("frozen, the figures changed from %q to %q", frozen, now)
	}
	p.key(" ")
	p.wait("it to go on", "!document.querySelector('.tune').classList.contains('frozen')")

	p.key("l")
	p.wait("all strings", "document.querySelectorAll('.lanes button').length === 5 && document.querySelector('.lanes').checkVisibility()")
	p.key("l")
	p.wait("one note", "document.querySelector('.strobe').checkVisibility()")
}

// Views, themes and dialogs open and close by keys, and the focus goes where the eye goes.
func TestKeysAround(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()

	theme := eval[string](p, "document.documentElement.dataset.theme")
	p.key("b")
	p.wait("the other theme", "document.documentElement.dataset.theme !== '"+theme+"'")

	p.key("?")
	p.wait("the help", "document.querySelector('dialog[open] .keys')")
	p.key("3") // a shortcut means nothing under a dialog
	p.key(kb.Escape)
	p.wait("the help to go", "!document.querySelector('dialog[open]')")
	if held := eval[bool](p, "Boolean("+heldString+")"); held {
		t.Error("a key pressed in the help held a string")
	}

	p.key("s")
	p.wait("the choice", "document.querySelector('dialog[open] select[name=instrument] option:nth-child(2)')")
	p.choose("dialog[open] [name=instrument]", "guitar-12edo")
	p.fill("dialog[open] [name=reference]", "A4=415\r")
	p.wait("the guitar", "document.querySelectorAll('.strings button').length === 6 && !document.querySelector('dialog[open]')")
	p.wait("its reference", "document.querySelector('.chosen').textContent.includes('415 Hz')")

	for _, view := range []string{"fretboard", "detune", "compare"} {
		p.key("]")
		p.wait("the view "+view, "document.querySelector('.view."+view+"')?.checkVisibility()")
		p.wait("the focus in the view", "document.activeElement.id === 'main'")
	}
	p.key("[")
	p.wait("the view before", "document.querySelector('.view.detune').checkVisibility()")
}

// A tuning that does not exist is refused in the server's own words, and nothing is lost.
func TestWrongTuningIsRefused(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()
	p.key("s")
	p.wait("the choice", "document.querySelector('dialog[open] select[name=instrument] option:nth-child(2)')")
	p.fill("dialog[open] [name=tuning]", "41odo\r")
	p.wait("the refusal", "document.querySelector('dialog[open] .error').textContent.includes('41odo')")
	p.forgive() // the browser logs every answer of 400
	p.key(kb.Escape)
	p.wait("the dialog to go", "!document.querySelector('dialog[open]')")
	p.wait("the old tuning", "document.querySelector('.chosen').textContent.includes('22edo')")
}

// The arrow keys walk over the fretboard, and Enter chooses; strings are rows.
func TestKeysOnTheFretboard(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#fretboard")
	p.wait("the board", "document.querySelectorAll('.board [role=gridcell]').length > 100")
	p.focus(".board [tabindex='0']")
	p.key(kb.ArrowDown + kb.ArrowRight + kb.ArrowRight)
	// String 2 of a guitar is B3; two frets of twelve equal steps above it is C#4: common practice, no source.
	p.wait("string 2 fret 2", "document.activeElement.textContent.startsWith('string 2 fret 2, C♯4')")
	p.key(kb.Enter)
	p.wait("its figures", "document.querySelector('.detail h2').textContent === 'C♯4 · string 2, fret 2'")
}
