package pagetest

import (
	"math"
	"testing"

	"github.com/chromedp/chromedp"
)

// A plan is kept under a name, is there after the page was loaded anew, is tuned to from Detune and from the choice, and
// undone. The third of E major falls by 400 − 1200·log2(5/4) = 13.69 cents.
func TestPlansAreKept(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#detune")
	p.wait("a plan", detuneReady)
	p.fill("[name=plan]", "Open E, pure")
	p.click("[aria-label='Kept plans'] form button")
	const kept = "document.querySelector('.kept-plans li strong')?.textContent === 'Open E, pure'"
	p.wait("the plan in the list", kept)
	p.do(chromedp.Reload())
	p.wait("it to be there still", kept)

	moved := func() float64 {
		return eval[float64](p, "fetch('api/session').then((r) => r.json()).then((s) => s.settings.plan?.cents[2] ?? 0)")
	}
	p.click(".kept-plans li button")
	p.wait("Tune with the plan", "document.querySelector('.tune')?.checkVisibility() && document.querySelector('.chosen').textContent.includes('plan Open E, pure')")
	if got := moved(); math.Abs(got+13.69) > 0.01 {
		t.Errorf("string 3 is moved by %g cents, want -13.69", got)
	}
	p.click("#undo button")
	p.wait("the guitar without a plan", "!document.querySelector('.chosen').textContent.includes('plan')")
	if got := moved(); got != 0 {
		t.Errorf("undone, string 3 is moved by %g cents", got)
	}

	// Chosen by name; another instrument is undone, too, and has not this one's plans.
	p.click(".chosen")
	p.wait("the choice", "document.querySelector('dialog[open] [name=plan]:enabled')?.length === 2")
	p.choose("dialog[open] [name=plan]", "0")
	p.click("dialog[open] button.main")
	p.wait("the plan", "document.querySelector('.chosen').textContent.includes('plan Open E, pure')")
	p.click(".chosen")
	p.wait("the choice", "document.querySelector('dialog[open] [name=instrument]:enabled')")
	p.choose("dialog[open] [name=instrument]", "violin")
	if n := eval[int](p, "document.querySelector('dialog[open] [name=plan]').length"); n != 1 {
		t.Errorf("for a violin %d plans are offered, want none", n-1)
	}
	p.click("dialog[open] button.main")
	p.wait("the violin", "document.querySelector('.chosen').textContent.includes('Violin')")
	p.click("#undo button")
	p.wait("the guitar and its plan", "document.querySelector('.chosen').textContent.includes('Guitar') && document.querySelector('.chosen').textContent.includes('plan Open E, pure')")

	p.visit("detune")
	p.click(".kept-plans li button:last-child")
	p.click(".kept-plans li button:last-child")
	p.wait("it to be forgotten", "document.querySelector('.kept-plans').childElementCount === 0")
}

// Wherever something sounds there is a volume and a stop, and the stop stops.
func TestStopStopsTheSound(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "")
	p.sounding()
	eval[bool](p, `(() => { // how long the voices that were started have to sound, in s from when they were told to stop
  window.ends = [];
  const stop = OscillatorNode.prototype.stop;
  OscillatorNode.prototype.stop = function (at) { ends.push(at - this.context.currentTime); return stop.call(this, at); };
  return true;
})()`)
	for _, c := range []struct{ view, ready, sounds string }{
		{"fretboard", "document.querySelector('.detail button')", ".detail button"},
		{"detune", detuneReady, ".detune [aria-label=Strings] .row button:last-child"},
	} {
		p.visit(c.view)
		p.wait(c.view, c.ready)
		if at := p.find("." + c.view + " .sound [type=range]"); at.Why != "" {
			t.Errorf("%s: the volume %s", c.view, at.Why)
		}
		eval[bool](p, "(ends.length = 0, true)")
		p.click(c.sounds)
		p.wait("a sound", "ends.length > 0 && ends.every((s) => s > 1)")
		eval[bool](p, "(ends.length = 0, true)")
		p.click("." + c.view + " .sound button")
		p.wait("it to stop", "ends.length > 0 && ends.every((s) => s < 0.5)")
	}
}
