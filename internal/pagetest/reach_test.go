package pagetest

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// findReach looks for an element as a person would who can scroll: it answers with the place to press, or with
// why there is none. Scrolling counts only where a hand can do it: a box that hides what overflows is not moved.
const findReach = `((selector) => {
  const el = document.querySelector(selector);
  const not = (why) => ({ x: 0, y: 0, why });
  if (!el) return not('is not there');
  if (!el.checkVisibility({ opacityProperty: true, visibilityProperty: true })) return not('is not displayed');
  if (el.matches(':disabled')) return not('is disabled');
  const boxes = [];
  for (let b = el.parentElement; b; b = b.parentElement) {
    const style = getComputedStyle(b);
    const stuck = (axis) => axis === 'hidden' || axis === 'clip';
    boxes.push({ b, left: b.scrollLeft, top: b.scrollTop, x: stuck(style.overflowX), y: stuck(style.overflowY) });
  }
  el.scrollIntoView({ block: 'center', inline: 'nearest', behavior: 'instant' });
  for (const { b, left, top, x, y } of boxes) {
    if (x && b.scrollLeft !== left) b.scrollLeft = left;
    if (y && b.scrollTop !== top) b.scrollTop = top;
  }
  const r = el.getClientRects()[0];
  if (!r || r.width < 1 || r.height < 1) return not('has no size');
  const [x, y] = [r.left + r.width / 2, r.top + r.height / 2];
  if (x < 0 || y < 0 || x >= innerWidth || y >= innerHeight) return not('is off the screen and cannot be scrolled to');
  const top = document.elementFromPoint(x, y);
  const own = top && (el.contains(top) || top.closest('label')?.control === el);
  return own ? { x, y, why: '' } : not('is covered by ' + (top?.outerHTML.slice(0, 120) ?? 'nothing that can be pressed'));
})(%s)`

// A place is where an element can be pressed, or why it cannot.
type place struct {
	X   float64 `json:"x"`
	Y   float64 `json:"y"`
	Why string  `json:"why"`
}

// find looks once for the first element that a selector finds.
func (p *page) find(selector string) place {
	p.t.Helper()
	quoted, err := json.Marshal(selector)
	if err != nil {
		p.t.Fatal(err)
	}
	return eval[place](p, fmt.Sprintf(findReach, quoted))
}

// reach waits until a person could press an element, and returns where.
func (p *page) reach(selector string) place {
	p.t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(30 * time.Millisecond) {
		at := p.find(selector)
		if at.Why == "" {
			return at
		}
		if time.Now().After(end) {
			p.t.Fatalf("%s %s; the page says: %.2000q", selector, at.Why, eval[string](p, "document.body.innerText"))
		}
	}
}

// click presses the first element that a selector finds with the mouse, where a person would.
func (p *page) click(selector string) {
	p.t.Helper()
	at := p.reach(selector)
	p.do(chromedp.MouseClickXY(at.X, at.Y))
}

// fill presses a field and types into it in place of what it holds.
func (p *page) fill(selector, value string) {
	p.t.Helper()
	p.click(selector)
	eval[bool](p, fmt.Sprintf("(document.querySelector(%q).select(), true)", selector))
	p.key(value)
}

// choose takes an option of a list that a person could open. The list itself is drawn by the system, not by the page.
func (p *page) choose(selector, value string) {
	p.t.Helper()
	p.reach(selector)
	eval[bool](p, fmt.Sprintf(`((el, value) => {
  if (![...el.options].some((o) => o.value === value && !o.disabled)) throw new Error('no option ' + value);
  el.focus();
  el.value = value;
  for (const name of ['input', 'change']) el.dispatchEvent(new Event(name, { bubbles: true }));
  return true;
})(document.querySelector(%q), %q)`, selector, value))
}

// focus gives the keys to an element that a person could press.
func (p *page) focus(selector string) {
	p.t.Helper()
	p.reach(selector)
	p.do(chromedp.Focus(chromedp.CSS(selector)))
}

// text returns the text of the first element that a selector finds, which must be seen.
func (p *page) text(selector string) string {
	p.t.Helper()
	return eval[string](p, fmt.Sprintf(`((el) => {
  if (!el) throw new Error('is not there');
  if (!el.checkVisibility({ opacityProperty: true, visibilityProperty: true })) throw new Error('is not displayed');
  return el.textContent;
})(document.querySelector(%q))`, selector))
}

// The driver of these tests is no better than a hand: what a hand cannot press it refuses.
func TestDriverRefusesWhatCannotBeReached(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	p.sounding()
	eval[bool](p, `(() => {
  const put = (id, style, inside = document.body, more = {}) => {
    const b = Object.assign(document.createElement('button'), { id, textContent: id, type: 'button', onclick: () => { window.pressed = id; } }, more);
    Object.assign(b.style, { position: 'fixed', left: '40px', top: '300px', zIndex: 20, width: '90px', height: '40px', ...style });
    inside.append(b);
    return b;
  };
  const box = (overflow) => {
    const d = document.createElement('div');
    Object.assign(d.style, { position: 'fixed', left: '300px', top: '300px', width: '100px', height: '100px', overflow, zIndex: 20 });
    document.body.append(d);
    return d;
  };
  put('plain', {});
  put('gone', { top: '200px', display: 'none' });
  put('unseen', { top: '200px', visibility: 'hidden' });
  put('clear', { top: '200px', opacity: 0 });
  put('nothing', { top: '200px', width: 0, minWidth: 0, height: 0, minHeight: 0, padding: 0, border: 0, overflow: 'hidden' });
  put('off', { left: '-500px' });
  put('dead', { top: '500px' }, document.body, { disabled: true });
  put('under', { top: '400px' });
  put('over', { top: '390px', height: '80px' });
  put('cut', { position: 'relative', left: 0, top: '400px' }, box('hidden'));
  const far = box('auto');
  far.style.left = '500px';
  put('rolled', { position: 'relative', left: 0, top: '400px' }, far);
  return true;
})()`)
	for id, why := range map[string]string{
		"gone": "not displayed", "unseen": "not displayed", "clear": "not displayed", "nothing": "no size", "off": "off the screen",
		"dead": "disabled", "under": "covered by", "cut": "covered by", "none": "not there",
	} {
		if got := p.find("#" + id).Why; !strings.Contains(got, why) {
			t.Errorf("a button that is %q: %q, want a refusal that says %q", id, got, why)
		}
	}
	for _, id := range []string{"plain", "rolled", "over"} {
		p.click("#" + id)
		if got := eval[string](p, "window.pressed"); got != id {
			t.Errorf("pressed %q, want %q", got, id)
		}
	}
}
