package pagetest

import (
	"math"
	"strconv"
	"syscall"
	"testing"

	"github.com/chromedp/chromedp"
)

// After a restart with another instrument the page shows that one, and takes what is chosen: the new server counts its
// revisions from the start.
func TestRestartWithAnotherInstrument(t *testing.T) {
	needBrowser(t)
	first := serveAt(t, freePort(t), "--input", "demo", "--instrument", "guitar-12edo")
	p := open(t, first, "")
	p.wait("six strings", "document.querySelectorAll('.strings button').length === 6")
	for _, n := range []string{"3", "2", "1"} { // so that the old revision is higher than the new
		p.key(n)
		p.wait("string "+n, heldString+" === '"+n+"'")
	}
	first.stop()
	p.wait("the loss", "document.getElementById('link-word').textContent === 'no connection'")
	serveAt(t, first.address(), "--input", "demo", "--instrument", "ukulele-12edo")
	p.wait("the ukulele", "document.querySelector('.chosen').textContent.includes('Ukulele')")
	p.wait("its strings", "document.querySelectorAll('.strings button').length === 4")
	p.key("2")
	p.wait("string 2 held", heldString+" === '2'")
	p.forgive() // the browser logs every failed try
}

// A name that every object has is no view.
func TestUnknownAddressShowsTune(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "demo")
	for _, at := range []string{"#toString", "#constructor", "#__proto__", "#nothing"} {
		p := open(t, s, at)
		p.sounding()
		if note := p.text(".note"); note == "" {
			t.Errorf("%s shows nothing", at)
		}
	}
}

// What was said because nobody answered is taken away when somebody does, and what was asked is asked again.
func TestNoAnswerIsForgottenWhenThereIsOne(t *testing.T) {
	needBrowser(t)
	first := serveAt(t, freePort(t), "--input", "demo", "--instrument", "guitar-12edo")
	p := open(t, first, "")
	p.sounding()
	first.stop()
	p.wait("the loss", "document.getElementById('link-word').textContent === 'no connection'")
	p.key("c")
	p.wait("that nobody answers", "document.getElementById('message').textContent.includes('does not answer')")
	serveAt(t, first.address(), "--input", "demo", "--instrument", "guitar-12edo")
	p.sounding()
	p.wait("the word to go", "document.getElementById('message').textContent === ''")
	p.forgive()
}

// A tuner that hangs is not waited for without end.
func TestRequestsTimeOutWithAWord(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "demo", "--instrument", "guitar-12edo")
	p := open(t, s, "")
	p.sounding()
	eval[bool](p, `(() => { // the same patience, sooner
  const whole = AbortSignal.timeout.bind(AbortSignal);
  AbortSignal.timeout = (ms) => { window.patience = ms; return whole(ms / 40); };
  return true;
})()`)
	if err := s.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	p.key("c")
	p.wait("a word", "document.getElementById('message').textContent.startsWith('the tuner has not answered for ' + window.patience / 1000 + ' s')")
	if err := s.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	p.wait("it to go", "document.getElementById('message').textContent === ''")
}

// A page out of sight lets go of the stream, of which a browser has six, and takes it up again when it is looked at.
func TestHiddenPageLetsGoOfTheStream(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", "demo")
	p := open(t, s, "")
	p.sounding()
	streams := func() string { return streamsOpen(t, s) }
	if n := streams(); n != "1" {
		t.Fatalf("%s streams, want 1", n)
	}
	look := func(state string) {
		eval[bool](p, `(Object.defineProperty(document, 'visibilityState', { configurable: true, get: () => '`+state+`' }),
  document.dispatchEvent(new Event('visibilitychange')), true)`)
	}
	look("hidden")
	p.wait("the stream to be let go", "document.getElementById('link-word').textContent === 'connecting'")
	if n := streams(); n != "0" {
		t.Errorf("hidden, %s streams are open", n)
	}
	look("visible")
	p.wait("it to go on", "document.getElementById('link').dataset.state === 'live'")
	p.sounding()
}

// Freeze lets everything stand still, in every view.
func TestFreezeFreezesAll(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()
	p.wait("the strings", "document.querySelectorAll('.strings button').length === 5")
	shown := "['.head', '.strings', '.guide'].map((s) => document.querySelector(s).textContent).join() + [...document.querySelectorAll('canvas')].map((c) => c.toDataURL()).join() + document.getElementById('spoken').textContent"
	eval[bool](p, "location.hash = 'compare'; true")
	p.wait("another view", "document.querySelector('.view.compare')?.checkVisibility()")
	p.key(" ")
	p.wait("the word", "document.getElementById('link-word').textContent === 'frozen'")
	eval[bool](p, "location.hash = 'tune'; true")
	p.wait("Tune", "document.querySelector('.tune.frozen')?.checkVisibility()")
	eval[bool](p, "new Promise((done) => setTimeout(done, 500, true))")
	before := eval[string](p, shown)
	eval[bool](p, "new Promise((done) => setTimeout(done, 4000, true))") // the demo plays another note meanwhile
	if after := eval[string](p, shown); after != before {
		t.Errorf("frozen, the page changed from %.300q to %.300q", before, after)
	}
	p.do(chromedp.EmulateViewport(1100, 700)) // a canvas of another size is drawn again
	p.click(".toolrow > button[aria-pressed=true]")
	p.wait("it to go on", "document.getElementById('link-word').textContent !== 'frozen' && "+shown+" !== "+jsString(before))
}

// Help opens at its top, also where it is longer than the screen.
func TestHelpOpensAtItsTop(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.do(chromedp.EmulateViewport(360, 640))
	p.sounding()
	p.click("#help-button")
	p.wait("the help", "document.querySelector('dialog[open] .keys')")
	if at := p.find("dialog[open] h1"); at.Why != "" || eval[float64](p, "document.querySelector('dialog[open]').scrollTop") != 0 {
		t.Errorf("the help opens scrolled by %g px; its title %s", eval[float64](p, "document.querySelector('dialog[open]').scrollTop"), at.Why)
	}
	if got := eval[string](p, "document.activeElement.id"); got != "help-title" {
		t.Errorf("the focus is on %q, want the title", got)
	}
}

// Frets that were laid for another tuning do not play the one that is taken from Compare: the page says so. Beats follow the
// reference that the tuner is set to: on A4 = 415 Hz the third of 53 equal steps, 17 of them, beats by
// |4·415·2^(17/53) − 5·415| Hz = 1.69 Hz, on 440 by 1.79; the page may not show the one for the other.
func TestCompareKeepsReferenceAndFrets(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo", "--reference", "A4=415"), "#compare")
	p.wait("the comparison", compareReady)
	p.fill(".compare [name=chords]", "4:5")
	p.fill(".compare [name=from]", "53")
	p.fill(".compare [name=to]", "53")
	p.click(".compare form button")
	p.wait("53edo", "[...document.querySelectorAll('.compare .viewhead button')].at(-1).textContent === 'Tune to 53edo'")
	beats := func(a4 float64) string {
		return strconv.FormatFloat(math.Abs(4*a4*math.Exp2(17.0/53)-5*a4), 'f', 2, 64)
	}
	const shown = "document.querySelector('.compare .panel td:last-child').textContent"
	p.wait("the beats of a third on A4 = 415 Hz", "document.querySelector('.compare caption').textContent.startsWith('4:5 on A4') && "+shown+" === '"+beats(415)+"'")
	eval[bool](p, "fetch('api/session', { method: 'PATCH', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ reference: 'A4=440' }) }).then((r) => r.ok)")
	p.wait("those on A4 = 440 Hz", shown+" === '"+beats(440)+"'")
	p.click(".compare .panel .viewhead button")
	// 12edo frets lie up to half a step of 53edo off it, 600/53 = 11.3 cents.
	p.wait("the word about the frets", "document.getElementById('message').textContent.includes('up to 11.3 cents off')")
	p.wait("the tuning", "document.querySelector('.chosen').textContent.includes('53edo')")
}

// A plan in force is what Fretboard and Detune begin from.
func TestPlanInForceIsShown(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#detune")
	p.wait("a plan", detuneReady)
	p.click(".detune button.main")
	p.wait("Tune with the plan", "document.querySelector('.chosen')?.textContent.includes('plan')")
	eval[bool](p, "location.hash = 'detune'; true")
	p.wait("that it is in force", "document.querySelector('.in-force').textContent.includes('is in force')")
	p.wait("nothing left to move", "[...document.querySelectorAll('.limits .by')].every((e) => /^[+−]?0\\.00¢/.test(e.textContent))")
	eval[bool](p, "location.hash = 'fretboard'; true")
	p.wait("the plan in the head", "document.querySelector('.fretboard .viewhead')?.textContent.includes('plan ')")
	p.click(".fretboard .board [role=row][aria-label='String 3'] .open")
	// String 3 is G3 = 195.998 Hz; E major of 12 equal steps wants it 13.69 cents lower: 194.454 Hz.
	p.wait("string 3 as the plan has it", "Math.abs(parseFloat(document.querySelector('.detail dd').textContent) - 194.454) < 0.002")
}
