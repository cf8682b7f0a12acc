package pagetest

import (
	"strings"
	"testing"
)

// E4 is held and the demo plays a D3: the page says which string it seems to be, shows no deviation by
// which E4 could be wound, and follows it once a visible button says that it is the held string.
func TestHeldStringThatDoesNotSound(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo", "--instrument", "guitar-12edo", "--string", "1"), "")
	const confirm = "button.confirm"
	p.wait("the doubt", "document.querySelector('"+confirm+"').checkVisibility()")
	head := p.text(".head")
	if !strings.Contains(head, "sounds like string 4 (D3)") || !strings.Contains(head, "held is string 1 (E4)") || strings.Contains(head, "flat") {
		t.Errorf("the head says %q", head)
	}
	if guide := eval[bool](p, "Boolean(document.querySelector('.guide .now'))"); guide {
		t.Error("the guide says how the held string lies")
	}
	p.click(confirm)
	p.wait("the held string to be followed", "document.querySelector('.verdict .word').textContent.includes('flat')")
}

// What the rows of the strobe are compared with is said below them, and changed there or by a key.
func TestLegendOfTheRows(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()
	p.wait("the legend", "document.querySelector('.legend').textContent === 'Rows rest when this string is in tune'")
	p.key("x")
	p.wait("exact harmonics", "document.querySelector('.legend').textContent === 'Rows rest at exact harmonics'")
	p.click(".legend")
	p.wait("the string again", "document.querySelector('.legend').textContent === 'Rows rest when this string is in tune'")
}
