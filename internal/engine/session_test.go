package engine

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

func sounding(hz float64) pitch.Reading {
	return pitch.Reading{State: pitch.Sounding, Result: pitch.Result{F1Hz: hz, SigmaCents: 0.1,
		Partials: []pitch.Partial{{N: 1, Hz: hz}}}}
}

func TestRecordingIsShownWhole(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "a.wav", rate: 48000, steps: blocks(100, 512)}
		tracker := &parrot{reading: sounding(330)}
		slow := &roll{each: func(*display.Frame) error { time.Sleep(time.Second); return nil }}
		s := NewSession(Config{Source: src, Tracker: tracker, Resolver: &guitar{}, Sinks: []Sink{slow},
			Labels: Labels{Tuning: "12edo", Reference: "A4=440 Hz"}})
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		if len(slow.frames) != 101 {
			t.Fatalf("%d frames of 100 readings and the end, want 101", len(slow.frames))
		}
		first, last := slow.frames[0], slow.frames[100]
		if first.TimeS != 512.0/48000 || first.Input != "a.wav" || first.Tuning != "12edo" || first.F1Hz != 330 {
			t.Errorf("first frame: %+v", first)
		}
		if last.State != display.Ended || !tracker.flushed {
			t.Errorf("last frame is %q, flushed %v; want the end and a flush", last.State, tracker.flushed)
		}
		if last.Gaps != 0 {
			t.Errorf("%d gaps, want none: a recording waits", last.Gaps)
		}
	})
}

// A display that hangs costs frames, never samples.
func TestSlowDisplayDoesNotHoldUpLiveAudio(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		steps := append(blocks(1000, 512), step{n: 512, wait: release})
		for i := range steps[:1000] {
			steps[i].wait = after(10 * time.Millisecond * time.Duration(i+1))
		}
		src := &script{name: "mic", rate: 48000, live: true, steps: steps}
		tracker := &parrot{reading: sounding(330)}
		hung := &roll{each: func(*display.Frame) error { <-release; return nil }}
		brisk := &roll{}
		s := NewSession(Config{Source: src, Tracker: tracker, Resolver: &guitar{}, Sinks: []Sink{hung, brisk}})
		ended := make(chan error, 1)
		go func() { ended <- s.Run(t.Context()) }()
		time.Sleep(11 * time.Second)
		synctest.Wait()
		if tracker.pushed != 1000*512 {
			t.Errorf("%d samples analysed while a display hung, want %d", tracker.pushed, 1000*512)
		}
		close(release)
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
		if n := len(hung.frames); n > 4 {
			t.Errorf("the display that hung was shown %d frames, want the first and the latest only", n)
		}
		if n := len(brisk.frames); n < 1000 {
			t.Errorf("the other display was shown %d frames of 1002", n)
		}
		if last := hung.frames[len(hung.frames)-1]; last.State != display.Ended || last.Gaps != 0 {
			t.Errorf("last frame %q with %d gaps, want the end without gaps", last.State, last.Gaps)
		}
	})
}

// after returns a channel that is closed when d has passed.
func after(d time.Duration) <-chan struct{} {
	c := make(chan struct{})
	time.AfterFunc(d, func() { close(c) })
	return c
}

// A recording that is played in real time waits for an analysis that is late: no sound is lost, also
// where the source is wrapped as for a corrected clock.
func TestPlayedRecordingWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "a.wav", rate: 48000, live: true, waits: true, steps: blocks(6*queueBlocks, 512)}
		stall := time.Minute
		tracker := &parrot{reading: sounding(330), before: func() { time.Sleep(stall); stall = 0 }}
		all := &roll{}
		corrected := clock.Correct(src, clock.Correction{PPM: 12, By: clock.ByUser})
		s := NewSession(Config{Source: corrected, Tracker: tracker, Resolver: &guitar{}, Sinks: []Sink{all}})
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		if last := all.frames[len(all.frames)-1]; last.Gaps != 0 || tracker.pushed != 6*queueBlocks*512 {
			t.Errorf("%d gaps, %d of %d samples analysed", last.Gaps, tracker.pushed, 6*queueBlocks*512)
		}
	})
}

// An analysis that is too slow loses samples, and says so.
func TestOverflowIsCountedAndShown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "mic", rate: 48000, live: true}
		for i := range 6 * queueBlocks {
			src.steps = append(src.steps, step{n: 512, wait: after(10 * time.Millisecond * time.Duration(i+1))})
		}
		stall := time.Second
		tracker := &parrot{reading: sounding(330), before: func() { time.Sleep(stall); stall = 0 }}
		all := &roll{}
		s := NewSession(Config{Source: src, Tracker: tracker, Resolver: &guitar{}, Sinks: []Sink{all}})
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		last := all.frames[len(all.frames)-1]
		if last.Gaps != 1 {
			t.Errorf("%d gaps counted, want 1", last.Gaps)
		}
		i := slices.IndexFunc(all.frames, func(f display.Frame) bool { return f.AfterGap })
		if i < 0 {
			t.Fatal("no frame tells of the gap")
		}
		if !strings.Contains(all.frames[i].Message, "lost") {
			t.Errorf("message %q, want one about lost sound", all.frames[i].Message)
		}
		if tracker.pushed >= src.start {
			t.Errorf("%d of %d samples analysed: nothing was lost, so nothing was tested", tracker.pushed, src.start)
		}
	})
}

func TestLostDeviceIsShownAndTakenUpAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "mic", rate: 48000, live: true, steps: []step{
			{n: 512}, {err: capture.ErrDeviceLost, wait: after(time.Second)},
			{err: capture.ErrDeviceLost, wait: after(2 * time.Second)},
			{n: 512, skip: 96000, wait: after(3 * time.Second)}, {n: 512, wait: after(4 * time.Second)},
		}}
		all := &roll{}
		s := NewSession(Config{Source: src, Tracker: &parrot{reading: sounding(330)}, Resolver: &guitar{}, Sinks: []Sink{all}})
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		want := []display.State{display.Sounding, display.Lost, display.Sounding, display.Ended}
		if !slices.Equal(all.states(), want) {
			t.Fatalf("states %q, want %q", all.states(), want)
		}
		lost, back := all.frames[1], all.frames[2]
		if !strings.Contains(lost.Message, "mic") || !strings.Contains(lost.Message, "waiting") {
			t.Errorf("message %q, want the device and what happens now", lost.Message)
		}
		if !back.AfterGap || back.Gaps != 1 || !strings.Contains(back.Message, "2 s of sound lost") {
			t.Errorf("frame on return: gap %v, %d gaps, message %q", back.AfterGap, back.Gaps, back.Message)
		}
		if next := all.frames[3]; next.AfterGap || next.Message != "" {
			t.Errorf("the frame after that still tells of the gap: %+v", next)
		}
	})
}

func TestErrorsOfTheSourceEndTheSession(t *testing.T) {
	broken := errors.New("data chunk ends early")
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "a.wav", rate: 48000, steps: []step{{n: 512}, {err: broken}}}
		err := NewSession(Config{Source: src, Tracker: &parrot{}, Resolver: &guitar{}}).Run(t.Context())
		if !errors.Is(err, broken) {
			t.Errorf("Run = %v, want the error of the source", err)
		}
	})
}

func TestErrorOfASinkEndsTheSession(t *testing.T) {
	full := errors.New("disk full")
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "mic", rate: 48000, live: true, steps: []step{{n: 512}, {n: 512, wait: make(chan struct{})}}}
		sink := &roll{each: func(*display.Frame) error { return full }}
		err := NewSession(Config{Source: src, Tracker: &parrot{}, Resolver: &guitar{}, Sinks: []Sink{sink}}).Run(t.Context())
		if !errors.Is(err, full) {
			t.Errorf("Run = %v, want the error of the sink", err)
		}
	})
}

func TestCancelEndsCleanlyEvenIfASinkHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		hang := make(chan struct{})
		ctx, cancel := context.WithCancel(t.Context())
		src := &script{name: "a.wav", rate: 48000, steps: blocks(100, 512)}
		sink := &roll{each: func(*display.Frame) error { <-hang; return nil }}
		s := NewSession(Config{Source: src, Tracker: &parrot{}, Resolver: &guitar{}, Sinks: []Sink{sink}})
		ended := make(chan error, 1)
		go func() { ended <- s.Run(ctx) }()
		synctest.Wait()
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("Run = %v after cancel, want nil", err)
		}
		close(hang)
	})
}

func TestHoldAndClear(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "a.wav", rate: 48000, steps: blocks(60, 512)}
		reading := sounding(330)
		reading.NewOnset = true
		resolver := &guitar{}
		all := &roll{}
		s := NewSession(Config{Source: src, Tracker: &parrot{reading: reading}, Resolver: resolver, Sinks: []Sink{all}})
		all.each = func(*display.Frame) error {
			switch len(all.frames) {
			case 20:
				return s.Hold(5)
			case 40:
				s.Clear()
				return s.Hold(2)
			}
			return nil
		}
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		free, held, last := all.frames[10], all.frames[30], all.frames[59]
		if row := free.Strings[0]; !row.Active || !row.Read || row.Held || row.Cents != 1 || row.AtS != free.TimeS {
			t.Errorf("row of the sounding string: %+v", row)
		}
		if row := held.Strings[4]; !row.Held || !row.Active || held.Target.String != 5 {
			t.Errorf("row of the held string: %+v, target string %d", row, held.Target.String)
		}
		if row := held.Strings[0]; row.Active || !row.Read {
			t.Errorf("row of the string read before: %+v, want its reading kept", row)
		}
		if row := last.Strings[0]; row.Read {
			t.Errorf("row after clear: %+v, want no reading", row)
		}
		if resolver.resets != 60 {
			t.Errorf("%d resets, want one for each of 60 new notes", resolver.resets)
		}
		if err := s.Hold(7); err == nil || !strings.Contains(err.Error(), "1 to 6") {
			t.Errorf("Hold(7) = %v, want the range of strings", err)
		}
	})
}

func TestGreetingComesWithTheFirstFrame(t *testing.T) {
	src := &script{name: "demo", rate: 48000, steps: blocks(3, 512)}
	all := &roll{}
	s := NewSession(Config{Source: src, Tracker: &parrot{}, Resolver: &guitar{}, Sinks: []Sink{all}, Greeting: "welcome"})
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if all.frames[0].Message != "welcome" || all.frames[1].Message != "" {
		t.Errorf("messages %q, %q; want the greeting once, at first", all.frames[0].Message, all.frames[1].Message)
	}
}

// What is said in the middle of a session comes with the next frame, and once.
func TestSayComesWithTheNextFrame(t *testing.T) {
	src := &script{name: "demo", rate: 48000, steps: blocks(20, 512)}
	all := &roll{}
	var s *Session
	all.each = func(*display.Frame) error {
		if len(all.frames) == 3 {
			s.Say("the disk is full")
		}
		return nil
	}
	s = NewSession(Config{Source: src, Tracker: &parrot{}, Resolver: &guitar{}, Sinks: []Sink{all}})
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	said := 0
	for _, f := range all.frames {
		if f.Message == "the disk is full" {
			said++
		}
	}
	if said != 1 {
		t.Errorf("said %d times, want once", said)
	}
}

// What rings is named as soon as it does, also where it begins with the stream, and again once a second.
func TestWhatRingsIsNamed(t *testing.T) {
	const rate, hop = 48000, 480
	f := newFramer(&Config{Source: &script{rate: rate}, Resolver: &guitar{}})
	bell := pitch.Reading{State: pitch.Inharmonic, Result: pitch.Result{Partials: []pitch.Partial{{Hz: 440}, {Hz: 1045.04}}}}
	var said []int
	for i := range 250 {
		r := bell
		if i == 30 {
			r = pitch.Reading{State: pitch.Unsure}
		}
		r.At = int64(i * hop)
		switch out := f.reading(&r); out.Message {
		case "":
		case "no single string's partials: 440.0, 1045.0 Hz":
			said = append(said, i)
		default:
			t.Fatalf("hop %d: %q", i, out.Message)
		}
	}
	if want := []int{0, 31, 131, 231}; !slices.Equal(said, want) {
		t.Errorf("said at hops %v, want %v", said, want)
	}
}

// A panic goes on, but not before the terminal is put in order.
func TestCrashIsToldOfAPanic(t *testing.T) {
	told := false
	s := NewSession(Config{Source: &script{rate: 48000}, Resolver: &guitar{}, Crash: func() { told = true }})
	var got any
	func() {
		defer func() { got = recover() }()
		defer s.crash()
		panic("slip")
	}()
	if !told || got != "slip" {
		t.Errorf("told %v, panic went on as %v", told, got)
	}
}

func TestFrettedNoteLeavesTheOpenReading(t *testing.T) {
	src := &script{name: "a.wav", rate: 48000, steps: blocks(1, 512)}
	all := &roll{}
	s := NewSession(Config{Source: src, Tracker: &parrot{reading: sounding(349)}, Resolver: &guitar{fret: 1}, Sinks: []Sink{all}})
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if row := all.frames[0].Strings[0]; !row.Active || row.Read {
		t.Errorf("row of a fretted string: %+v, want it active without a reading of the open string", row)
	}
}

func TestLatencyIsFromArrivalToEmission(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "mic", rate: 48000, live: true}
		for i := range 100 {
			src.steps = append(src.steps, step{n: 512, wait: after(10 * time.Millisecond * time.Duration(i+1))})
		}
		tracker := &parrot{reading: sounding(330), before: func() { time.Sleep(3 * time.Millisecond) }}
		s := NewSession(Config{Source: src, Tracker: tracker, Resolver: &guitar{}})
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		want := Latency{Readings: 100, Median: 3 * time.Millisecond, P99: 3 * time.Millisecond, Max: 3 * time.Millisecond}
		if got := s.Latency(); got != want {
			t.Errorf("latency %+v, want %+v", got, want)
		}
	})
}

func TestLatencyKeepsTheNewest(t *testing.T) {
	l := newLatencies()
	for i := range latencyKept + 100 {
		l.add(time.Duration(i))
	}
	got := l.summary()
	if got.Readings != latencyKept || got.Max != latencyKept+99 {
		t.Errorf("summary %+v", got)
	}
	if want := time.Duration(100 + (latencyKept-1)/2); got.Median != want {
		t.Errorf("median %d, want %d", got.Median, want)
	}
}

func TestFramesAllocateNothing(t *testing.T) {
	src := &script{name: "mic", rate: 48000, live: true}
	s := NewSession(Config{Source: src, Tracker: &parrot{}, Resolver: &guitar{}, Sinks: []Sink{&roll{}}})
	r := sounding(330)
	var shown display.Frame
	ctx := t.Context()
	work := func() {
		r.At += 512
		s.post(ctx, s.framer.reading(&r))
		s.boxes[0].take(ctx, &shown)
	}
	work()
	work()
	if n := testing.AllocsPerRun(100, work); n != 0 {
		t.Errorf("%v allocations a frame, want none", n)
	}
}

// A new target takes effect with the next block, and the stream goes on without a gap.
func TestRetune(t *testing.T) {
	other := &guitar{fret: 3}
	tracker := &parrot{reading: pitch.Reading{State: pitch.Sounding, Result: pitch.Result{F1Hz: 100}}}
	seen := &roll{}
	s := NewSession(Config{
		Source: &script{name: "two blocks", rate: 48000, steps: blocks(2, 512)}, Tracker: tracker, Resolver: &guitar{},
		Sinks: []Sink{seen}, Labels: Labels{Tuning: "old"},
	})
	if err := s.Hold(2); err != nil {
		t.Fatal(err)
	}
	pushes := 0
	tracker.before = func() {
		if pushes++; pushes == 1 {
			s.Retune(TargetConfig{Resolver: other, Labels: Labels{Tuning: "new"}, Bands: func(targets.Target) []int { return []int{9} }})
		}
	}
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	before, after := seen.frames[0], seen.frames[1]
	if before.Tuning != "old" || before.Target.Fret != 0 || !before.Strings[1].Held || !before.Strings[1].Read {
		t.Errorf("before: tuning %q, target %+v, strings %+v", before.Tuning, before.Target, before.Strings)
	}
	if after.Tuning != "new" || after.Target.Fret != 3 || len(after.Bands) != 1 || after.Bands[0].Partial != 9 || after.Gaps != 0 {
		t.Errorf("after: tuning %q, target %+v, bands %+v, %d gaps", after.Tuning, after.Target, after.Bands, after.Gaps)
	}
	for _, row := range after.Strings {
		if row.Held || row.Read {
			t.Errorf("string %d keeps what was the old target's: %+v", row.Number, row)
		}
	}
	if c := s.Counts(); c != (Counts{Blocks: 2, Samples: 1024, Readings: 2}) {
		t.Errorf("counts %+v", c)
	}
}

// A guitar with E4 held on which A2 is played: what is shown says so until somebody confirms it, and
// the held string has no reading meanwhile. A pitch that is known to 3 cents is still settling.
func TestHeldStringThatDoesNotSound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "a.wav", rate: 48000, steps: blocks(40, 512)}
		resolver := openGuitar(t)
		reading := sounding(110)
		reading.SigmaCents = 0.2
		all := &roll{}
		s := NewSession(Config{Source: src, Tracker: &parrot{reading: reading}, Resolver: resolver, Sinks: []Sink{all}})
		all.each = func(*display.Frame) error {
			if len(all.frames) == 20 {
				s.Confirm()
			}
			return nil
		}
		if err := s.Hold(1); err != nil {
			t.Fatal(err)
		}
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		f := all.frames[10]
		if f.Standing != display.Doubted || f.Verdict != "other string" || f.Seems.String != 5 || len(f.Bands) != 0 || f.Strings[0].Read || f.Strings[0].Active {
			t.Errorf("A2 with E4 held: %+v", f)
		}
		f = all.frames[39]
		if f.Standing != display.Confirmed || f.Verdict != "flat" || f.Seems.String != 0 || len(f.Bands) == 0 || !f.Strings[0].Read {
			t.Errorf("once confirmed: %+v", f)
		}
	})
}

func TestVerdictOfALiveNoteSettles(t *testing.T) {
	src := &script{name: "a.wav", rate: 48000, steps: blocks(3, 512)}
	reading := sounding(110)
	reading.SigmaCents = 3
	all := &roll{}
	s := NewSession(Config{Source: src, Tracker: &parrot{reading: reading}, Resolver: openGuitar(t), Sinks: []Sink{all}})
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if f := all.frames[1]; f.Verdict != display.Settling || f.State != display.Sounding {
		t.Errorf("0 ± 3 cents: %q, %q", f.Verdict, f.State)
	}
}
