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
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"

	"tunerd/internal/targets"
)

var screenshots = flag.String("screenshots", "", "write pictures of every view to this `FOLDER`")

var sizes = [][2]int64{{360, 740}, {1280, 800}, {3840, 2160}}

// pictured are the looks that are pictured, dark and bright in turn.
var pictured = []look{
	{"tune", "tune", "bench", 0, tuneReady, ""},
	{"strings", "tune", "stage", 0, "document.querySelector('.lanes').checkVisibility()", "document.querySelectorAll('.tune .segments button')[1].click()"},
	{"fretboard", "fretboard", "bench", 0, "document.querySelector('.shapes button')", findShapes},
	{"detune", "detune", "stage", 0, detuneReady, ""},
	{"compare", "compare", "bench", 0, compareReady, ""},
}

// TestScreenshots writes docs/screens with -screenshots; otherwise it does nothing.
func TestScreenshots(t *testing.T) {
	if *screenshots == "" {
		t.Skip("only with -args -screenshots FOLDER")
	}
	needBrowser(t)
	take := record(t, benchScene(t), 48000)
	for _, size := range sizes {
		s := serve(t, "--input", take, "--instrument", benchInstrument)
		p := open(t, s, "")
		p.do(chromedp.EmulateViewport(size[0], size[1]))
		p.wait("all strings", "document.querySelectorAll('.strings .age:not(:empty)').length === 6")
		for _, c := range pictured {
			p.show(c)
			eval[bool](p, "document.fonts.ready.then(() => new Promise((done) => setTimeout(done, 700, true)))")
			shot, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			name := filepath.Join(*screenshots, fmt.Sprintf("%s-%dx%d.png", c.name, size[0], size[1]))
			if err := os.WriteFile(name, shrink(t, shot), 0o644); err != nil {
				t.Fatal(err)
			}
			eval[bool](p, "localStorage.removeItem('tunerd.face') ?? true")
		}
		s.stop()
		p.forgive()
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
	sound := func(n int, seconds float64) {
		hz := in.Strings[n-1].Open.Hz * math.Exp2(off[n-1]/1200)
		scene = append(scene, tone{hz, seconds, 48000}.samples()...)
		scene = append(scene, make([]float64, 9600)...)
	}
	for n := len(off); n >= 1; n-- {
		sound(n, 1.2)
	}
	sound(5, 60)
	return scene
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
