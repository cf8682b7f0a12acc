package engine

import (
	"cmp"
	"strconv"
	"strings"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// A framer turns what was measured into frames. It serves the analysis goroutine alone.
type framer struct {
	rate     int // nominal, Hz
	strobe   strobe
	resolver Resolver
	bands    func(targets.Target) []int
	held     int // string that the user holds; 0: none

	next    int64 // index of the sample that continues the stream
	started bool
	gap     bool // a gap not shown by a frame yet
	message string
	gaps    int
	timeS   float64 // of the newest frame
	rings   bool    // the newest frame
	rang    int64   // onset of the sound that was last said to ring
	rangS   float64 // when that was

	all  bool // strings are read all at once
	rows []display.StringRow
	beat display.Beat
	pair *BeatWatch // two strings whose beats are measured; nil: none

	taken      standing      // what sounds was taken for
	coupled    *coupled      // strings that pull on each other; nil: nobody asks
	unlistedAt int64         // one past the onset of the chord of which a string was last named that is none of the instrument
	open       []float64     // room for tones
	frame      display.Frame // reused: what every method returns points to it
}

func newFramer(cfg *Config) *framer {
	f := &framer{rate: cfg.Source.SampleRate(), message: cfg.Greeting}
	f.strobe = strobe{rate: f.rate, stretch: capture.TrueRate(cfg.Source) / float64(f.rate), rows: cmp.Or(cfg.Rows, display.StringRows)}
	f.pair = cfg.Beats
	f.frame.Input = cfg.Source.Name()
	f.frame.Clock = display.Clock(clock.Of(cfg.Source))
	f.compareWith(&TargetConfig{Resolver: cfg.Resolver, Labels: cfg.Labels, Bands: cfg.Bands, Chords: cfg.Chords})
	return f
}

// compareWith makes what follows be compared with something else; what was read before is forgotten.
func (f *framer) compareWith(a *TargetConfig) {
	f.resolver, f.bands, f.held, f.all = a.Resolver, a.Bands, 0, a.Chords != nil
	if f.bands == nil {
		f.bands = fewBands
	}
	f.frame.Tuning, f.frame.Instrument, f.frame.Reference = a.Labels.Tuning, a.Labels.Instrument, a.Labels.Reference
	f.rows = f.rows[:0]
	for i, t := range a.Resolver.Strings() {
		f.rows = append(f.rows, display.StringRow{Number: i + 1, Label: t.Label, TargetHz: t.Hz})
	}
}

// hold applies the user's choice of a string; n is known to exist.
func (f *framer) hold(n int) {
	if f.resolver.Hold(n) != nil {
		return
	}
	f.held = n
	for i := range f.rows {
		f.rows[i].Held = f.rows[i].Number == n
	}
}

// clear forgets the last readings of all strings.
func (f *framer) clear() {
	for i := range f.rows {
		row := &f.rows[i]
		row.Read, row.Cents, row.Sigma, row.AtS = false, 0, 0, 0
	}
}

// follow notes where the stream stands and whether samples are missing before the block.
func (f *framer) follow(b capture.Block) {
	if missing := b.Start - f.next; f.started && missing != 0 || b.Lost > 0 {
		f.gaps++
		f.gap = true
		f.message = display.Plain(f.seconds(max(missing, b.Lost)), 3) + " s of sound lost: measuring afresh"
	}
	f.started = true
	f.next = b.Start + int64(len(b.Samples))
}

func (f *framer) seconds(samples int64) float64 { return float64(samples) / float64(f.rate) }

// reading returns the frame of one reading.
func (f *framer) reading(r *pitch.Reading) *display.Frame {
	f.timeS = f.seconds(r.At)
	out := f.blank(states[r.State])
	out.LevelDB, out.SNRdB = r.LevelDB, r.SNRdB
	out.NewOnset = r.NewOnset
	out.AfterGap = f.gap || r.AfterGap
	out.Message = f.message
	f.gap, f.message = false, ""
	if out.Message == "" {
		out.Message = f.coupled.takeSaid()
	}
	if r.State != pitch.Silent {
		out.OnsetS = f.seconds(r.Onset)
	}
	if r.NewOnset {
		f.resolver.Reset()
	}
	switch {
	case f.several(out, r):
	case r.State == pitch.Sounding && betweenOthers(r):
		out.State = display.Unsure
	case r.State == pitch.Sounding:
		f.sounding(out, r)
	case r.State == pitch.Inharmonic:
		out.Rings = true
		if again := !f.rings || f.timeS-f.rangS >= ringingS || r.Onset != f.rang; again && out.Message == "" {
			out.Message = ringing(r.Partials)
			f.rang, f.rangS = r.Onset, f.timeS
		}
	}
	f.rings = out.Rings
	out.Strings = append(out.Strings, f.rows...)
	return out
}

var states = map[pitch.State]display.State{
	pitch.Silent:     display.Silent,
	pitch.Unsure:     display.Unsure,
	pitch.Inharmonic: display.Unsure,
	pitch.Sounding:   display.Sounding,
}

// ringingS is how often, in seconds, a sound is said to ring.
const ringingS = 1.0

// ringing says what an inharmonic sound rings at.
func ringing(partials []pitch.Partial) string {
	const most = 5
	list := make([]string, 0, most)
	for _, p := range partials[:min(most, len(partials))] {
		list = append(list, strconv.FormatFloat(p.Hz, 'f', 1, 64))
	}
	return "no single string's partials: " + strings.Join(list, ", ") + " Hz"
}

// sounding fills in the pitch, its target and the strobe.
func (f *framer) sounding(out *display.Frame, r *pitch.Reading) {
	m := f.resolver.Resolve(r.F1Hz, r.SigmaCents)
	out.F1Hz, out.SigmaCents, out.AttackF1Hz = r.F1Hz, r.SigmaCents, r.AttackF1Hz
	out.SigmaTerms = SigmaTerms(r.Variance)
	out.Partial1Hz, out.Inharmonicity = r.Partial1Hz, r.B
	out.Target = display.Target(m.Target)
	out.Cents, out.BeatHz, out.Verdict = m.Cents, m.BeatHz, liveVerdict(m.Verdict)
	out.Standing = display.Standing(m.Standing)
	if m.Standing == targets.Doubted {
		out.Seems, out.SeemsCents = display.Target(m.Seems), m.SeemsCents
		return
	}
	to := m.Hz
	if f.advise(out, m, r.SigmaCents) {
		to = out.Now.Hz
	}
	out.Bands = f.strobe.append(out.Bands, r, to, f.bands(m.Target))
	f.updateRow(m, r.SigmaCents)
}

// liveVerdict is a verdict on a note that still sounds: what is not known yet may be, later.
func liveVerdict(verdict string) string {
	if verdict == targets.Unsure {
		return display.Settling
	}
	return verdict
}

// updateRow marks the sounding string. Only an open string leaves its reading in the list: a
// fretted note says nothing about the open pitch that the row is labelled with.
func (f *framer) updateRow(m targets.Match, sigma float64) {
	for i := range f.rows {
		row := &f.rows[i]
		if row.Number != m.String {
			continue
		}
		row.Active = true
		if m.Fret == 0 {
			row.Read, row.Cents, row.Sigma, row.AtS = true, m.Cents, sigma, f.timeS
		}
	}
}

// notice returns a frame that tells of a state of the input instead of a reading.
func (f *framer) notice(state display.State, message string) *display.Frame {
	out := f.blank(state)
	out.Message = message
	out.Strings = append(out.Strings, f.rows...)
	return out
}

// blank returns the frame with everything but names, time and count of gaps cleared.
func (f *framer) blank(state display.State) *display.Frame {
	for i := range f.rows {
		f.rows[i].Active, f.rows[i].Hidden = false, false
	}
	pass := f.coupled.rows(f.rows)
	old := &f.frame
	f.frame = display.Frame{
		TimeS: f.timeS, State: state, Gaps: f.gaps, AllStrings: f.all, Rows: f.strobe.rows,
		Input: old.Input, Clock: old.Clock, Tuning: old.Tuning, Instrument: old.Instrument, Reference: old.Reference,
		Bands: old.Bands[:0], Strings: old.Strings[:0], Beat: f.beat,
		Pass: pass,
	}
	f.beat.Fresh = false
	if f.pair != nil {
		f.frame.Pair = display.Pair{Lower: f.pair.Lower, Upper: f.pair.Upper}
	}
	return &f.frame
}
