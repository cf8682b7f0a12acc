package command

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/engine"
	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
	"tunerd/internal/wholefile"
)

// keepOptions say whether and where readings are kept.
type keepOptions struct {
	keep bool
	path string
	note string
}

func (o *keepOptions) addFlags(fs *pflag.FlagSet, byDefault bool) {
	fs.BoolVar(&o.keep, "keep", byDefault, "keep the readings in the journal (\"tunerd journal\" shows it)")
	addJournalFlag(fs, &o.path)
	fs.StringVar(&o.note, "note", "", "with --keep: a `REMARK` on the session")
}

func addJournalFlag(fs *pflag.FlagSet, path *string) {
	fs.StringVar(path, "journal", "", "`FILE` of the journal (default: tunerd/journal.db in the data folder of the user)")
}

// A keeper keeps one session. A nil keeper keeps nothing.
type keeper struct {
	*journal.Recorder
	journal *journal.Journal
	live    *journal.Live // nil: readings are added one by one
}

// begin begins to keep a session, or returns nil if nothing is to be kept. warn is told of trouble
// with the disk meanwhile, from another goroutine.
func (o *keepOptions) begin(s journal.Session, warn func(string)) (*keeper, error) {
	if !o.keep {
		return nil, nil
	}
	j, err := sqlite.Open(o.path)
	if err != nil {
		return nil, hintf(err, "--keep=false goes on without the journal, --journal names another")
	}
	s.Note, s.Program = o.note, version()
	rec := j.Begin(s, warn)
	return &keeper{Recorder: rec, journal: j}, nil
}

// sinks are what keeps a live session.
func (k *keeper) sinks() []engine.Sink {
	if k == nil {
		return nil
	}
	k.live = journal.NewLive(k.Recorder)
	return []engine.Sink{k.live}
}

// end stores what is left. What the journal cannot take is written to a file that it can import.
func (k *keeper) end(chat io.Writer) error {
	if k == nil {
		return nil
	}
	defer k.journal.Close()
	if k.live != nil {
		k.live.End()
	}
	err := k.Close()
	if err == nil {
		if id := k.ID(); id != 0 {
			fmt.Fprintf(chat, "tunerd: kept as session %d\n", id)
		}
		return nil
	}
	path, saveErr := k.rescue()
	if saveErr != nil {
		return errors.Join(err, saveErr)
	}
	return hintf(fmt.Errorf("%w; what could not be kept is in %s", err, path), `"tunerd journal import --journal %s %s" brings it in later`, k.journal.Path(), path)
}

// rescue writes what is not in the journal to the current folder, or else to that of temporary
// files.
func (k *keeper) rescue() (path string, err error) {
	s, _ := k.Unsaved()
	for _, dir := range []string{".", os.TempDir()} {
		path = filepath.Join(dir, "tunerd-unsaved-"+s.UID+".jsonl")
		if err = wholefile.WriteFrom(path, 0o644, func(w io.Writer) error { return journal.WriteUnsaved(w, k.Recorder) }); err == nil {
			return path, nil
		}
	}
	return "", err
}

// session describes what is measured by a plan, with what is known without a source.
func (p *plan) session(kind string) journal.Session {
	s := journal.Session{Kind: kind, Tuning: p.labels.Tuning, Reference: p.labels.Reference, Plan: p.file}
	in := p.config.Instrument
	if in == nil {
		return s
	}
	s.Instrument, s.Identity = journalName(in.ID), in.Identity()
	for i := range in.Strings {
		str := &in.Strings[i]
		s.Strings = append(s.Strings, journal.String{
			Number: i + 1, Label: str.Open.Label, TargetHz: str.Open.Hz,
			GaugeMM: str.GaugeMM, LinearDensity: tension.LinearDensity(str), Material: str.Material,
		})
	}
	return s
}

// journalName is the name of an instrument in the journal: the whole path of a file, from wherever it
// is named, or else the name as it is.
func journalName(name string) string {
	isBuiltin := slices.ContainsFunc(targets.Builtins(), func(in *targets.Instrument) bool { return in.ID == name })
	if _, err := os.Stat(name); err != nil || isBuiltin {
		return name
	}
	path, err := filepath.Abs(name)
	if err != nil {
		return name
	}
	return path
}

// from adds to a session what it is measured from.
func from(s journal.Session, source capture.Source) journal.Session {
	s.Input, s.RateHz, s.Clock = source.Name(), source.SampleRate(), journal.Clock(clock.Of(source))
	s.Started = time.Now()
	return s
}

// keptNote is a note of a recording as it is kept.
func keptNote(n *engine.Note, window [2]float64) journal.Reading {
	r := journal.Reading{
		TimeS: n.StartS(), File: n.File, String: n.Match.String, Fret: n.Match.Fret,
		Label: n.Match.Label, TargetHz: n.Match.Hz, F1Hz: n.F1Hz, SigmaCents: n.SigmaCents, Cents: n.Match.Cents,
		AttackF1Hz: journal.Known(n.AttackF1Hz), Partial1Hz: journal.Known(n.Partial1Hz), B: n.B, SNRdB: n.SNRdB,
		FromS: journal.Unknown, ToS: journal.Unknown,
	}
	if window != [2]float64{} {
		r.FromS, r.ToS = window[0], window[1]
	}
	return r
}
