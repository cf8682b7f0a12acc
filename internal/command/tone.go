package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/beats"
	"tunerd/internal/display/text"
	"tunerd/internal/sound"
	"tunerd/internal/sound/play"
)

// hearing is shown before anything is played, and beside every file: whoever has it plays it. The figures are those of NIOSH (recommended exposure
// limit: 85 dBA for 8 hours, half the time for every 3 dB more).
const hearing = "Caution: start with the volume low; turn it up only while it plays. At 85 dB(A) hearing is at risk " +
	"after 8 hours a day, at 100 dB(A) after a quarter of an hour."

type toneOptions struct {
	listing listingOptions
	notes   notesOptions
	timbre  string
	chord   string
	then    string
	glide   float64
	seconds float64
	drive   float64
	bias    float64
	level   float64
	out     outFile
	device  string
	rate    int

	driven bool
}

func (o *toneOptions) addFlags(fs *pflag.FlagSet) {
	o.notes.addFlags(fs)
	o.listing.addFlags(fs)
	fs.StringVar(&o.timbre, "timbre", string(sound.StringTimbre), "`KIND` of tone: string, organ or sine")
	fs.StringVar(&o.chord, "chord", "", "the notes stand for this `CHORD`, such as 4:5:6:7, in their order (for --then pure)")
	fs.StringVar(&o.then, "then", "", "then the same chord `pure`, without beats, on its first note, or with the nearest notes\nof this other tuning SPEC")
	fs.Float64Var(&o.glide, "glide", 0, "move from the one chord to the other within so many `SECONDS` instead")
	fs.Float64Var(&o.seconds, "seconds", 4, "`SECONDS` that a chord sounds")
	fs.Float64Var(&o.drive, "drive", 0, "soft clipping with a gain of so many `DB`, 0 to 30")
	fs.Float64Var(&o.bias, "bias", sound.DefaultBias, "asymmetry of the clipping, `0..1`; 0 leaves out f2 - f1 and its like")
	fs.Float64Var(&o.level, "level", -20, "highest peak, in `DB` re full scale, at most -6")
	addOutFile(fs, &o.out, "output", "o", "write a WAV `FILE` of 24 bits instead of playing")
	fs.StringVar(&o.device, "speaker", "", "`NAME` of the loudspeaker, or a part of it (default: the system's)")
	fs.IntVar(&o.rate, "rate", 48000, "sample rate in `HZ`")
}

func newToneCommand() *cobra.Command {
	var o toneOptions
	cmd := &cobra.Command{
		Use:   "tone NOTE...",
		Short: "Play tones and chords, or write them as WAV",
		Long: `Play tones and chords of any tuning: of plucked strings, organ-like or pure sines; the same chord
in two tunings one after the other; slowly from one to the other, so that beats slow down and
stop; with drive, so that difference tones are heard. With --output a file is written instead.

` + noteHelp,
		Example: `  tunerd tone A4 --timbre sine --seconds 10
  tunerd tone A2 C#3 E3 --then pure
  tunerd tone A2 C#3 E3 G3 --chord 4:5:6:7 --then pure --glide 10 --timbre organ
  tunerd tone --tuning 31edo C3 E3 G3 --then 12edo --drive 20
  tunerd tone --instrument guitar-12edo 6f3 5f2 4 3 2 1f3 --output g.wav`,
		Args: usageArgs(cobra.ArbitraryArgs),
		RunE: func(cmd *cobra.Command, words []string) error {
			o.driven = cmd.Flags().Changed("drive")
			return runTone(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), words, o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

// Limits of a tone.
const (
	maxToneSeconds = 120
	maxToneNotes   = 16
	minPeakDB      = -60
	maxPeakDB      = -6
)

func (o *toneOptions) check() error {
	switch {
	case !(o.seconds >= 0.1 && o.seconds <= maxToneSeconds):
		return usagef("--seconds %g is not within 0.1 to %d", o.seconds, maxToneSeconds)
	case !(o.glide >= 0 && o.glide <= maxToneSeconds):
		return usagef("--glide %g is not within 0 to %d seconds", o.glide, maxToneSeconds)
	case o.glide > 0 && o.then == "":
		return usagef("--glide needs --then, the chord to move to")
	case o.chord != "" && o.then != "pure":
		return usagef("--chord says what --then pure is to be; it needs that")
	case !(o.drive >= 0 && o.drive <= sound.MaxDriveDB):
		return usagef("--drive %g dB is not within 0 to %d", o.drive, sound.MaxDriveDB)
	case !(o.bias >= 0 && o.bias <= 1):
		return usagef("--bias %g is not within 0 to 1", o.bias)
	case !(o.level >= minPeakDB && o.level <= maxPeakDB):
		return usagef("--level %g dB is not within %d to %d", o.level, minPeakDB, maxPeakDB)
	case o.rate < 8000 || o.rate > 192000:
		return usagef("--rate %d Hz is not within 8000 to 192000", o.rate)
	case o.out.given() && o.device != "":
		return usagef("--output writes a file and --speaker plays; give one of them")
	}
	return o.listing.check()
}

func runTone(ctx context.Context, out, chat io.Writer, words []string, o toneOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	chords, err := o.chords(chat, words)
	if err != nil {
		return err
	}
	program, err := o.program(chords)
	if err != nil {
		return err
	}
	if o.out.given() {
		samples, starts, err := render(program, o.rate)
		if err != nil {
			return err
		}
		var file bytes.Buffer
		if err := sound.WriteWAV(&file, samples, o.rate, sound.PCM24); err != nil {
			return err
		}
		if err := o.out.write(chat, file.Bytes()); err != nil {
			return err
		}
		tellParagraphs(chat, []string{hearing})
		return o.listing.write(out, toneList(chords, program, starts))
	}
	return o.play(ctx, out, chat, chords, program)
}

func (o *toneOptions) play(ctx context.Context, out, chat io.Writer, chords [][]note, program sound.Program) (err error) {
	player, err := play.Open(o.device, o.rate)
	if err != nil {
		return hintf(err, `--output FILE.wav writes the sound; "tunerd devices" lists the loudspeakers`)
	}
	defer func() { err = errors.Join(err, player.Close()) }()
	samples, starts, err := render(program, player.SampleRate())
	if err != nil {
		return err
	}
	tellParagraphs(chat, []string{hearing})
	if err := o.listing.write(out, toneList(chords, program, starts)); err != nil {
		return err
	}
	return player.Play(ctx, samples)
}

// render has the same phases every time.
func render(p sound.Program, sampleRate int) (samples, starts []float64, err error) {
	return p.Render(float64(sampleRate), rand.New(rand.NewPCG(1, 1)))
}

// chords returns the notes of the chord asked for, and of that which follows.
func (o *toneOptions) chords(chat io.Writer, words []string) ([][]note, error) {
	reader, err := o.notes.reader()
	if err != nil {
		return nil, err
	}
	notes, err := reader.notes(words)
	if err != nil {
		return nil, err
	}
	if len(notes) == 0 || len(notes) > maxToneNotes {
		return nil, hintf(usagef("%d notes are not within 1 to %d", len(notes), maxToneNotes),
			`"tunerd tone A4" is an example; "tunerd tone --help" says how notes are written`)
	}
	if o.then == "" {
		return [][]note{notes}, nil
	}
	after, err := o.following(chat, notes)
	return [][]note{notes, after}, err
}

// leftHz is how fast a chord that is to be pure may beat without a word: once in three minutes.
const leftHz = 0.005

// heard returns the notes as they sound: only strings are stiff.
func (o *toneOptions) heard(notes []note) []beats.Tone {
	all := tones(notes)
	for i := range all {
		if sound.Timbre(o.timbre) != sound.StringTimbre {
			all[i].B = 0
		}
	}
	return all
}

// following returns the chord of --then.
func (o *toneOptions) following(chat io.Writer, notes []note) ([]note, error) {
	after := append([]note(nil), notes...)
	if o.then == "pure" {
		series, err := seriesOf(notes, o.chord)
		if err != nil {
			return nil, err
		}
		pure := series.Pure(o.heard(notes), 0)
		if i, j, hz := series.Left(pure); hz >= leftHz {
			fmt.Fprintf(chat, "tunerd: stiff strings cannot all be pure at once: %s and %s still beat %.2f times a second\n", notes[i].Label, notes[j].Label, hz)
		}
		for i, t := range pure {
			after[i].Hz = t.Hz
			after[i].Label = fmt.Sprintf("%s as %d/%d", notes[i].Label, series.Numbers[i], series.Numbers[0])
		}
		return after, nil
	}
	other := o.notes
	other.tuning, other.instrument = o.then, ""
	reader, err := other.reader()
	if err != nil {
		return nil, err
	}
	for i := range after {
		b := after[i].B
		after[i] = note{Tone: reader.nearest(notes[i].Hz)}
		after[i].B = b
	}
	return after, nil
}

// seriesOf is that in which a chord such as 4:5:6:7 puts the notes; the plainest for "".
func seriesOf(notes []note, chord string) (beats.Series, error) {
	if chord == "" {
		return beats.SeriesOf(tones(notes))
	}
	numbers, err := chordNumbers(chord, len(notes))
	if err != nil {
		return beats.Series{}, err
	}
	return beats.NewSeries(tones(notes), numbers)
}

// program puts the chords into a program. With --glide they are one that moves, after as long as
// it takes to hear its beats.
func (o *toneOptions) program(chords [][]note) (sound.Program, error) {
	timbre := sound.Timbre(o.timbre)
	if _, err := timbre.Spec(440, 0); err != nil {
		return sound.Program{}, usagef("--timbre %q is none of string, organ, sine", o.timbre)
	}
	p := sound.Program{PeakDB: o.level}
	if o.driven {
		p.Drive = &sound.Drive{GainDB: o.drive, Bias: o.bias}
	}
	for _, notes := range chords {
		p.Chords = append(p.Chords, sound.Chord{Timbre: timbre, Seconds: o.seconds, Notes: o.chordNotes(notes)})
	}
	if o.glide > 0 {
		c := &p.Chords[0]
		for i := range c.Notes {
			if to := chords[1][i].Hz; to != c.Notes[i].Hz {
				c.Notes[i].ToHz = to
			}
		}
		c.MoveStart, c.MoveEnd, c.Seconds = o.seconds/2, o.seconds/2+o.glide, o.seconds+o.glide
		p.Chords = p.Chords[:1]
	}
	return p, nil
}

// chordNotes are the notes for the synthesiser, as stiff as is said of them.
func (o *toneOptions) chordNotes(notes []note) []sound.ChordNote {
	all := make([]sound.ChordNote, len(notes))
	for i, n := range notes {
		all[i] = sound.ChordNote{Hz: n.Hz, B: n.B}
	}
	return all
}

// toneList lists what is heard when.
func toneList(chords [][]note, p sound.Program, starts []float64) *text.Listing {
	l := &text.Listing{Type: "tone", Columns: []text.Column{
		{Name: "start_s", Title: "start s", Decimals: 2}, {Name: "end_s", Title: "end s", Decimals: 2},
		{Name: "label", Title: "note"}, {Name: "string", Title: "string"}, {Name: "hz", Title: "Hz", Decimals: 3},
		{Name: "to_hz", Title: "moving to Hz", Decimals: 3}, {Name: "inharmonicity"}, {Name: "timbre"},
	}}
	for i, c := range p.Chords {
		for j, n := range c.Notes {
			b := 0.0
			if c.Timbre == sound.StringTimbre {
				b = n.B
			}
			l.Rows = append(l.Rows, []any{starts[i], starts[i] + c.Seconds, chords[i][j].Label, chords[i][j].place(),
				n.Hz, known(n.ToHz), b, string(c.Timbre)})
		}
	}
	return l
}
