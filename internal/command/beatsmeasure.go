package command

import (
	"context"
	"errors"
	"fmt"
	"io"

	"tunerd/internal/beats"
	"tunerd/internal/capture"
	"tunerd/internal/display/text"
	"tunerd/internal/engine"
)

// beatMeter returns a meter for the beats of two notes, and the notes in rising order. With a chord
// such as 2:3 that is the interval meant; else it is the plainest near them.
func beatMeter(notes []note, chord string, sampleRate float64) (m *beats.Meter, lower, upper note, err error) {
	if len(notes) != 2 {
		return nil, lower, upper, usagef("beats are measured of two notes, not of %d", len(notes))
	}
	pair := beats.Pairs(tones(notes), beats.DefaultPartials, beats.DefaultWithin)[0]
	if chord != "" {
		numbers, err := chordNumbers(chord, 2)
		if err != nil {
			return nil, lower, upper, err
		}
		pair = beats.PairsOf(tones(notes), numbers)[0]
	}
	lower, upper = notes[pair.I], notes[pair.J]
	cfg := beats.MeterConfig{SampleRate: sampleRate, Lower: lower.Tone, Upper: upper.Tone}
	if chord != "" {
		cfg.N, cfg.M = pair.Found[0].N, pair.Found[0].M
	}
	m, err = beats.NewMeter(cfg)
	return m, lower, upper, usageOf(err)
}

// writeMeasured measures the beats of two notes in a recording.
func (o *beatsOptions) writeMeasured(ctx context.Context, d Deps, out, chat io.Writer, notes []note) error {
	if err := checkFiles([]string{o.measure}); err != nil {
		return err
	}
	if _, _, _, err := beatMeter(notes, o.chord, usualRate); err != nil {
		return err
	}
	source, err := o.source.open(ctx, d, o.measure, false, chatLogger(chat))
	if err != nil {
		return err
	}
	defer source.Close()
	meter, lower, upper, err := beatMeter(notes, o.chord, capture.TrueRate(source))
	if err != nil {
		return err
	}
	m, err := engine.MeasureBeats(ctx, source, meter, o.window.seconds[0], o.window.seconds[1])
	switch {
	case errors.Is(err, context.Canceled):
		return err
	case err != nil:
		return fmt.Errorf("%s: %w", o.measure, err)
	}
	measured := text.MeasuredBeat{
		Beat: engine.DisplayBeat(&m, lower.Label, upper.Label), File: o.measure, StartS: m.StartS, EndS: m.EndS,
		ExpectedHz: beats.At(lower.Tone, upper.Tone, m.N, m.M).BeatHz(),
	}
	if m.Method == beats.TwoLines && !(m.Lower.Heard && m.Upper.Heard) {
		fmt.Fprintf(chat, "tunerd: the partials of one string cover all of the other's: if that does not sound, these beats are not theirs\n")
	}
	if m.Ambiguous {
		fmt.Fprintf(chat, "tunerd: the partials that do not coincide speak for %.2f ± %.2f beats a second: one of the two lines may be something else that sounds\n", m.OtherHz, m.OtherSigmaHz)
	}
	return o.listing.write(out, text.BeatListing([]text.MeasuredBeat{measured}))
}
