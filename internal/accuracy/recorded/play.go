package recorded

import (
	"context"
	"math"
	"runtime"
	"sync"

	"tunerd/internal/pitch"
	"tunerd/internal/stiffstring"
)

const (
	wrongCents = 50.0 // further off than this another note was read: half a step of twelve
	settleS    = 0.15 // [s] after the onset from which live readings are judged: what a player waits for without noticing
	blockLen   = 512  // samples that the tracker is given at a time, as by a microphone
)

// A Note is one that was found in a whole clip.
type Note struct {
	Hz, SigmaCents float64
	FromS, ToS     float64
}

// An Outcome is what was made of one clip.
type Outcome struct {
	Clip    Clip
	Variant string
	Err     error // the clip could not be read or disturbed; nothing else is meaningful then

	Notes []Note // of the whole clip, as measure reports them

	FirstS float64 // first live reading of the right pitch, s after the onset; +Inf: never
	Frames int     // live frames from settleS after the onset to the end of the sound
	Right  int     // of them with a reading of the right pitch
	Wrong  int     // of them with a reading of another
	Rings  int     // of them said to ring in partials of no string
}

// A Verdict says what the note of a whole clip was taken for.
type Verdict int

const (
	Missing Verdict = iota // no note
	Misread                // another note: wrongCents or more off
	Read                   // the right one
)

// Main returns the note that shares most time with the sound, and what it is worth.
func (o *Outcome) Main() (Note, Verdict) {
	var main Note
	best := 0.0
	for _, n := range o.Notes {
		if shared := min(n.ToS, o.Clip.End) - max(n.FromS, o.Clip.Onset); shared > best {
			best, main = shared, n
		}
	}
	switch {
	case best == 0:
		return main, Missing
	case math.Abs(cents(main.Hz, o.Clip.NominalHz)) > wrongCents:
		return main, Misread
	}
	return main, Read
}

// Split says whether one note was reported as several.
func (o *Outcome) Split() bool { return len(o.Notes) > 1 }

// ErrorCents returns the error of the whole note against the reference, and the standard
// uncertainty of the difference: that of the reading and that of the reference. ok is false where
// the note was not read or has no reference.
func (o *Outcome) ErrorCents() (off, sigma float64, ok bool) {
	note, verdict := o.Main()
	if verdict != Read || o.Clip.RefHz == 0 {
		return 0, 0, false
	}
	return cents(note.Hz, o.Clip.RefHz), math.Hypot(note.SigmaCents, o.Clip.RefSigma), true
}

func cents(hz, ref float64) float64 { return stiffstring.Cents(hz, ref) }

// Run reads every clip whole and live, as it is for the variant named "" and disturbed for others.
// The outcomes stand in the order of variants, then clips.
func Run(ctx context.Context, clips []Clip, variants []Variant) ([]Outcome, error) {
	outcomes := make([]Outcome, len(clips)*len(variants))
	jobs := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for i := range jobs {
				outcomes[i] = play(ctx, clips[i%len(clips)], variants[i/len(clips)])
			}
		})
	}
	for i := range outcomes {
		if ctx.Err() != nil {
			break
		}
		jobs <- i
	}
	close(jobs)
	workers.Wait()
	return outcomes, ctx.Err()
}

func play(ctx context.Context, c Clip, v Variant) Outcome {
	o := Outcome{Clip: c, Variant: v.Name, FirstS: math.Inf(1)}
	sound, err := readSound(ctx, c.Path)
	if err == nil && v.disturb != nil {
		sound, err = v.disturb(ctx, c, sound)
	}
	if err == nil {
		err = o.measure(sound)
	}
	if err == nil {
		err = o.listen(sound)
	}
	o.Err = err
	return o
}

// measure reads the whole sound at once.
func (o *Outcome) measure(s Sound) error {
	rate := float64(s.Rate)
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, OnNote: func(n *pitch.Note) {
		o.Notes = append(o.Notes, Note{Hz: n.F1Hz, SigmaCents: n.SigmaCents, FromS: float64(n.Start) / rate, ToS: float64(n.End) / rate})
	}})
	if err != nil {
		return err
	}
	push(tracker, s.Samples, nil)
	tracker.Flush()
	return nil
}

// listen plays the sound to a live tracker, which sees no more of it than has sounded.
func (o *Outcome) listen(s Sound) error {
	rate := float64(s.Rate)
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
	if err != nil {
		return err
	}
	push(tracker, s.Samples, func(r *pitch.Reading) { o.hear(r, float64(r.At)/rate) })
	return nil
}

func push(tracker *pitch.Tracker, x []float64, hear func(*pitch.Reading)) {
	for at := 0; at < len(x); at += blockLen {
		tracker.Push(x[at:min(at+blockLen, len(x))], int64(at), hear)
	}
}

// hear judges one live reading, at s from the start of the clip.
func (o *Outcome) hear(r *pitch.Reading, at float64) {
	right := r.State == pitch.Sounding && math.Abs(cents(r.F1Hz, o.Clip.NominalHz)) <= wrongCents
	if right {
		o.FirstS = min(o.FirstS, max(0, at-o.Clip.Onset))
	}
	if at < o.Clip.Onset+settleS || at > o.Clip.End {
		return
	}
	o.Frames++
	switch {
	case right:
		o.Right++
	case r.State == pitch.Sounding:
		o.Wrong++
	case r.State == pitch.Inharmonic:
		o.Rings++
	}
}
