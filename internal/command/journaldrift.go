package command

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/journal"
)

type journalDriftOptions struct {
	listingOptions
	since timeFlag
	moves bool
	svg   outFile
}

func (o *journalDriftOptions) addFlags(fs *pflag.FlagSet) {
	o.listingOptions.addFlags(fs)
	fs.Var(&o.since, "since", "from this `TIME` on, such as 2026-01-31")
	fs.BoolVar(&o.moves, "moves", false, "every move from one session to the next")
	addOutFile(fs, &o.svg, "svg", "", "draw the pitch of every string over time to `FILE`")
}

func newJournalDriftCommand(path *string) *cobra.Command {
	var o journalDriftOptions
	cmd := &cobra.Command{
		Use:   "drift INSTRUMENT",
		Short: "How the strings of an instrument keep their pitch, and which never settles",
		Long: `Show how far each open string moved by itself from one session to the next, from the pitch that it
was left with to the one that it was found with, and whether it settles: settled if the last two
moves were within a cent or their uncertainty, settling if the later moves are smaller than the
earlier ones. Moves before the last change of strings do not count. A change is known from "tunerd
journal note", or because the instrument has another gauge or material since.

A reading that is more than 250 cents off its string, or more than 60 cents off and nearer to another
open string of the instrument, is taken for that other string: it is left out, and the command says so.

INSTRUMENT is a built-in, a file, or a name as "tunerd journal list" shows it, from any folder: an
instrument is known by its name and its open strings, wherever its file lies.

What was tuned without being kept looks like drift.`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJournalDrift(cmd.Context(), *path, cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runJournalDrift(ctx context.Context, path string, out, chat io.Writer, name string, o journalDriftOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	return withJournal(path, chat, func(j *journal.Journal) error {
		of, err := inJournal(ctx, j, name)
		if err != nil {
			return err
		}
		d, err := j.Drift(ctx, of, o.since.t)
		if err != nil {
			return err
		}
		if err := tellLeftOut(chat, d); err != nil {
			return err
		}
		if len(d.Strings) == 0 && len(d.LeftOut) == 0 {
			return hintf(fmt.Errorf("no session has open strings of %s", name), `"tunerd journal list" shows the instruments of all sessions`)
		}
		if o.svg.given() {
			if err := o.svg.writeSVG(chat, driftPlot(d).Draw()); err != nil {
				return err
			}
		}
		if o.moves {
			return o.write(out, moveList(d))
		}
		if err := o.write(out, driftList(d)); err != nil || !o.plain() {
			return err
		}
		return tellRestrung(out, d)
	})
}

func driftList(d *journal.Drift) *text.Listing {
	l := &text.Listing{Type: "drift", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "label", Title: "note"}, {Name: "sessions", Title: "sessions"},
		{Name: "found_cents", Title: "found", Decimals: 1, Signed: true}, {Name: "left_cents", Title: "left", Decimals: 1, Signed: true},
		{Name: "last_move_cents", Title: "last move", Decimals: 1, Signed: true},
		{Name: "typical_move_cents", Title: "typical", Decimals: 1}, {Name: "since", Title: "strung"}, {Name: "verdict", Title: "verdict"},
		{Name: "left_out"},
	}}
	left := d.LeftOut
	for i := range d.Strings {
		s := &d.Strings[i]
		left = addOnlyLeftOut(l, left, s.Number)
		last := s.Sittings[len(s.Sittings)-1]
		var move any
		if n := len(s.Moves); n > 0 && !s.Moves[n-1].Retuned {
			move = s.Moves[n-1].Cents
		}
		var out []leftOutLine
		out, left = leftOutOf(left, s.Number)
		l.Rows = append(l.Rows, []any{s.Number, s.Label, len(s.Sittings), last.Found.Cents, last.Left.Cents, move, s.Typical,
			shortTime(s.Since), s.Verdict, out})
	}
	addOnlyLeftOut(l, left, math.MaxInt)
	return l
}

// addOnlyLeftOut adds the strings below number to which nothing is left, and returns the rest of left.
func addOnlyLeftOut(l *text.Listing, left []journal.LeftOut, number int) []journal.LeftOut {
	for len(left) > 0 && left[0].String < number {
		first := &left[0]
		var out []leftOutLine
		out, left = leftOutOf(left, first.String)
		l.Rows = append(l.Rows, []any{first.String, first.Label, 0, nil, nil, nil, nil, "", "no reading of it", out})
	}
	return left
}

// A leftOutLine is what does not count, in JSON; see docs/formats.md.
type leftOutLine struct {
	Readings int     `json:"readings"`
	Sessions []int64 `json:"sessions"`
	Seems    *int    `json:"seems"`
	Least    float64 `json:"least_cents"`
	Most     float64 `json:"most_cents"`
}

// leftOutOf takes the lines of a string from the beginning of left.
func leftOutOf(left []journal.LeftOut, number int) (lines []leftOutLine, rest []journal.LeftOut) {
	lines = []leftOutLine{}
	for len(left) > 0 && left[0].String == number {
		x := &left[0]
		line := leftOutLine{Readings: x.Readings, Sessions: x.Sessions, Least: x.Least, Most: x.Most}
		if x.Seems > 0 {
			line.Seems = &x.Seems
		}
		lines, left = append(lines, line), left[1:]
	}
	return lines, left
}

func moveList(d *journal.Drift) *text.Listing {
	l := &text.Listing{Type: "move", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "label", Title: "note"}, {Name: "from", Title: "left"}, {Name: "to", Title: "found"},
		{Name: "cents", Title: "cents", Decimals: 2, Signed: true}, {Name: "sigma_cents", Title: "±", Decimals: 2, Sigma: true}, {Name: "retuned", Title: "retuned"},
	}}
	for i := range d.Strings {
		s := &d.Strings[i]
		for _, m := range s.Moves {
			l.Rows = append(l.Rows, []any{s.Number, s.Label, exactTime(m.From), exactTime(m.To), m.Cents, m.SigmaCents, m.Retuned})
		}
	}
	return l
}

// tellLeftOut says which readings do not count.
func tellLeftOut(chat io.Writer, d *journal.Drift) error {
	for i := range d.LeftOut {
		if _, err := fmt.Fprintf(chat, "tunerd: %s\n", d.LeftOut[i].Words()); err != nil {
			return err
		}
	}
	return nil
}

// tellRestrung says when strings were changed.
func tellRestrung(out io.Writer, d *journal.Drift) error {
	for _, r := range d.Restrung {
		which := "all strings"
		if r.String > 0 {
			which = "string " + strconv.Itoa(r.String)
		}
		if r.Text != "" {
			which += ": " + text.Clean(r.Text)
		}
		if _, err := fmt.Fprintf(out, "changed %s, %s\n", r.At.Local().Format("2006-01-02 15:04"), which); err != nil {
			return err
		}
	}
	return nil
}

func driftPlot(d *journal.Drift) figure.DriftPlot {
	p := figure.DriftPlot{Title: filepath.Base(d.Instrument.Name) + ": pitch of the open strings"}
	strip := map[int]int{0: -1}
	for i := range d.Strings {
		s := &d.Strings[i]
		strip[s.Number] = i
		drawn := figure.DriftStrip{Label: strconv.Itoa(s.Number) + " " + s.Label, Verdict: s.Verdict}
		for k, sit := range s.Sittings {
			drawn.Sittings = append(drawn.Sittings, figure.DriftSitting{
				Found:  figure.DriftPoint{At: sit.Found.At.Local(), Cents: sit.Found.Cents},
				Left:   figure.DriftPoint{At: sit.Left.At.Local(), Cents: sit.Left.Cents},
				Broken: k > 0 && s.Moves[k-1].Retuned,
			})
		}
		p.Strings = append(p.Strings, drawn)
	}
	for _, r := range d.Restrung {
		if i, ok := strip[r.String]; ok {
			p.Changes = append(p.Changes, figure.DriftChange{At: r.At.Local(), Strip: i})
		}
	}
	return p
}
