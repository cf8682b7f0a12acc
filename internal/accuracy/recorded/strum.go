package recorded

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"

	"tunerd/internal/ensemble"
)

// A Strum is a recording of several strings that sound at once.
type Strum struct {
	Path          string
	Notes         []StrumNote // that sound
	Absent        []string    // notes that do not sound, none of whose partials others cover
	AbsentOctaves []string    // notes that do not sound although partials of others lie on them
}

// A StrumNote is one sounding note of a strum.
type StrumNote struct {
	Name     string
	RefHz    float64 // partial 1 under the stiff-string law; 0: none could be had
	RefSigma float64 // cents
}

// File is the name of the recording without its folder.
func (s Strum) File() string { return filepath.Base(s.Path) }

// ReadStrums reads the strums of a folder: those rows of its manifest whose kind is strum and that
// name the notes. Columns: file, kind, notes, absent, absent_octave, ref_hz, ref_sigma_cents, with
// lists parted by spaces and "-" for a reference that could not be had.
func ReadStrums(dir string) ([]Strum, error) {
	path := filepath.Join(dir, ManifestName)
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s: empty", path)
	}
	var strums []Strum
	for i, row := range rows[1:] {
		named := map[string]string{}
		for j, column := range rows[0] {
			named[column] = row[j]
		}
		if named["kind"] != "strum" || named["ref_hz"] == "" {
			continue
		}
		s, err := parseStrum(named)
		if err != nil {
			return nil, fmt.Errorf("%s, row %d: %w", path, i+1, err)
		}
		s.Path = filepath.Join(dir, s.Path)
		strums = append(strums, s)
	}
	if len(strums) == 0 {
		return nil, fmt.Errorf("%s: no strums", path)
	}
	return strums, nil
}

func parseStrum(row map[string]string) (Strum, error) {
	s := Strum{Path: row["file"], Absent: strings.Fields(row["absent"]), AbsentOctaves: strings.Fields(row["absent_octave"])}
	names, hz, sigma := strings.Fields(row["notes"]), strings.Fields(row["ref_hz"]), strings.Fields(row["ref_sigma_cents"])
	if len(hz) != len(names) || len(sigma) != len(names) {
		return s, fmt.Errorf("%d notes, %d references, %d uncertainties", len(names), len(hz), len(sigma))
	}
	for i, name := range names {
		n := StrumNote{Name: name}
		if hz[i] != "-" {
			var err1, err2 error
			n.RefHz, err1 = strconv.ParseFloat(hz[i], 64)
			n.RefSigma, err2 = strconv.ParseFloat(sigma[i], 64)
			if err1 != nil || err2 != nil || !(n.RefHz > 0 && n.RefSigma > 0) {
				return s, fmt.Errorf("reference %q ± %q", hz[i], sigma[i])
			}
		}
		s.Notes = append(s.Notes, n)
	}
	for _, name := range slices.Concat(names, s.Absent, s.AbsentOctaves) {
		if !(noteHz(name) > 0) {
			return s, fmt.Errorf("note %q", name)
		}
	}
	return s, nil
}

// noteHz returns the pitch of a note such as F#3 in twelve equal steps at A4 = 440 Hz; NaN if it is none.
func noteHz(name string) float64 {
	steps := map[byte]int{'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}
	if name == "" {
		return math.NaN()
	}
	step, ok := steps[name[0]]
	rest := name[1:]
	if sharp, found := strings.CutPrefix(rest, "#"); found {
		step, rest = step+1, sharp
	}
	octave, err := strconv.Atoi(rest)
	if !ok || err != nil {
		return math.NaN()
	}
	return 440 * math.Exp2(float64(step-9)/12+float64(octave-4))
}

// A StringState is what a string of a strum was said to do.
type StringState int

const (
	Unheard StringState = iota // the strum was not read at all
	Silent
	Hidden // it may sound or not
	Sounding
)

// A StrumOutcome is what was made of one strum: of all its notes, then those absent, then the absent octaves.
type StrumOutcome struct {
	Strum    Strum
	Err      error
	Readings []ensemble.StringReading
	States   []StringState
	// Flips counts the strings that are said to sound in one cut of the recording and to be silent in
	// another, or at another sample rate.
	Flips int
}

// Cuts of a strum that must change nothing: up to 0.2 s off its end, and another sample rate.
const (
	cutsOfEnd = 20
	cutS      = 0.01
	otherRate = 44100
)

// RunStrums reads every strum with all its strings named, the absent ones too. With cuts it also
// looks for decisions that hang on where a recording ends or on its sample rate.
func RunStrums(ctx context.Context, strums []Strum, cuts bool) ([]StrumOutcome, error) {
	outcomes := make([]StrumOutcome, len(strums))
	jobs := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for i := range jobs {
				outcomes[i] = readStrum(ctx, strums[i], cuts)
			}
		})
	}
	for i := range outcomes {
		jobs <- i
	}
	close(jobs)
	workers.Wait()
	return outcomes, ctx.Err()
}

func readStrum(ctx context.Context, s Strum, cuts bool) StrumOutcome {
	o := StrumOutcome{Strum: s}
	sound, err := readSound(ctx, s.Path)
	if err == nil {
		o.Readings, o.States, err = s.read(sound)
	}
	if err == nil && cuts {
		o.Flips, err = s.flips(ctx, sound)
	}
	o.Err = err
	return o
}

// read returns what the whole recording says of each string.
func (s Strum) read(sound Sound) ([]ensemble.StringReading, []StringState, error) {
	var listed []ensemble.String
	add := func(name string) {
		listed = append(listed, ensemble.String{Number: len(listed) + 1, Label: name, Hz: noteHz(name)})
	}
	for _, n := range s.Notes {
		add(n.Name)
	}
	for _, name := range slices.Concat(s.Absent, s.AbsentOctaves) {
		add(name)
	}
	readings := make([]ensemble.StringReading, len(listed))
	states := make([]StringState, len(listed))
	longest := int64(0)
	tracker, err := ensemble.NewTracker(ensemble.TrackerConfig{
		Config: ensemble.Config{SampleRate: float64(sound.Rate), Strings: listed},
		OnChord: func(c *ensemble.Chord) {
			if c.End-c.Onset <= longest {
				return
			}
			longest = c.End - c.Onset
			copy(readings, c.Strings)
			for i, r := range c.Strings {
				switch {
				case r.Sounding:
					states[i] = Sounding
				case r.Hidden:
					states[i] = Hidden
				default:
					states[i] = Silent
				}
			}
		},
	})
	if err != nil {
		return nil, nil, err
	}
	for at := 0; at < len(sound.Samples); at += blockLen {
		tracker.Push(sound.Samples[at:min(at+blockLen, len(sound.Samples))], int64(at), nil)
	}
	tracker.Flush()
	return readings, states, nil
}

// flips counts the strings that sound in one cut and are silent in another.
func (s Strum) flips(ctx context.Context, sound Sound) (int, error) {
	n := len(s.Notes) + len(s.Absent) + len(s.AbsentOctaves)
	sounds, silent := make([]bool, n), make([]bool, n)
	see := func(x Sound) error {
		_, states, err := s.read(x)
		for i, state := range states {
			sounds[i] = sounds[i] || state == Sounding
			silent[i] = silent[i] || state <= Silent
		}
		return err
	}
	for cut := range cutsOfEnd + 1 {
		left := len(sound.Samples) - int(float64(cut)*cutS*float64(sound.Rate))
		if err := see(Sound{sound.Rate, sound.Samples[:max(0, left)]}); err != nil {
			return 0, err
		}
	}
	resampled, err := resample(otherRate)(ctx, Clip{}, sound)
	if err == nil {
		err = see(resampled)
	}
	flips := 0
	for i := range n {
		if sounds[i] && silent[i] {
			flips++
		}
	}
	return flips, err
}

// A StrumSummary holds the figures of many strums.
type StrumSummary struct {
	Strums, Strings   int // Strings: those that sound
	Missing, Hidden   int // of them said to be silent, or unread; said to be perhaps hidden
	Invented          int // absent strings said to sound
	InventedOctaves   int
	Flips             int
	Compared, Covered int     // readings with a reference; with the truth within ±1.96σ
	Median, Ninetieth float64 // [cents] of |error|
	Confident         int     // errors over 1 cent and 5σ
}

// SummariseStrums sums outcomes up.
func SummariseStrums(outcomes []StrumOutcome) StrumSummary {
	var s StrumSummary
	var off []float64
	for _, o := range outcomes {
		if o.Err != nil {
			continue
		}
		s.Strums++
		s.Strings += len(o.Strum.Notes)
		s.Flips += o.Flips
		for i, state := range o.States {
			switch j := i - len(o.Strum.Notes); {
			case j >= len(o.Strum.Absent):
				if state == Sounding {
					s.InventedOctaves++
				}
			case j >= 0:
				if state == Sounding {
					s.Invented++
				}
			case state <= Silent:
				s.Missing++
			case state == Hidden:
				s.Hidden++
			}
		}
		for i := range o.Strum.Notes {
			if e, sigma, ok := o.errorCents(i); ok {
				off = append(off, math.Abs(e))
				s.Compared++
				if math.Abs(e) <= 1.96*sigma {
					s.Covered++
				}
				if math.Abs(e) > max(1, 5*sigma) {
					s.Confident++
				}
			}
		}
	}
	s.Median, s.Ninetieth = quantile(off, 0.5), quantile(off, 0.9)
	return s
}

// errorCents returns the error of note i and the standard uncertainty of the difference.
func (o *StrumOutcome) errorCents(i int) (off, sigma float64, ok bool) {
	n := o.Strum.Notes[i]
	if n.RefHz == 0 || o.States[i] != Sounding {
		return 0, 0, false
	}
	return cents(o.Readings[i].F1Hz, n.RefHz), math.Hypot(o.Readings[i].SigmaCents, n.RefSigma), true
}

// WriteReadings writes one line for each string of each strum: file, string, state, hertz and σ in cents, parted by spaces.
func WriteReadings(w io.Writer, outcomes []StrumOutcome) error {
	states := map[StringState]string{Unheard: "unread", Silent: "silent", Hidden: "hidden", Sounding: "sounding"}
	for i := range outcomes {
		o := &outcomes[i]
		if o.Err != nil {
			return fmt.Errorf("%s: %w", o.Strum.File(), o.Err)
		}
		for j, r := range o.Readings {
			if _, err := fmt.Fprintln(w, o.Strum.File(), r.String.Label, states[o.States[j]], r.F1Hz, r.SigmaCents); err != nil {
				return err
			}
		}
	}
	return nil
}

// WriteStrums writes the figures as Markdown, with a line for each strum that was not read whole.
func WriteStrums(w io.Writer, outcomes []StrumOutcome) error {
	var b strings.Builder
	s := SummariseStrums(outcomes)
	fmt.Fprintf(&b, "| strums | strings | missing %% | hidden %% | invented | invented octaves | flips | compared | covered %% | median c | 90 %% c | over 1 c and 5σ |\n| --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n")
	fmt.Fprintf(&b, "| %d | %d | %.1f | %.1f | %d | %d | %d | %d | %.0f | %.2f | %.2f | %d |\n\n", s.Strums, s.Strings, 100*part(s.Missing, s.Strings), 100*part(s.Hidden, s.Strings),
		s.Invented, s.InventedOctaves, s.Flips, s.Compared, 100*part(s.Covered, s.Compared), s.Median, s.Ninetieth, s.Confident)
	for i := range outcomes {
		if words := outcomes[i].failure(); words != "" {
			fmt.Fprintf(&b, "- %s: %s\n", outcomes[i].Strum.File(), words)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (o *StrumOutcome) failure() string {
	if o.Err != nil {
		return o.Err.Error()
	}
	var words []string
	for i, n := range o.Strum.Notes {
		switch e, sigma, ok := o.errorCents(i); {
		case o.States[i] == Unheard:
			return "not read"
		case o.States[i] == Silent:
			words = append(words, n.Name+" silent")
		case o.States[i] == Hidden:
			words = append(words, n.Name+" hidden")
		case ok && math.Abs(e) > sigmasOff*sigma:
			words = append(words, fmt.Sprintf("%s %+.2f cents off, σ with the reference's %.2f", n.Name, e, sigma))
		}
	}
	for i, name := range slices.Concat(o.Strum.Absent, o.Strum.AbsentOctaves) {
		if o.States[len(o.Strum.Notes)+i] == Sounding {
			words = append(words, name+" invented")
		}
	}
	if o.Flips > 0 {
		words = append(words, fmt.Sprintf("%d strings change with the cut", o.Flips))
	}
	return strings.Join(words, "; ")
}
