package command_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/command"
	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/setup"
)

// A hand plays what the program asks for: it reads the prompts, and is the microphone.
type hand struct {
	w    *bench
	rng  *rand.Rand
	keys *io.PipeWriter
	// act may press a key or play something else instead of the note asked for; it is told the
	// prompt, counted from 1, and which pluck of it. It returns false to let the note be played.
	act func(prompt, pluck int, n setup.Note) bool

	mu      sync.Mutex
	said    strings.Builder
	line    strings.Builder
	asked   setup.Note
	prompts int
	plucks  int
	samples []float64 // to be heard
	at      int64
}

const handRate = 24000

var promptPattern = regexp.MustCompile(`^\[\d+/\d+\] string (\d+), (open|harmonic (\d+)|fret (\d+)):`)

// Write is standard error of the program.
func (h *hand) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.said.Write(p)
	for _, c := range p {
		if c != '\n' {
			h.line.WriteByte(c)
			continue
		}
		h.read(h.line.String())
		h.line.Reset()
	}
	return len(p), nil
}

func (h *hand) read(line string) {
	line = strings.TrimRight(line, "\r")
	if m := promptPattern.FindStringSubmatch(line); m != nil {
		number := func(s string) int { n, _ := strconv.Atoi(s); return n }
		h.asked = setup.Note{String: number(m[1]), Harmonic: number(m[3]), Fret: number(m[4])}
		h.prompts++
		h.plucks = 0
		h.play()
	} else if strings.HasSuffix(line, "once more") || strings.Contains(line, "; wanted ") {
		h.play()
	}
}

func (h *hand) play() {
	h.plucks++
	if h.act == nil || !h.act(h.prompts, h.plucks, h.asked) {
		h.sound(h.asked)
	}
}

// sound queues a pluck; h.mu is held.
func (h *hand) sound(n setup.Note) {
	scene := make([]float64, 2.4*handRate)
	h.w.pluck(scene, handRate/4, handRate, n, 1.9, h.rng)
	for i := range scene {
		scene[i] *= 0.4
	}
	h.samples = append(h.samples, scene...)
}

func (h *hand) press(key string) { go io.WriteString(h.keys, key) } //nolint:errcheck // the program may have ended

func (h *hand) Name() string    { return "hand" }
func (h *hand) SampleRate() int { return handRate }
func (h *hand) Live() bool      { return false }
func (h *hand) Close() error    { return nil }

// Read gives what was queued, or silence when nothing was, over some noise.
func (h *hand) Read(ctx context.Context, dst []float64) (capture.Block, error) {
	if ctx.Err() != nil {
		return capture.Block{}, ctx.Err()
	}
	h.mu.Lock()
	n := copy(dst, h.samples)
	h.samples = h.samples[n:]
	for i := range dst {
		if i >= n {
			dst[i] = 0
		}
		dst[i] += 1e-4 * h.rng.NormFloat64()
	}
	start := h.at
	h.at += int64(len(dst))
	h.mu.Unlock()
	if n == 0 {
		time.Sleep(time.Millisecond)
	}
	return capture.Block{Samples: dst, Start: start}, nil
}

// guided runs a guided check with the hand and returns standard output and the exit status.
func (h *hand) guided(t *testing.T, args ...string) (out string, status int) {
	t.Helper()
	in, keys := io.Pipe()
	h.keys = keys
	h.prompts = 0
	h.said.Reset()
	var stdout bytes.Buffer
	root := command.NewRoot(command.Deps{
		Open:          func(context.Context, string, capture.Options) (capture.Source, error) { return h, nil },
		HasMicrophone: func() bool { return true },
		ScreenUsable:  func() bool { return false },
		ErrTerminal:   func() bool { return false },
	})
	root.SetArgs(append([]string{"intonation", "--instrument", "guitar-41edo-alternate"}, args...))
	root.SetIn(in)
	root.SetOut(&stdout)
	root.SetErr(h)
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	defer cancel()
	status = command.Report(h, root.ExecuteContext(ctx))
	if t.Failed() || status != 0 {
		t.Logf("said:\n%s", h.said.String())
	}
	return stdout.String(), status
}

// TestIntonationGuided goes through a check of one string, stops in the middle, goes on, plays a
// wrong fret, skips a note, and does one over. Seed 6.
func TestIntonationGuided(t *testing.T) {
	w := newBench(t)
	h := &hand{w: w, rng: rand.New(rand.NewPCG(6, 6))}
	file := filepath.Join(t.TempDir(), "check.json")
	diary := filepath.Join(t.TempDir(), "journal.db")
	args := []string{"--strings", "5", "--note-count", "10", "--check", file, "--json", "--journal", diary, "--note", "new strings"}

	h.act = func(prompt, pluck int, n setup.Note) bool {
		switch {
		case prompt == 4 && pluck == 1: // the first fret: press one too high
			h.sound(setup.Note{String: n.String, Fret: n.Fret + 1})
			return true
		case prompt == 5 && pluck == 2: // had enough, in the middle of a note
			h.press("q")
			return true
		}
		return false
	}
	out, status := h.guided(t, args...)
	if said := h.said.String(); status != 0 || out != "" || !strings.Contains(said, "that sounds like string 5, fret ") || !strings.Contains(said, "4 of 10 notes") {
		t.Fatalf("stopped with status %d, output %q, and said\n%s", status, out, said)
	}
	kept, err := setup.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	if done, of := kept.Progress(); done != 4 || of != 10 || len(kept.Entries[4].Plucks) != 1 {
		t.Errorf("kept %d of %d notes and %d plucks of the fifth; want 4 of 10 and 1", done, of, len(kept.Entries[4].Plucks))
	}

	var skipped setup.Note
	h.act = func(prompt, pluck int, n setup.Note) bool {
		switch {
		case prompt == 2 && pluck == 1:
			skipped = n
			h.press("s")
			return true
		case prompt == 4 && pluck == 2: // this note from the start
			h.press("r")
			return true
		}
		return false
	}
	out, status = h.guided(t, args...)
	if said := h.said.String(); status != 0 || !strings.Contains(said, "going on with") {
		t.Fatalf("status %d, said\n%s", status, said)
	}
	kept, err = setup.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range kept.Entries {
		if e.Note == skipped && (e.State != setup.Skipped || len(e.Plucks) > 0) {
			t.Errorf("%s is %q with %d plucks; it was skipped", e.Text(), e.State, len(e.Plucks))
		}
		if e.Note != skipped && len(e.Plucks) < 2 {
			t.Errorf("%s has %d plucks, want 2", e.Text(), len(e.Plucks))
		}
	}
	var got found
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	s := got.Result.Strings[0]
	if len(got.Result.Strings) != 1 || math.Abs(s.Place.SaddleMM+1.5) > 3*s.PlaceSigma.SaddleMM || s.PlaceSigma.SaddleMM > 0.2 {
		t.Errorf("saddle found at %+.2f ± %.2f mm, it is at -1.50", s.Place.SaddleMM, s.PlaceSigma.SaddleMM)
	}
	checkDiary(t, diary)
}

// checkDiary looks at what the two sittings have left in the journal.
func checkDiary(t *testing.T, path string) {
	t.Helper()
	j, err := sqlite.OpenExisting(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	sessions, err := j.Sessions(t.Context(), journal.Filter{Kind: "intonation"})
	if err != nil || len(sessions) != 2 {
		t.Fatalf("%d sessions in the journal, error %v; want 2", len(sessions), err)
	}
	for i, s := range sessions {
		all, err := j.Readings(t.Context(), s.ID)
		if err != nil {
			t.Fatal(err)
		}
		if s.Note != "new strings" || s.Instrument != "guitar-41edo-alternate" || s.Input != "hand" || len(all) < 8 {
			t.Errorf("session %d: %q on %s by %s, %d readings", i+1, s.Note, s.Instrument, s.Input, len(all))
		}
		for _, r := range all {
			if r.String != 5 || math.Abs(r.Cents) > 30 || r.FromS != 0.3 || r.ToS != 1.5 {
				t.Errorf("session %d: %+v", i+1, r)
			}
		}
	}
	whole, err := j.Session(t.Context(), sessions[1].ID)
	if err != nil || !strings.Contains(whole.Data, `"intonation":{"strings":[`) {
		t.Errorf("the second session came to %.60q, error %v", whole.Data, err)
	}
}
