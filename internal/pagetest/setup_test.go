package pagetest

import (
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"tunerd/internal/setup"
	"tunerd/internal/sound"
	"tunerd/internal/targets"
)

// A hand plays what a check asks for, on an instrument whose saddle is out of place, into the standard
// input of the program.
type hand struct {
	instrument string
	saddleMM   float64 // off its place, away from the head
	speed      float64 // times that of the sound
	in         io.Writer
	rng        *rand.Rand
}

const handRate = 24000 // Hz

// playTo starts a server that hears the hand until the test ends.
func (h *hand) playTo(t *testing.T) *server {
	t.Helper()
	in, err := targets.LoadInstrument(h.instrument)
	if err != nil {
		t.Fatal(err)
	}
	board, err := setup.NewBoard(in)
	if err != nil {
		t.Fatal(err)
	}
	h.rng = rand.New(rand.NewPCG(1, 1))
	s := serveFrom(t, "127.0.0.1:0", func(cmd *exec.Cmd) error {
		h.in, err = cmd.StdinPipe()
		return err
	}, "--input", "-", "--raw", "f32le", "--rate", strconv.Itoa(handRate), "--instrument", h.instrument)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-stop:
				return
			default:
			}
			if h.write(h.next(s.url, board)) != nil {
				return // the program has gone
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-stopped })
	return s
}

// next is a pluck of the note asked for, or a moment of silence.
func (h *hand) next(url string, board *setup.Board) []float64 {
	scene := make([]float64, handRate/10)
	var state struct{ Prompt *setup.Prompt }
	res, err := http.Get(url + "api/setup")
	if err != nil {
		return scene
	}
	defer res.Body.Close()
	if json.NewDecoder(res.Body).Decode(&state) != nil || state.Prompt == nil {
		return scene
	}
	n := state.Prompt.Note
	hz := board.Hz(n)
	if n.Fret > 0 {
		i := slices.IndexFunc(board.Strings, func(s setup.String) bool { return s.Number == n.String })
		str := &board.Strings[i]
		hz *= math.Exp2(setup.Deviation(str.ScaleMM, setup.Ends{SaddleMM: h.saddleMM}, str.Frets[n.Fret-1].Ratio(), 0) / 1200)
	}
	scene = make([]float64, handRate*21/10)
	spec := sound.String(hz)
	spec.T60, spec.DampS = 6, 1.7
	spec.AddTo(scene, handRate/10, handRate, h.rng)
	return scene
}

// write plays a scene at the speed of the hand, with some noise and at a constant level.
func (h *hand) write(scene []float64) error {
	peak := 1e-9
	for _, x := range scene {
		peak = max(peak, math.Abs(x))
	}
	const part = handRate / 20
	tick := time.NewTicker(time.Duration(float64(time.Second) * part / handRate / h.speed))
	defer tick.Stop()
	for block := range slices.Chunk(scene, part) {
		var b []byte
		for _, x := range block {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(0.4*x/peak*min(peak*1e6, 1)+1e-5*h.rng.NormFloat64())))
		}
		if _, err := h.in.Write(b); err != nil {
			return err
		}
		<-tick.C
	}
	return nil
}

// beginCheck begins one of so many notes a string, each plucked once.
func (p *page) beginCheck(notes int) {
	p.t.Helper()
	p.wait("the form", "document.querySelector('.setup form')?.checkVisibility()")
	p.fill(".setup [name=notes]", strconv.Itoa(notes))
	p.fill(".setup [name=plucks]", "1")
	p.click(".setup form button.main")
	p.wait("the first prompt", "document.querySelector('.ask')?.textContent === 'String 1, open'")
}

// A check is led by the page from its first note to its result: a saddle 1.5 mm too near the head is to be moved back by
// as much, within three standard errors. The sharpness that is played comes from the lengths of the string alone.
func TestSetupIsGuided(t *testing.T) {
	needBrowser(t)
	p := open(t, (&hand{instrument: "guitar-12edo", saddleMM: -1.5, speed: 3}).playTo(t), "#setup")
	p.beginCheck(5)
	p.wait("a note that is through", "document.querySelector('.entries .done')")
	p.wait("the second string", "document.querySelector('.ask').textContent.startsWith('String 2')")
	p.wait("a result", "[...document.querySelectorAll('.setup td')].length > 0")
	saddle := p.text(".setup tbody tr td:nth-child(3)")
	value, sigma, ok := strings.Cut(saddle, " ± ")
	bar, err := strconv.ParseFloat(sigma, 64)
	if !ok || err != nil {
		t.Fatalf("the saddle move is %q", saddle)
	}
	if got := cents(t, value); math.Abs(got-1.5) > 3*bar {
		t.Errorf("the saddle is to be moved by %s mm, it stands 1.5 mm too near", saddle)
	}
	before := p.text(".ask")
	p.key("k")
	p.wait("another prompt", "document.querySelector('.ask').textContent !== '"+before+"'")

	// What keys mean elsewhere they mean here; another instrument asks before it takes the check away.
	p.key("s")
	p.wait("the choice", "document.querySelector('dialog[open] option[value=violin]')")
	p.choose("dialog[open] [name=instrument]", "violin")
	p.click("dialog[open] button.main")
	p.wait("the question", "document.querySelector('dialog[open] .error').textContent.includes('its readings are forgotten')")
	p.forgive() // the browser logs the refusal
	p.key(kb.Escape)
	if !eval[bool](p, "document.querySelector('.guide-panel').checkVisibility()") {
		t.Error("the check has gone although nobody said yes")
	}
	p.key("s")
	p.wait("the choice again", "document.querySelector('dialog[open] option[value=violin]')")
	p.choose("dialog[open] [name=instrument]", "violin")
	p.click("dialog[open] button.main")
	p.wait("the question again", "document.querySelector('dialog[open] button.main').textContent.startsWith('End the check')")
	p.forgive()
	p.click("dialog[open] button.main")
	p.wait("the violin, without a check", "!document.querySelector('dialog[open]') && [...document.querySelectorAll('.setup > .panel')].some((e) => e.checkVisibility() && e.textContent.startsWith('Violin has no frets'))")
	p.forgive() // what the check had found may have been asked for as it ended
}
