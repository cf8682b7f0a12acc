package command

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tunerd/internal/mts"
	"tunerd/internal/targets"
)

type tuningExportOptions struct {
	as        string
	output    outFile
	reference string
	nearest   bool
	key       int
	device    int
	bank      int
	program   int
	name      string
	later     bool
}

// exportForms are the forms of --as, each with what it is.
var exportForms = []struct{ name, about string }{
	{"toml", "a tuning file"},
	{"json", "a tuning file for programs"},
	{"csv", "a tuning file for spreadsheets"},
	{"mts-bulk", "MIDI bulk tuning dump of all 128 keys"},
	{"mts-notes", "MIDI single note tuning changes of all keys"},
	{"mts-octave1", "MIDI scale/octave tuning, one byte a key"},
	{"mts-octave2", "MIDI scale/octave tuning, two bytes a key"},
}

func exportNames() []string {
	var names []string
	for _, f := range exportForms {
		names = append(names, f.name)
	}
	return names
}

func newTuningExportCommand() *cobra.Command {
	o := tuningExportOptions{as: "toml", key: mts.AutoKey, device: mts.AllDevices, bank: mts.NoBank}
	var forms strings.Builder
	for _, f := range exportForms {
		fmt.Fprintf(&forms, "  %-12s  %s\n", f.name, f.about)
	}
	cmd := &cobra.Command{
		Use:   "export SPEC",
		Short: "Write a tuning as a file or as messages of the MIDI Tuning Standard",
		Long: `Write a tuning in one of these forms:

` + forms.String() + `
toml, json and csv are tuning files that every SPEC may name. MIDI messages are printed as
hexadecimal text, a message a line; --output writes them as bytes, or as a standard MIDI file
if the name ends in .mid, which then also selects the tuning program on MIDI channel 1.`,
		Args: usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runTuningExport(cmd.OutOrStdout(), cmd.ErrOrStderr(), strings.Join(args, " "), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.as, "as", o.as, "`FORM`: "+strings.Join(exportNames(), ", "))
	addOutFile(fs, &o.output, "output", "o", "write to this `FILE` instead of standard output")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from, such as A4=440")
	fs.BoolVar(&o.nearest, "nearest", false, "MIDI: each key plays the note nearest to its usual pitch, the lower of two equally near\n(default: neighbouring keys play neighbouring steps)")
	fs.IntVar(&o.key, "key", o.key, "MIDI: `KEY` 0 to 127 that plays the reference note (default: the one nearest to it)")
	fs.IntVar(&o.device, "midi-device", o.device, "MIDI: `DEVICE` 0 to 127; 127 is all")
	fs.IntVar(&o.bank, "bank", o.bank, "MIDI: tuning `BANK` 0 to 127 (default: messages without one)")
	fs.IntVar(&o.program, "program", 0, "MIDI: tuning `PROGRAM` 0 to 127")
	fs.BoolVar(&o.later, "non-real-time", false, "MIDI: notes that sound stay, only the next ones change (single notes\nthen need a bank)")
	fs.StringVar(&o.name, "name", "", "MIDI: `NAME` of the tuning in a bulk dump (default: the spec)")
	return cmd
}

func runTuningExport(out, chat io.Writer, spec string, o tuningExportOptions) error {
	if !slices.Contains(exportNames(), o.as) {
		return usagef("--as %s is unknown; write one of %s", o.as, strings.Join(exportNames(), ", "))
	}
	t, err := readTuning(spec, o.reference)
	if err != nil {
		return err
	}
	tellBeyond(chat, t)
	var data []byte
	if strings.HasPrefix(o.as, "mts-") {
		if data, err = o.midi(t); err == nil {
			o.tellTies(chat, t)
		}
	} else {
		data, err = tuningFile(t, o.as)
	}
	if err != nil {
		return err
	}
	if o.output.given() {
		return o.output.write(chat, data)
	}
	_, err = out.Write(data)
	return err
}

// tuningFile returns the content of a tuning file.
func tuningFile(t *targets.Tuning, form string) ([]byte, error) {
	var b strings.Builder
	var err error
	switch form {
	case "json":
		enc := json.NewEncoder(&b)
		enc.SetIndent("", "  ")
		err = enc.Encode(t.Document())
	case "csv":
		err = targets.WriteTuningCSV(&b, t)
	default:
		err = targets.WriteTuningTOML(&b, t)
	}
	return []byte(b.String()), err
}

// midi returns the messages in the form that the output wants.
func (o *tuningExportOptions) midi(t *targets.Tuning) ([]byte, error) {
	messages, err := o.messages(t)
	if err != nil {
		return nil, usageOf(err)
	}
	var bare []byte
	var lines strings.Builder
	var events []mts.Event
	for _, m := range messages {
		b, err := mts.Encode(m)
		if err != nil {
			return nil, usageOf(err)
		}
		bare = append(bare, b...)
		fmt.Fprintf(&lines, "% X\n", b)
		events = append(events, mts.Event{Data: b})
	}
	switch {
	case !o.output.given():
		return []byte(lines.String()), nil
	case strings.EqualFold(filepath.Ext(o.output.path), ".mid"):
		return mts.AppendSMF(nil, append(events, mts.SelectTuning(0, o.bank, o.program)...)), nil
	}
	return bare, nil
}

func (o *tuningExportOptions) layout() mts.Layout { return mts.Layout{Nearest: o.nearest, Key: o.key} }

// tellTies says which keys could as well have played the note above.
func (o *tuningExportOptions) tellTies(chat io.Writer, t *targets.Tuning) {
	ties := o.layout().Ties(t)
	switch {
	case len(ties) == 0:
	case len(ties) <= 12:
		fmt.Fprintf(chat, "tunerd: halfway between two notes, and playing the lower: keys %s\n", strings.Trim(fmt.Sprint(ties), "[]"))
	default:
		fmt.Fprintf(chat, "tunerd: halfway between two notes, and playing the lower: %d keys, the first of them %d\n", len(ties), ties[0])
	}
}

func (o *tuningExportOptions) messages(t *targets.Tuning) ([]mts.Message, error) {
	layout := o.layout()
	if o.as == "mts-octave1" || o.as == "mts-octave2" {
		cents, err := mts.OctaveOf(t, layout)
		return []mts.Message{mts.OctaveTuning{Device: o.device, RealTime: !o.later, Channels: mts.AllChannels, TwoBytes: o.as == "mts-octave2", Cents: cents}}, err
	}
	keys, err := mts.KeysOf(t, layout)
	if err != nil {
		return nil, err
	}
	if o.as == "mts-bulk" {
		name := o.name
		if name == "" {
			name = t.Name()
		}
		return []mts.Message{mts.BulkDump{Device: o.device, Bank: o.bank, Program: o.program, Name: name, Keys: keys}}, nil
	}
	var all []mts.Message
	for _, m := range mts.AllNotes(mts.NoteChanges{Device: o.device, RealTime: !o.later, Bank: o.bank, Program: o.program}, keys) {
		all = append(all, m)
	}
	return all, nil
}

// readLimited reads a small file, or standard input for "-".
func readLimited(in io.Reader, path string) ([]byte, error) {
	const most = 16 << 20
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, most+1))
	if err == nil && len(data) > most {
		err = fmt.Errorf("%s has more than %d bytes", path, most)
	}
	return data, err
}
