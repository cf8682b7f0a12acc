package pagetest

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// A reference that pulls the strings up brings the caution into view; one that brings a string near to
// breaking is asked about first. E4 at A4=600 bears 53.7·(600/440)² = 99.9 % of what breaks it.
func TestTuneShowsTheCaution(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo"), "#tune")
	p.sounding()
	const caution = "document.querySelector('.tune .caution')"
	if eval[bool](p, caution+".checkVisibility()") {
		t.Error("the guitar as it is has a caution")
	}
	choose := func(reference string) {
		t.Helper()
		p.click(".chosen")
		p.wait("the dialog", "document.querySelector('dialog[open] [name=instrument]')?.value === 'guitar-12edo'")
		p.fill("dialog[open] [name=reference]", reference)
		p.click("dialog[open] button.main")
	}
	choose("A4=442")
	p.wait("the caution", caution+".checkVisibility()")
	if said := p.text(".tune .caution summary"); said != "caution: raises strings 1 to 6; wear eye protection, slacken first if unsure" {
		t.Errorf("it says %q", said)
	}
	p.click(".tune .caution summary")
	p.wait("the figures", "document.querySelector('.tune .caution li').checkVisibility()")
	if said := p.text(".tune .caution li"); !strings.HasPrefix(said, "string 1 (E4) rises by 7.85 cents: 73.3 N, 54.2% of its breaking limit") {
		t.Errorf("the first string: %q", said)
	}

	p.do(chromedp.Navigate(eval[string](p, "location.href.replace(/#.*/, '#setup')")))
	p.wait("the caution of the check, too", "document.querySelector('.setup .caution.folded')?.checkVisibility()")
	p.do(chromedp.Navigate(eval[string](p, "location.href.replace(/#.*/, '#tune')")))
	p.sounding()

	const asked = "document.querySelector('dialog[open] [name=risk]')?.checkVisibility()"
	choose("A4=600")
	p.wait("the question", asked)
	p.forgive() // the refusal is told on the console, too
	if said := p.text("dialog[aria-labelledby=risk-title] p"); said != "string 1 (E4) would bear 99.8% of its breaking limit; targets go up to 75%" {
		t.Errorf("it asks %q", said)
	}
	const go_ = "document.querySelector('dialog[aria-labelledby=risk-title] button.main')"
	if !eval[bool](p, go_+".disabled") {
		t.Error("it can be done before it is accepted")
	}
	p.click("dialog[aria-labelledby=risk-title] .actions button")
	p.wait("the dialog of before", "!document.querySelector('dialog[aria-labelledby=risk-title]').open")
	if ref := eval[string](p, "fetch('api/session').then((r) => r.json()).then((s) => s.settings.reference)"); ref != "A4=442" {
		t.Errorf("cancelled, the reference is %q", ref)
	}
	p.click("dialog[open] button.main")
	p.wait("the question again", asked)
	p.forgive()
	p.click("dialog[open] [name=risk]")
	p.click("dialog[aria-labelledby=risk-title] button.main")
	p.wait("what was accepted", "!document.querySelector('dialog[open]') && document.querySelector('.tune .caution summary').textContent.startsWith('caution: puts string 1 beyond 75%')")
}

// A plan beyond the limit is not shown before it is accepted.
func TestDetuneAsksBeforeTheLimit(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo", "--reference", "A4=535", "--accept-risk"), "#detune")
	p.wait("the refusal", "document.querySelector('.detune [role=alert]')?.textContent.includes('of its breaking limit; targets go up to 75%')")
	p.forgive()
	const by = "document.querySelector('.limits .by')?.textContent.includes('¢')"
	if eval[bool](p, "Boolean("+by+") || !document.querySelector('.detune button.main').disabled") {
		t.Error("the refused plan is shown")
	}
	p.wait("the box", "document.querySelector('.detune [name=risk]').checkVisibility()")
	p.click(".detune [name=risk]")
	p.wait("the plan", by)
	if said := p.text(".detune .cautions li"); !strings.HasPrefix(said, "caution: puts string 1 beyond 75%") {
		t.Errorf("the plan says %q", said)
	}
	p.click(".detune button.main")
	p.wait("Tune with the plan", "document.querySelector('.tune')?.checkVisibility() && document.querySelector('.chosen').textContent.includes('plan')")
}
