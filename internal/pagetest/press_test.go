package pagetest

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// listControls tells what a person could press now: in the dialog that is open, else in the head and the view. Of a
// list of many alike, such as the notes of a board, it tells some.
const listControls = `(() => {
  const dialog = document.querySelector('dialog[open]');
  const root = dialog ?? document;
  const many = new Map();
  const out = [];
  const view = document.querySelector('.view:not([hidden])')?.className ?? '';
  for (const el of document.querySelectorAll('[data-press]')) delete el.dataset.press;
  for (const el of root.querySelectorAll('button, summary, input[type=checkbox], input[type=radio], [role=slider]')) {
    if (el.matches(':disabled') || !el.checkVisibility({ visibilityProperty: true, opacityProperty: true })) continue;
    const list = el.closest('.board, .shapes, .strings, .lanes, .limits, tbody');
    const seen = many.get(list) ?? 0;
    many.set(list, seen + 1);
    if (list && ![0, 5, 17].includes(seen)) continue;
    const name = (list ? list.className + ' ' + seen : el.getAttribute('aria-label') ?? el.closest('label')?.textContent ?? el.textContent).trim();
    const place = dialog?.getAttribute('aria-labelledby') ?? (el.closest('header') ? 'head' : view);
    el.dataset.press = out.length;
    out.push(place + ': ' + name + (el.ariaPressed === 'true' ? ' (on)' : ''));
  }
  return out;
})()`

// quiet waits until the page has asked for nothing for a moment, as a person does.
const quiet = `new Promise((done) => {
  if (window.asked === undefined) {
    window.asked = window.underWay = 0;
    const plain = window.fetch;
    window.fetch = (...args) => {
      window.asked++;
      window.underWay++;
      return plain(...args).finally(() => window.underWay--);
    };
  }
  let before = -1;
  let left = 100;
  const look = () => {
    if (--left === 0 || (window.underWay === 0 && window.asked === before)) return done(true);
    before = window.asked;
    setTimeout(look, 50);
  };
  setTimeout(look, 50);
})`

// saidWrong are the words by which the page says that something was refused.
const saidWrong = `[...document.querySelectorAll('.error, #message, [role=alert], dialog[aria-labelledby=risk-title][open] p')].filter((e) => e.checkVisibility()).map((e) => e.textContent).filter(Boolean)`

// A visitor presses all there is to press, once.
type visitor struct {
	*page
	where   string
	pressed map[string]bool
	missed  map[string]bool // gone when they were to be pressed, as where the view drew itself anew
}

// Everything that a person can press on a phone, a tablet and a screen does something or says why not: no error and no
// message on the console without words on the page, and from everywhere there is a way on.
func TestPressEverything(t *testing.T) {
	needBrowser(t)
	for _, instrument := range []string{"ukulele", "fan", "harp"} {
		t.Run(instrument, func(t *testing.T) {
			t.Parallel() // most of it is waiting
			s := serve(t, "--input", record(t, tone{220 * 1.004, 900, 8000}.samples(), 8000),
				"--instrument", newInstrument(instrument), "--journal", benchJournal(t))
			for _, size := range [][2]int64{{390, 844}, {768, 1024}, {1280, 800}} {
				v := &visitor{page: open(t, s, ""), where: fmt.Sprintf("%s at %d px", instrument, size[0]), pressed: map[string]bool{}, missed: map[string]bool{}}
				v.do(chromedp.EmulateViewport(size[0], size[1]))
				v.sounding()
				for _, view := range []string{"tune", "fretboard", "detune", "compare", "setup", "journal"} {
					v.all(view)
				}
				v.visit("tune")
				v.wait("Tune to go on", "document.getElementById('link-word').textContent === 'sounding'")
				v.do(chromedp.Navigate("about:blank"))
			}
		})
	}
}

// all presses what can be pressed in a view, and in the dialogs that it opens.
func (v *visitor) all(view string) {
	v.t.Helper()
	const most = 120
	for n := 0; ; n++ {
		if n == most {
			v.t.Fatalf("%s: %s is not through after %d presses", v.where, view, most)
		}
		dialog := v.dialog()
		if dialog == "" && !eval[bool](v.page, "document.querySelector('.view."+view+"')?.checkVisibility() ?? false") {
			v.visit(view)
			eval[bool](v.page, quiet)
			v.answered(v.where + ", back to " + view)
		}
		controls := eval[[]string](v.page, listControls)
		i := slices.IndexFunc(controls, func(name string) bool { return !v.pressed[name] })
		switch {
		case i >= 0:
			name := controls[i]
			why := v.press(fmt.Sprintf("[data-press='%d']", i), fmt.Sprintf("%s, %s", v.where, name))
			if why != "" && v.missed[name] {
				v.t.Errorf("%s, %s %s", v.where, name, why)
			}
			v.pressed[name] = why == "" || v.missed[name]
			v.missed[name] = true
		case dialog != "":
			if len(controls) == 0 {
				v.t.Errorf("%s, %s: the dialog %q has no way out", v.where, view, dialog)
			}
			v.key(kb.Escape)
		default:
			return
		}
	}
}

func (v *visitor) dialog() string {
	return eval[string](v.page, "document.querySelector('dialog[open]')?.getAttribute('aria-labelledby') ?? ''")
}

// press presses one control and looks at what came of it; it returns why it could not be pressed.
func (v *visitor) press(selector, what string) (why string) {
	v.t.Helper()
	at := v.find(selector)
	if at.Why != "" {
		return at.Why
	}
	v.do(chromedp.MouseClickXY(at.X, at.Y))
	eval[bool](v.page, quiet)
	v.answered(what)
	return ""
}

// answered checks that the browser has logged nothing but what the page says in words.
func (v *visitor) answered(what string) {
	v.t.Helper()
	complaints := v.complaints()
	if len(complaints) == 0 {
		return
	}
	v.forgive()
	// The console has an answer before the page does.
	said := eval[[]string](v.page, saidWrong)
	for end := time.Now().Add(time.Second); len(said) == 0 && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		said = eval[[]string](v.page, saidWrong)
	}
	for _, c := range complaints {
		refused := strings.Contains(c, "status of 400") || strings.Contains(c, "status of 409")
		if !refused || len(said) == 0 {
			v.t.Errorf("%s: the console has %q, the page says %q", what, c, said)
		}
	}
	for _, words := range said {
		if strings.Contains(words, "/api/") || strings.Contains(words, "PATCH") || strings.Contains(words, "undefined") || strings.Contains(words, "NaN") {
			v.t.Errorf("%s: the page says %q", what, words)
		}
	}
}

// Nonsense in any field is answered in words that name it, and forgotten when it is taken away.
func TestNonsenseInEveryField(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", record(t, tone{220 * 1.004, 900, 8000}.samples(), 8000), "--instrument", newInstrument("ukulele"), "--journal", benchJournal(t))
	p := open(t, s, "")
	p.do(chromedp.EmulateViewport(390, 844))
	p.sounding()
	v := &visitor{page: p, where: "nonsense"}
	for _, c := range []struct{ view, field, submit string }{
		{"fretboard", "chord", ".fretboard form button"},
		{"fretboard", "span", ".fretboard form button"},
		{"fretboard", "within", ".fretboard form button"},
		{"detune", "ratios", ""},
		{"detune", "limit", ""},
		{"compare", "chords", ".compare form button"},
		{"compare", "from", ".compare form button"},
		{"compare", "to", ".compare form button"},
		{"compare", "of", ".compare form button"},
		{"setup", "notes", ".setup form button"},
		{"setup", "plucks", ".setup form button"},
		{"setup", "thread", ".setup form button"},
		{"tune", "tuning", "dialog[open] button.main"},
		{"tune", "reference", "dialog[open] button.main"},
	} {
		v.visit(c.view)
		if c.view == "tune" {
			v.click(".chosen")
			v.wait("the choice", "document.querySelector('dialog[open] [name=instrument]:enabled')")
		}
		eval[bool](p, quiet)
		field := "[name=" + c.field + "]"
		value := eval[string](p, fmt.Sprintf("document.querySelector(%q).value", field))
		for _, nonsense := range []string{"☃ <b>1/0", "-1e999", "99999999999999999999", "0/0:nan", strings.Repeat("9:", 40)} {
			v.fill(field, kb.Backspace+nonsense)
			what := fmt.Sprintf("%s, %s = %.20q", c.view, c.field, nonsense)
			if c.submit != "" {
				v.click(c.submit)
			}
			time.Sleep(200 * time.Millisecond) // fields that answer by themselves wait for the end of typing
			eval[bool](p, quiet)
			if eval[bool](p, fmt.Sprintf("document.querySelector(%q)?.checkVisibility() ?? false", field)) { // else it was taken
				said := eval[[]string](p, saidWrong)
				// The browser lets no letters into a field for numbers; what is left of nonsense may be one.
				marked := eval[bool](p, fmt.Sprintf("((el) => !el.validity.valid || el.type === 'number')(document.querySelector(%q))", field))
				if len(said) == 0 && !marked {
					t.Errorf("%s: nothing is said", what)
				}
			}
			v.answered(what)
			v.endCheck()
		}
		v.fill(field, value)
		if value == "" {
			v.key(kb.Backspace)
		}
		if c.submit != "" {
			v.click(c.submit)
		}
		v.wait(c.view+" as before "+c.field, saidWrong+".length === 0")
		v.endCheck()
		v.forgive()
	}
}

// endCheck ends a check if one has begun.
func (v *visitor) endCheck() {
	v.t.Helper()
	eval[bool](v.page, quiet)
	const running = "document.querySelector('.guide-panel')?.checkVisibility() ?? false"
	if !eval[bool](v.page, running) {
		return
	}
	eval[bool](v.page, "fetch('api/setup', { method: 'DELETE' }).then((r) => r.ok)")
	v.wait("the check to end", "!("+running+")")
}

// Many tabs of one browser, which has six connections to a server that speaks plain HTTP: those out of sight let go of
// their streams, so that the one that is looked at hears and is answered.
func TestManyTabs(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", record(t, tone{220 * 1.004, 900, 8000}.samples(), 8000), "--instrument", newInstrument("ukulele"))
	first := open(t, s, "")
	first.sounding()
	const hide = `(Object.defineProperty(document, 'visibilityState', { configurable: true, get: () => 'hidden' }),
  document.dispatchEvent(new Event('visibilitychange')), true)`
	for range 6 {
		tab := first.tab(s.url)
		tab.wait("the page", "document.querySelector('.tune')")
		eval[bool](tab, hide)
	}
	eval[bool](first, hide)
	last := first.tab(s.url)
	last.sounding()
	last.key("1")
	last.wait("string 1 held", heldString+" === '1'")
}

// tab opens another tab of the same browser.
func (p *page) tab(url string) *page {
	p.t.Helper()
	ctx, stop := chromedp.NewContext(p.ctx)
	p.t.Cleanup(stop)
	q := &page{t: p.t, ctx: ctx}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 800)); err != nil {
		p.t.Fatal(err)
	}
	q.watch()
	// A load that waits for a connection is waited for by the test's own patience.
	quoted, _ := json.Marshal(url) // a string is always marshalled
	eval[bool](q, "(location.href = "+string(quoted)+", true)")
	return q
}
