package pagetest

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// findFaults looks for what does not fit: a page wider than the window, text that reaches over the sides of the window
// or is cut by a box that hides what overflows, and texts that lie over one another. What stands in a box that scrolls
// by itself (a wide table, a fretboard) is reached by scrolling that box, but does not lie over what else stands in it.
// Drawings and what is for screen readers alone are left out.
const findFaults = `(() => {
  const faults = [];
  for (const b of document.querySelectorAll('.boardbox')) b.scrollTo(0, 0); // else open strings stay and cover what is scrolled
  const most = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > most) faults.push('the page is ' + document.documentElement.scrollWidth + ' px wide, the window ' + most);
  const root = document.querySelector('dialog[open]') ?? document.body;
  if (root !== document.body && root.scrollWidth > root.clientWidth) faults.push('the dialog scrolls sideways');
  const texts = [];
  const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const el = node.parentElement;
    if (!node.data.trim() || el.closest('.unseen, .skip, svg, option, noscript, script, [aria-hidden="true"] .ticks, .ticks, .limit-scale') || !el.checkVisibility({ visibilityProperty: true, opacityProperty: true })) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of range.getClientRects()) {
      if (r.width < 1 || r.height < 1) continue;
      texts.push({ el, r, text: node.data.trim().slice(0, 40) });
    }
  }
  const rolls = (style) => style === 'auto' || style === 'scroll';
  const boxOf = (el, scrolls) => {
    for (let b = el; b && b !== root; b = b.parentElement) if (scrolls(b, getComputedStyle(b))) return b;
    return null;
  };
  const sideways = (b, style) => rolls(style.overflowX) && b.scrollWidth > b.clientWidth;
  const anyway = (b, style) => sideways(b, style) || rolls(style.overflowY) && b.scrollHeight > b.clientHeight;
  const name = (t) => JSON.stringify(t.text) + ' in ' + (t.el.className || t.el.parentElement.className || t.el.tagName);
  for (const t of texts) {
    const box = boxOf(t.el, sideways);
    if (!box && (t.r.left < -0.5 || t.r.right > most + 0.5)) faults.push(name(t) + ' reaches from ' + t.r.left.toFixed() + ' to ' + t.r.right.toFixed() + ' px');
    for (let b = t.el; b && b !== root; b = b.parentElement) {
      const style = getComputedStyle(b);
      if (style.overflowX === 'visible' || style.display === 'inline') continue;
      const c = b.getBoundingClientRect();
      if (['hidden', 'clip'].includes(style.overflowX) && (t.r.right > c.right + 1 || t.r.left < c.left - 1)) faults.push(name(t) + ' is cut by ' + (b.className || b.tagName));
      if (['hidden', 'clip'].includes(style.overflowY) && (t.r.bottom > c.bottom + 2 || t.r.top < c.top - 2)) faults.push(name(t) + ' is cut off below by ' + (b.className || b.tagName));
    }
  }
  const boxes = Map.groupBy(texts, (t) => boxOf(t.el, anyway)); // what scrolls goes over what does not, and is not seen there
  for (const flat of boxes.values()) for (let i = 0; i < flat.length; i++) for (let k = i + 1; k < flat.length; k++) {
    const [a, b] = [flat[i].r, flat[k].r];
    const [x, y] = [Math.min(a.right, b.right) - Math.max(a.left, b.left), Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top)];
    if (flat[i].el !== flat[k].el && x > 1 && y > Math.min(a.height, b.height) * 0.4) faults.push(name(flat[i]) + ' lies over ' + name(flat[k]));
  }
  const strobe = document.querySelector('.strobe');
  if (root === document.body && strobe?.checkVisibility()) {
    const high = strobe.getBoundingClientRect().height;
    if (high > innerHeight) faults.push('the strobe is ' + high.toFixed() + ' px high, the window ' + innerHeight);
    if (innerWidth >= 1024 && strobe.getBoundingClientRect().bottom > innerHeight + 1) faults.push('the strobe reaches to ' + strobe.getBoundingClientRect().bottom.toFixed() + ' px, the window to ' + innerHeight);
    for (const c of document.querySelectorAll('.band canvas')) if (c.clientHeight < 12 || c.clientWidth < 100) faults.push('a band of ' + c.clientWidth + ' by ' + c.clientHeight + ' px');
  }
  return [...new Set(faults)].slice(0, 8);
})()`

// layoutSizes are a small and two usual phones, one on its side, tablets upright and on their side, and screens to 4K.
var layoutSizes = [][2]int64{
	{320, 568}, {360, 740}, {390, 844}, {740, 360}, {768, 1024}, {820, 1180}, {1024, 768}, {1100, 720}, {1240, 800}, {1280, 800}, {3840, 2160},
}

// newInstrument is a file as a new user would write it: ukulele, fan (eight strings) or harp (thirty-four, without
// frets and lengths).
func newInstrument(name string) string { return filepath.Join("testdata", "instruments", name+".toml") }

// At every size, with few strings and many, nothing is cut, nothing lies over another, and nothing scrolls sideways.
func TestLayout(t *testing.T) {
	needBrowser(t)
	views := []look{
		{"tune", "tune", "bench", 0, tuneReady, nil},
		{"strings", "tune", "bench", 0, "document.querySelector('.lanes').checkVisibility()", press(".tune .segments button:nth-child(2)")},
		{"choice", "tune", "bench", 0, "document.querySelector('dialog[open] option:nth-child(2)')", press(".chosen")},
		{"help", "tune", "bench", 0, "document.querySelector('dialog[open] .keys')", press("#help-button")},
		{"fretboard", "fretboard", "bench", 0, "document.querySelector('.board [role=gridcell]')", nil},
		{"detune", "detune", "bench", 0, "document.querySelector('.limits li')", nil},
		{"setup", "setup", "bench", 0, "[...document.querySelectorAll('.setup > .panel')].some((e) => e.checkVisibility())", nil},
		{"journal", "journal", "bench", 0, journalReady, nil},
		{"compare", "compare", "bench", 0, compareReady, nil},
	}
	for name, instrument := range map[string]string{"8 strings": newInstrument("fan"), "34 strings": newInstrument("harp")} {
		t.Run(name, func(t *testing.T) {
			t.Parallel() // most of it is waiting
			s := serve(t, "--input", record(t, tone{220 * 1.004, 600, 8000}.samples(), 8000), "--instrument", instrument, "--journal", benchJournal(t))
			p := open(t, s, "")
			p.sounding()
			for _, view := range views {
				p.do(chromedp.EmulateViewport(1280, 800))
				p.show(view)
				for _, size := range layoutSizes {
					p.do(chromedp.EmulateViewport(size[0], size[1]))
					eval[bool](p, "new Promise((done) => setTimeout(done, 120, true))")
					for _, fault := range eval[[]string](p, findFaults) {
						t.Errorf("%s at %d×%d: %s", view.name, size[0], size[1], fault)
					}
				}
				eval[bool](p, "localStorage.clear() ?? true")
			}
		})
	}
}

// A shape of thirty-four strings breaks into lines, and the name of a string does not run under its track.
func TestDetuneOfManyStringsFits(t *testing.T) {
	needBrowser(t)
	text, err := os.ReadFile(newInstrument("harp"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "harp.toml")
	if err := os.WriteFile(path, append([]byte("scale_length_mm = 500\n"), text...), 0o600); err != nil { // shapes are found by length
		t.Fatal(err)
	}
	p := open(t, serve(t, "--input", "demo", "--instrument", path), "#detune")
	p.wait("the shape", "document.querySelector('.limits li') && document.querySelector('.shape-text').textContent")
	for _, width := range []int64{320, 390, 768, 1280} {
		p.do(chromedp.EmulateViewport(width, 800))
		for _, fault := range eval[[]string](p, findFaults) {
			t.Errorf("at %d px: %s", width, fault)
		}
		if wide := eval[[]string](p, tooWideNames); len(wide) > 0 {
			t.Errorf("at %d px names are wider than their column: %q", width, wide)
		}
	}
}

const tooWideNames = "[...document.querySelectorAll('.limits .who')].filter((el) => el.scrollWidth > el.clientWidth).map((el) => el.textContent)"
