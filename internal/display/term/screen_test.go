package term

import (
	"bytes"
	"context"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
	"pgregory.net/rapid"

	"tunerd/internal/display"
)

// Whatever is drawn at whatever size, the result is h lines of exactly w cells, by the count of
// the terminal library, and no byte of a label can move the cursor.
func TestDrawingFillsWindowExactly(t *testing.T) {
	sgr := regexp.MustCompile("\x1b\\[[0-9;]*m")
	rapid.Check(t, func(t *rapid.T) {
		f := fakeFrame(rapid.Float64Range(-700, 700).Draw(t, "cents"), rapid.Float64Range(0, 1).Draw(t, "t"))
		hostile := rapid.StringOf(rapid.RuneFrom([]rune("A♭♯4\x1b[2J\n\t\x7f\u009b音e\u0301\u200b"))).Draw(t, "label")
		f.Target.Label, f.Input, f.Strings[2].Label = hostile, hostile, hostile
		f.SigmaCents = rapid.Float64Range(0, 20).Draw(t, "sigma")
		s := fakeScene(f)
		if !rapid.Bool().Draw(t, "sounding") {
			s = afterDeath(f, rapid.SampledFrom([]display.State{display.Silent, display.Unsure, display.Lost, display.Ended}).Draw(t, "state"))
		}
		s.message = hostile
		s.help = rapid.IntRange(0, 3).Draw(t, "help")
		s.frame.Strings = s.frame.Strings[:rapid.IntRange(0, 6).Draw(t, "strings")]
		w, h := rapid.IntRange(1, 300).Draw(t, "w"), rapid.IntRange(1, 80).Draw(t, "h")
		d := depth(rapid.IntRange(int(mono), int(direct)).Draw(t, "depth"))

		var c canvas
		c.draw(s, w, h, d)
		lines := strings.Split(sgr.ReplaceAllString(string(c.encode()), ""), "\n")
		if len(lines) != h {
			t.Fatalf("%d lines, want %d", len(lines), h)
		}
		for y, line := range lines {
			if got := ansi.StringWidthWc(line); got != w {
				t.Fatalf("row %d is %d cells wide, want %d: %q", y, got, w, line)
			}
			if i := strings.IndexFunc(line, func(r rune) bool { return r < 0x20 || r >= 0x7f && r < 0xa0 }); i >= 0 {
				t.Fatalf("row %d holds a control character: %q", y, line)
			}
		}
	})
}

// NO_COLOR (no-color.org) asks for no colour; bold is allowed.
func TestNoColourWithoutColours(t *testing.T) {
	var c canvas
	c.draw(fakeScene(fakeFrame(2.1, 0.3)), 120, 40, mono)
	for _, seq := range regexp.MustCompile("\x1b[^m]*m").FindAllString(string(c.encode()), -1) {
		if seq != "\x1b[1m" && seq != "\x1b[22m" && seq != "\x1b[m" {
			t.Errorf("drawing without colours holds %q", seq)
		}
	}
}

// The fixed 256 colours as xterm defines them, searched one by one.
func TestNearestCubeColour(t *testing.T) {
	value := func(i int) (r, g, b int) {
		if i >= 232 {
			v := 8 + 10*(i-232)
			return v, v, v
		}
		levels := [6]int{0, 95, 135, 175, 215, 255}
		return levels[(i-16)/36], levels[(i-16)/6%6], levels[(i-16)%6]
	}
	for _, c := range named {
		best := 1 << 30
		for i := 16; i < 256; i++ {
			r, g, b := value(i)
			best = min(best, distance(c, r, g, b))
		}
		r, g, b := value(int(cubeColour(c)))
		if got := distance(c, r, g, b); got != best {
			t.Errorf("cubeColour(%v) = %d at distance² %d, the nearest is at %d", c, cubeColour(c), got, best)
		}
	}
}

func TestShowKeepsWhatMatters(t *testing.T) {
	now := time.Unix(1000, 0)
	s := New(Options{})
	s.clock = func() time.Time { return now }
	f := fakeFrame(2.1, 0)
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	f.Bands[0].PhaseTurns = 0.77 // the caller's again
	quiet := display.Frame{State: display.Silent, TimeS: 101, AfterGap: true, Gaps: 2}
	if err := s.Show(&quiet); err != nil {
		t.Fatal(err)
	}
	quiet.AfterGap = false
	if err := s.Show(&quiet); err != nil {
		t.Fatal(err)
	}

	var sc scene
	s.snapshot(&sc, now.Add(2*time.Second))
	if r, live := sc.reading(); r == nil || live || r.Cents != 2.1 || r.Bands[0].PhaseTurns != 0 {
		t.Errorf("after silence the reading is %+v (live %v), want the last one unchanged", r, live)
	}
	if msg, _ := sc.status(); msg != "a gap in the input; 2 so far" {
		t.Errorf("2 s after a gap the message is %q", msg)
	}
	s.snapshot(&sc, now.Add(messageTime))
	if msg, _ := sc.status(); msg != "silent: play a note" {
		t.Errorf("%v after a gap the message is %q", messageTime, msg)
	}
	s.forget()
	s.snapshot(&sc, now)
	if r, _ := sc.reading(); r != nil {
		t.Errorf("after clearing the reading is %+v, want none", r)
	}
}

// What a bell rings at is no word on the note that follows; other messages stay.
func TestMessageOfARingGoesWithIt(t *testing.T) {
	now := time.Unix(0, 0)
	s := New(Options{})
	s.clock = func() time.Time { return now }
	for _, c := range []struct {
		rings bool
		want  string
	}{{true, ""}, {false, "said"}} {
		note := fakeFrame(2.1, 0)
		for _, f := range []display.Frame{
			{State: display.Unsure, Rings: c.rings, Message: "said"},
			{State: display.Unsure, Rings: c.rings},
			note,
		} {
			if err := s.Show(&f); err != nil {
				t.Fatal(err)
			}
			var sc scene
			s.snapshot(&sc, now)
			want := "said"
			if f.State == display.Sounding {
				want = c.want
			}
			if msg, _ := sc.status(); msg != want {
				t.Errorf("rings %v, %s: the message is %q, want %q", c.rings, f.State, msg, want)
			}
		}
	}
}

func TestKeysHoldStrings(t *testing.T) {
	rows := fakeStrings("E4", "B3", "G3", "D3", "A2", "E2")
	sounding := fakeStrings("E4", "B3", "G3")
	sounding[1].Active = true
	held := fakeStrings("E4", "B3", "G3")
	held[2].Held, held[0].Active = true, true
	first := fakeStrings("E4", "B3", "G3")
	first[0].Held = true
	for _, c := range []struct {
		key  string
		rows []display.StringRow
		want int // 0: no action
	}{
		{"3", rows, 3}, {"7", rows, 0}, {"0", rows, 0}, {"x", rows, 0}, {"n", nil, 0}, {"1", nil, 0},
		{"n", rows, 1}, {"p", rows, 6}, {"n", sounding, 2}, {"p", sounding, 2},
		{"n", held, 1}, {"p", held, 2}, {"p", first, 3}, {"right", first, 2},
	} {
		a, ok := holdAction(c.key, c.rows)
		if ok != (c.want > 0) || a.String != c.want {
			t.Errorf("key %q with %d strings: %+v, want string %d", c.key, len(c.rows), a, c.want)
		}
	}
}

// A second press counts from the first, even if no frame has come in between.
func TestHoldIsShownAtOnce(t *testing.T) {
	var got []Action
	s := New(Options{Act: func(a Action) { got = append(got, a) }})
	f := fakeFrame(0, 0)
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	m := newModel(s)
	for _, key := range "nnac" {
		m.Update(tea.KeyPressMsg{Code: key, Text: string(key)})
		m.Update(tickMsg(time.Now()))
	}
	want := []Action{{Order: Hold, String: 5}, {Order: Hold, String: 6}, {Order: LetGo}, {Order: Clear}}
	if len(got) != len(want) {
		t.Fatalf("actions %+v, want %+v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("action %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestFreezeStopsPicture(t *testing.T) {
	s := New(Options{})
	f := fakeFrame(2.1, 0)
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	m := newModel(s)
	space := tea.KeyPressMsg{Code: tea.KeySpace, Text: " "}
	m.Update(space)
	f.Cents = -50
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	m.Update(tickMsg(time.Now()))
	if m.scene.frame.Cents != 2.1 {
		t.Errorf("frozen picture shows %g cents, want 2.1", m.scene.frame.Cents)
	}
	m.Update(space)
	m.Update(tickMsg(time.Now()))
	if m.scene.frame.Cents != -50 {
		t.Errorf("picture that goes on shows %g cents, want -50", m.scene.frame.Cents)
	}
}

// While the picture is frozen keys still do what they do, from what the tuner hears now; the picture
// shows none of it until it goes on.
func TestFreezeFreezesAll(t *testing.T) {
	var got []Action
	s := New(Options{Act: func(a Action) { got = append(got, a) }})
	f := fakeFrame(2.1, 0) // string 5 sounds
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	m := newModel(s)
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	m.Update(tickMsg(time.Now()))
	press := func(key rune) { m.Update(tea.KeyPressMsg{Code: key, Text: string(key)}) }
	press(' ')
	frozen := m.View().Content
	f.Strings[4].Active, f.Strings[1].Active = false, true
	f.State, f.Message = display.Lost, "gone"
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	for _, key := range "n2ac" {
		press(key)
		m.Update(tickMsg(time.Now()))
		if m.View().Content != frozen {
			t.Fatalf("key %q changes the frozen picture", key)
		}
	}
	if want := []Action{{Order: Hold, String: 2}, {Order: Hold, String: 2}, {Order: LetGo}, {Order: Clear}}; !slices.Equal(got, want) {
		t.Errorf("actions %+v, want %+v", got, want)
	}
}

// Keys mean the same where all strings are read at once: a string that is held is compared by itself.
func TestKeysWhereAllStringsAreRead(t *testing.T) {
	var got []Action
	s := New(Options{Act: func(a Action) { got = append(got, a) }})
	show := func(f display.Frame) {
		if err := s.Show(&f); err != nil {
			t.Fatal(err)
		}
	}
	m := newModel(s)
	press := func(keys string) {
		for _, key := range keys {
			m.Update(tea.KeyPressMsg{Code: key, Text: string(key)})
		}
	}
	press("m") // no strings are known yet
	show(fakeChord())
	press("3m")
	show(fakeFrame(0, 0))
	press("myx")
	if want := []Action{{Order: Single}, {Order: Hold, String: 3}, {Order: Single}, {Order: Together}, {Order: Confirm}, {Order: SetRows, Rows: display.HarmonicRows}}; !slices.Equal(got, want) {
		t.Errorf("actions %+v, want %+v", got, want)
	}
}

// Control-L draws everything anew, also what the terminal library believes to stand there already.
func TestControlLRepaints(t *testing.T) {
	s := New(Options{})
	f := fakeFrame(2.1, 0)
	if err := s.Show(&f); err != nil {
		t.Fatal(err)
	}
	term, left := start(t, t.Context(), s)
	before := strings.Count(term.String(), "quit")
	io.WriteString(term.keys, "\x0c")
	for strings.Count(term.String(), "quit") == before {
		select {
		case err := <-left:
			t.Fatal("left: ", err)
		case <-time.After(time.Millisecond):
		}
	}
	io.WriteString(term.keys, "q")
	<-left
}

// Every line of the help can be read in the smallest window.
func TestHelpHasPages(t *testing.T) {
	for _, h := range []int{minHeight, 20, 24, 60} {
		m := newModel(New(Options{}))
		m.Update(tea.WindowSizeMsg{Width: minWidth, Height: h})
		seen := ""
		for range 20 {
			m.Update(tea.KeyPressMsg{Code: '?', Text: "?"})
			if m.scene.help == 0 {
				break
			}
			seen += ansi.Strip(m.View().Content)
		}
		if m.scene.help != 0 {
			t.Fatalf("%d rows: the help never closes", h)
		}
		for _, line := range helpText {
			if !strings.Contains(seen, line.does[:min(len(line.does), 24)]) {
				t.Errorf("%d rows: %q is not shown", h, line.does)
			}
		}
	}
}

func TestDrawingAllocatesLittle(t *testing.T) {
	s := fakeScene(fakeFrame(2.1, 0.3))
	var c canvas
	n := testing.AllocsPerRun(20, func() {
		c.draw(s, 120, 40, direct)
		c.encode()
	})
	if n > 100 { // the figures of the head and the list; nothing for a cell
		t.Errorf("a drawing allocates %g times, want at most 100", n)
	}
}

// A terminal is the far end of a screen: what has been written to it, and keys to come.
type terminal struct {
	mu   sync.Mutex
	out  bytes.Buffer
	keys *io.PipeWriter
}

func (t *terminal) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.out.Write(p)
}

func (t *terminal) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.out.String()
}

const (
	enterAlternate = "\x1b[?1049h" // xterm control sequences, DECSET 1049
	leaveAlternate = "\x1b[?1049l"
	showCursor     = "\x1b[?25h"
	hideCursor     = "\x1b[?25l"
)

// start runs s on a pretended terminal until it has been drawn.
func start(t *testing.T, ctx context.Context, s *Screen) (*terminal, <-chan error) {
	t.Helper()
	in, keys := io.Pipe()
	term := &terminal{keys: keys}
	t.Cleanup(func() { keys.Close() })
	left := make(chan error, 1)
	go func() { left <- s.run(ctx, in, term) }()
	for !strings.Contains(term.String(), "quit") {
		select {
		case err := <-left:
			t.Fatalf("the screen was left at once: %v", err)
		case <-t.Context().Done():
			t.Fatal("the screen is never drawn")
		case <-time.After(time.Millisecond):
		}
	}
	return term, left
}

func checkRestored(t *testing.T, term *terminal) {
	t.Helper()
	out := term.String()
	for _, pair := range [][2]string{{enterAlternate, leaveAlternate}, {hideCursor, showCursor}} {
		on, off := strings.LastIndex(out, pair[0]), strings.LastIndex(out, pair[1])
		if on < 0 || off < on {
			t.Errorf("%q at %d is not undone by %q at %d", pair[0], on, pair[1], off)
		}
	}
}

func TestEveryWayOutRestoresTerminal(t *testing.T) {
	for _, c := range []struct {
		name   string
		o      Options
		leave  func(s *Screen, keys io.Writer, cancel func())
		panics bool
	}{
		{"q", Options{}, func(_ *Screen, keys io.Writer, _ func()) { io.WriteString(keys, "q") }, false},
		{"control-C", Options{}, func(_ *Screen, keys io.Writer, _ func()) { io.WriteString(keys, "\x03") }, false},
		{"cancel", Options{}, func(_ *Screen, _ io.Writer, cancel func()) { cancel() }, false},
		{"end", Options{QuitAtEnd: true}, func(s *Screen, _ io.Writer, _ func()) { s.End() }, false},
		{"ended frame", Options{QuitAtEnd: true}, func(s *Screen, _ io.Writer, _ func()) {
			s.Show(&display.Frame{State: display.Ended})
		}, false},
		{"end, then q", Options{}, func(s *Screen, keys io.Writer, _ func()) { s.End(); io.WriteString(keys, "q") }, false},
		{"panic", Options{Act: func(Action) { panic("on purpose, by a test") }},
			func(_ *Screen, keys io.Writer, _ func()) { io.WriteString(keys, "a") }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			s := New(c.o)
			f := fakeFrame(2.1, 0)
			if err := s.Show(&f); err != nil {
				t.Fatal(err)
			}
			term, left := start(t, ctx, s)
			c.leave(s, term.keys, cancel)
			if err := <-left; (err != nil) != c.panics || c.panics && !errors.Is(err, tea.ErrProgramPanic) {
				t.Errorf("Run returned %v", err)
			}
			checkRestored(t, term)
			if err := s.Show(&f); err != ErrClosed {
				t.Errorf("Show after the end returned %v, want ErrClosed", err)
			}
		})
	}
}

func TestCloseRestoresTerminalBeforeReturning(t *testing.T) {
	s := New(Options{})
	term, left := start(t, t.Context(), s)
	s.Close()
	checkRestored(t, term)
	<-left
}
