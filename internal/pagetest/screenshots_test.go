package pagetest

import (
	"bytes"
	"cmp"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/sound"
	"tunerd/internal/targets"
)

var screenshots = flag.String("screenshots", "", "write pictures of every view to this `FOLDER`")

var sizes = [][2]int64{{360, 740}, {1280, 800}, {3840, 2160}}

// pictured are the looks that are pictured, dark and bright in turn.
var pictured = []look{
	{"tune", "tune", "bench", 0, "document.querySelector('.strings li:nth-child(5) .active')", nil},
	{"strings", "tune", "stage", 0, "document.querySelector('.lanes').checkVisibility()", press(".tune .segments button:nth-child(2)")},
	{"fretboard", "fretboard", "bench", 0, "document.querySelector('.shapes button')", findShapes},
	{"detune", "detune", "stage", 0, detuneReady, nil},
	{"compare", "compare", "bench", 0, compareReady, nil},
	{"journal", "journal", "stage", 0, journalReady, nil},
}

// TestScreenshots writes docs/screens with -screenshots; otherwise it does nothing.
func TestScreenshots(t *testing.T) {
	if *screenshots == "" {
		t.Skip("only with -args -screenshots FOLDER")
	}
	needBrowser(t)
	take, kept := record(t, benchScene(t), 48000), benchJournal(t)
	for _, size := range sizes {
		s := serve(t, "--input", take, "--instrument", benchInstrument, "--journal", kept)
		p := open(t, s, "")
		p.do(chromedp.EmulateViewport(size[0], size[1]))
		p.wait("all strings", "document.querySelectorAll('.strings .age:not(:empty)').length === 6")
		for _, c := range pictured {
			p.show(c)
			p.picture(c.name, size)
			eval[bool](p, "localStorage.removeItem('tunerd.face') ?? true")
		}
		p.do(chromedp.Navigate("about:blank"))
		s.stop()
	}
	for _, size := range sizes {
		s := (&hand{instrument: "guitar-12edo", saddleMM: -1.5, speed: 3}).playTo(t)
		p := open(t, s, "#setup")
		p.do(chromedp.EmulateViewport(size[0], size[1]))
		p.beginCheck(8)
		p.wait("the third string", "document.querySelector('.ask').textContent.startsWith('String 3')")
		p.picture("setup", size)
		p.do(chromedp.Navigate("about:blank"))
		s.stop()
	}
}

var icons = flag.String("icons", "", "draw the icons of the page anew, to this `FOLDER`")

// TestIcons draws icon.svg at the sizes that systems ask for, with -icons; otherwise it does nothing. A maskable icon may
// be cut to a circle: its picture keeps to the middle, and its ground goes to the edge.
func TestIcons(t *testing.T) {
	if *icons == "" {
		t.Skip("only with -args -icons FOLDER")
	}
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "icon.svg")
	for name, c := range map[string]struct {
		size int64
		part float64 // of the size that the picture takes
	}{"192": {192, 1}, "512": {512, 1}, "maskable-512": {512, 0.66}} {
		p.do(chromedp.EmulateViewport(c.size, c.size))
		eval[bool](p, fmt.Sprintf(`((svg, part) => {
  const [all, in_] = [32 / part, (32 / part - 32) / 2];
  svg.setAttribute('viewBox', [-in_, -in_, all, all].join(' '));
  const ground = svg.querySelector('rect');
  for (const [k, v] of Object.entries({ x: -in_, y: -in_, width: all, height: all, rx: 0 })) ground.setAttribute(k, v);
  return true;
})(document.documentElement, %g)`, c.part))
		shot, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(*icons, name+".png"), shrink(t, shot), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	p.forgive() // a drawing that stands alone is asked for its icon, which is not there
}

// picture writes what the page looks like.
func (p *page) picture(name string, size [2]int64) {
	p.t.Helper()
	eval[bool](p, "(scrollTo({ top: 0, behavior: 'instant' }), true)") // where a press has moved the page
	eval[bool](p, "document.fonts.ready.then(() => new Promise((done) => setTimeout(done, 700, true)))")
	shot, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	path := filepath.Join(*screenshots, fmt.Sprintf("%s-%dx%d.png", name, size[0], size[1]))
	if err := os.WriteFile(path, shrink(p.t, shot), 0o644); err != nil {
		p.t.Fatal(err)
	}
}

const benchInstrument = "guitar-41edo-alternate"

// benchScene is a guitar whose strings sound one after another, from the last to string 1, each beside its
// target; string 5 then sounds on. The figures are invented.
func benchScene(t *testing.T) []float64 {
	t.Helper()
	in, err := targets.LoadInstrument(benchInstrument)
	if err != nil {
		t.Fatal(err)
	}
	off := []float64{+0.21, -14.3, +0.08, +5.7, -2.4, -0.32} // of string 1 and on
	var scene []float64
	rng := rand.New(rand.NewPCG(1, 1))
	pluck := func(n int, seconds float64) {
		hz := in.Strings[n-1].Open.Hz * math.Exp2(off[n-1]/1200)
		note := make([]float64, int(seconds*48000))
		spec := sound.String(hz)
		spec.T60, spec.DampS = 8*seconds, seconds-0.2
		spec.AddTo(note, 2400, 48000, rng)
		for _, x := range note {
			scene = append(scene, 0.2*x+1e-5*rng.NormFloat64())
		}
	}
	for n := len(off); n >= 1; n-- {
		pluck(n, 1.6)
	}
	pluck(5, 60)
	return scene
}

// benchJournal is the journal of two strings over five sittings. The figures are invented.
func benchJournal(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "journal.db")
	j, err := sqlite.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	start := time.Date(2024, 3, 1, 9, 30, 0, 0, time.UTC)
	strings := []journal.String{{Number: 5, Label: "A2", TargetHz: 110}, {Number: 6, Label: "E2", TargetHz: 82.41}}
	for i, found := range [][2]float64{{-14, -9}, {-6.5, -2.1}, {-3.2, -0.9}, {-1.4, 0.4}, {-0.8, -0.3}} {
		at := start.AddDate(0, 0, 4*i)
		rec := j.Begin(journal.Session{Kind: "listen", Instrument: benchInstrument, Strings: strings, Started: at, Ended: at.Add(9 * time.Minute)}, nil)
		for k, s := range strings {
			for _, x := range []struct{ t, cents float64 }{{10, found[k]}, {40, 0.1 * float64(k+1)}} {
				rec.Add(journal.Reading{TimeS: x.t + 60*float64(k), String: s.Number, Label: s.Label, TargetHz: s.TargetHz,
					F1Hz: s.TargetHz * math.Exp2(x.cents/1200), SigmaCents: 0.05, Cents: x.cents})
			}
		}
		if err := rec.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := j.AddEvent(t.Context(), journal.Event{Kind: journal.NewStrings, Instrument: benchInstrument, At: start.Add(-time.Hour)}); err != nil {
		t.Fatal(err)
	}
	return path
}

// shrink writes a picture with the 256 colours that it has most of, as small as PNG allows: text is smoothed in some
// hundred shades, most of which hardly occur.
func shrink(t *testing.T, data []byte) []byte {
	t.Helper()
	full, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	count := map[color.RGBA]int{}
	b := full.Bounds()
	at := func(x, y int) color.RGBA { return color.RGBAModel.Convert(full.At(x, y)).(color.RGBA) }
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	colours := make([]color.RGBA, 0, len(count))
	for c := range count {
		colours = append(colours, c)
	}
	slices.SortFunc(colours, func(a, b color.RGBA) int {
		return cmp.Or(count[b]-count[a], int(a.R)-int(b.R), int(a.G)-int(b.G), int(a.B)-int(b.B))
	})
	var palette color.Palette
	for _, c := range colours[:min(256, len(colours))] {
		palette = append(palette, c)
	}
	index := make(map[color.RGBA]uint8, len(colours))
	for _, c := range colours {
		index[c] = uint8(palette.Index(c))
	}
	small := image.NewPaletted(b, palette)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			small.SetColorIndex(x, y, index[at(x, y)])
		}
	}
	var out bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, small); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
