package pagetest

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/testkit"
)

// sine returns sin(2π·turns).
func sine(turns float64) float64 { return math.Sin(2 * math.Pi * (turns - math.Floor(turns))) }

// watchStripes follows the left edges of the stripes of the first band for some seconds: a list
// of [time in s, place in px, ...], one for each picture that the display showed. An edge is where the
// brightness of the middle row rises through half of its range; between two pixels by interpolation,
// for edges are drawn smooth.
const watchStripes = `new Promise((done) => {
  const canvas = document.querySelector('.band canvas');
  const ctx = canvas.getContext('2d');
  const out = [];
  const step = (now) => {
    const { data } = ctx.getImageData(0, canvas.height >> 1, canvas.width, 1);
    const light = Array.from({ length: canvas.width }, (_, x) => data[4*x] + data[4*x+1] + data[4*x+2]);
    const half = (Math.max(...light) + Math.min(...light)) / 2;
    const edges = [];
    for (let x = 1; x < light.length; x++) {
      if (light[x-1] < half && light[x] >= half) edges.push(x - 1 + (half - light[x-1]) / (light[x] - light[x-1]));
    }
    out.push([now / 1000, ...edges]);
    if (now - start < %d) requestAnimationFrame(step); else done(out);
  };
  let start = performance.now();
  requestAnimationFrame(step);
})`

// turnsPerSecond returns how fast the pattern moves to the right, in its own periods a second: the
// median slope of straight lines through its unwrapped position. On a busy machine readings come late, and
// the pattern stops and jumps; the median passes over that.
func turnsPerSecond(t *testing.T, pictures [][]float64) float64 {
	t.Helper()
	var period []float64
	for _, p := range pictures {
		for i := 2; i < len(p); i++ {
			period = append(period, p[i]-p[i-1])
		}
	}
	if len(period) < len(pictures) {
		t.Fatalf("%d pictures show %d whole periods: no stripes", len(pictures), len(period))
	}
	pictures = slices.DeleteFunc(pictures, func(p []float64) bool { return len(p) < 2 })
	slices.Sort(period)
	every := period[len(period)/2]
	var times, turns, slopes []float64
	for _, p := range pictures {
		at := p[1] / every
		if n := len(turns); n > 0 {
			at += math.Round(turns[n-1] - at) // the nearest of the places that look alike
			if p[0]-times[n-1] > 0.1 {        // too long ago to tell them apart
				times, turns = nil, nil
			}
		}
		times, turns = append(times, p[0]), append(turns, at)
		if n := len(turns); n >= run {
			slopes = append(slopes, slope(times[n-run:], turns[n-run:]))
		}
	}
	if len(slopes) == 0 {
		t.Fatalf("no %d of %d pictures follow each other closely: the machine is too busy", run, len(pictures))
	}
	slices.Sort(slopes)
	return slopes[len(slopes)/2]
}

// stripes watches the pattern for so many ms. The browser advises against reading a picture back, which no page but only
// this test does.
func (p *page) stripes(ms int) [][]float64 {
	p.t.Helper()
	seen := eval[[][]float64](p, fmt.Sprintf(watchStripes, ms))
	p.forgive()
	return seen
}

// run is how many pictures in a row a rate is taken from.
const run = 15

// slope is that of the least-squares line.
func slope(x, y []float64) float64 {
	var mx, my, xx, xy float64
	for i := range x {
		mx += x[i] / float64(len(x))
		my += y[i] / float64(len(y))
	}
	for i := range x {
		xx += (x[i] - mx) * (x[i] - mx)
		xy += (x[i] - mx) * (y[i] - my)
	}
	return xy / xx
}

// The definition of the strobe: the pattern turns by the frequency error, sharp to the right. A3 = 220 Hz
// in twelve equal steps at A4 = 440 Hz; a cent is a factor of 2^(1/1200).
func TestPatternMovesByTheFrequencyError(t *testing.T) {
	needBrowser(t)
	for _, c := range []struct {
		cents float64
		word  string
	}{{+8, "sharp →"}, {-5, "← flat"}} {
		t.Run(c.word, func(t *testing.T) {
			hz := 220 * math.Exp2(c.cents/1200)
			s := serve(t, "--input", record(t, tone{hz, 40, 48000}.samples(), 48000), "--tuning", "12edo")
			p := open(t, s, "")
			p.sounding()
			p.wait("the verdict", fmt.Sprintf("document.querySelector('.word').textContent === %q", c.word))
			moved := turnsPerSecond(t, p.stripes(2500))
			want := hz - 220
			t.Logf("pattern moves %+.4f turns/s, the error is %+.4f Hz", moved, want)
			if math.Abs(moved-want) > 0.05*math.Abs(want) {
				t.Errorf("pattern moves %+.4f turns a second to the right, want %+.4f within 5 %%", moved, want)
			}
			if note := p.text(".note"); note != "A3" {
				t.Errorf("the page shows %q, want A3", note)
			}
			if got := cents(t, p.text(".cents")); math.Abs(got-c.cents) > 0.15 {
				t.Errorf("the page shows %+g cents, want %+g", got, c.cents)
			}
		})
	}
}

// In tune, the pattern stands still.
func TestPatternStandsStillInTune(t *testing.T) {
	needBrowser(t)
	s := serve(t, "--input", record(t, tone{440, 40, 48000}.samples(), 48000))
	p := open(t, s, "")
	p.sounding()
	p.wait("the verdict", "document.querySelector('.word').textContent === 'in tune'")
	if moved := turnsPerSecond(t, p.stripes(1500)); math.Abs(moved) > 0.02 {
		t.Errorf("pattern moves %+.4f turns a second, want it still", moved)
	}
}

// The recording's pitch is that of testdata/wav/manifest.csv, fitted independently of this program.
func TestRecordingShowsItsNote(t *testing.T) {
	needBrowser(t)
	const file, note, nominal = "strat-G-A3.flac", "A3", 220.0
	want := 1200 * math.Log2(testkit.ReferenceHz(t, file)/nominal)
	once := decode(t, file)
	s := serve(t, "--input", record(t, slices.Repeat(once, 20), 44100))
	p := open(t, s, "")
	p.sounding()
	var shown []float64
	for len(shown) < 25 {
		p.wait("a pitch", "document.querySelector('.head:not(.last) .cents')?.textContent")
		if got := p.text(".note"); got != note {
			t.Fatalf("the page shows %q, want %s", got, note)
		}
		shown = append(shown, cents(t, p.text(".cents")))
		eval[bool](p, "new Promise((done) => setTimeout(done, 80, true))")
	}
	slices.Sort(shown)
	if median := shown[len(shown)/2]; math.Abs(median-want) > 1.5 {
		t.Errorf("the page shows %+.2f cents, the reference is %+.2f", median, want)
	}
}

// A bell has no pitch, which the page says, aloud but once; of the note that follows it says nothing of the kind.
func TestBellIsSaidToRing(t *testing.T) {
	needBrowser(t)
	const rate = 48000
	var take []float64
	for range 20 {
		bell := make([]float64, 3*rate)
		for k, ratio := range []float64{1, 2.32, 4.25, 6.63, 9.38} { // a glass, as in internal/pitch
			for i := range bell {
				t := float64(i) / rate
				bell[i] += 0.15 / float64(k+1) * math.Exp(-3*t) * sine(500*ratio*t)
			}
		}
		take = append(append(take, bell...), tone{hz: 220, seconds: 3, rate: rate}.samples()...)
		take = append(take, make([]float64, rate)...)
	}
	p := open(t, serve(t, "--input", record(t, take, rate)), "")
	const said = "document.getElementById('message').textContent.startsWith(\"no single string's partials\")"
	for range 2 {
		p.wait("what rings", said)
		const again = `new Promise((done) => {
			let times = 0;
			const spoken = document.getElementById('spoken');
			new MutationObserver(() => { if (spoken.textContent.startsWith('no single')) times++; }).observe(spoken, { childList: true });
			setTimeout(() => done(times), 1800);
		})`
		if times := eval[int](p, again); times > 1 { // the stream's own name of the event may follow the picture
			t.Errorf("what rings is said aloud %d times more within 1.8 s", times)
		}
		p.sounding()
		p.wait("the note alone", "document.querySelector('.head:not(.last) .cents')?.textContent && !"+said)
	}
}

func decode(t *testing.T, file string) []float64 {
	t.Helper()
	source, err := capture.Open(context.Background(), filepath.Join("../../testdata/wav", file), capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer source.Close()
	var out []float64
	block := make([]float64, 4096)
	for {
		b, err := source.Read(context.Background(), block)
		out = append(out, b.Samples...)
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// cents reads a deviation as the page writes it.
func cents(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.Replace(text, "−", "-", 1), 64)
	if err != nil {
		t.Fatalf("%q is no deviation in cents", text)
	}
	return v
}

// A chord of recorded notes: strings 6, 3, 2 and 1 of a guitar are open, 5 and 4 are fretted two steps up, and so not
// themselves (testdata/wav/chords). The page says of each string whether it sounds.
func TestStrumShowsEveryString(t *testing.T) {
	needBrowser(t)
	once := decode(t, "chords/chord02-egtr-green-E-minor.flac")
	s := serve(t, "--input", record(t, slices.Repeat(once, 20), 44100), "--instrument", "guitar-12edo")
	p := open(t, s, "")
	p.wait("the strings", "document.querySelectorAll('.strings button').length === 6")
	p.key("m")
	p.wait("the lanes", "document.querySelector('.lanes').checkVisibility()")
	p.wait("the four open strings", "[1, 2, 3, 6].every((n) => /[+−]?\\d/.test(document.querySelectorAll('.lane-cents')[n - 1].textContent))")
	p.wait("the fretted strings to be called silent, or hidden by the others",
		"[4, 5].every((n) => ['silent', 'hidden'].includes(document.querySelectorAll('.lane-word')[n - 1].textContent))")
	p.key("l")
	p.wait("the strobe", "document.querySelector('.strobe').checkVisibility()")
	if eval[bool](p, "fetch('api/session').then((r) => r.json()).then((s) => s.settings.all_strings)") {
		t.Error("all strings are still read at once")
	}
}
