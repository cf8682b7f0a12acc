package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
	"tunerd/internal/units"
)

type instrumentNewOptions struct {
	tuning    string
	open      string
	scale     string
	count     string
	every     int
	name      string
	reference string
	units     unitsOptions
	output    outFile
}

func (o *instrumentNewOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.tuning, "tuning", "t", "", "its tuning `SPEC`, as \"tunerd tuning --help\" has them")
	fs.StringVar(&o.open, "open", "", "open strings, string 1 first: `NOTES` such as\n\"E4 B3 G3 D3 A2 E2\"; E5x2 is a pair")
	fs.StringVar(&o.scale, "scale", "", "`LENGTH` from nut to saddle, 648 or 25.5in; of a fan\nthat of the first and the last string, 648..686")
	fs.StringVar(&o.count, "count", "", "`N` frets; 0: none")
	fs.IntVar(&o.every, "every", 1, "with --count: a fret every `N` steps of the tuning")
	fs.StringVar(&o.name, "name", "", "`NAME` of the instrument (default: strings and tuning)")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from (default: A4=440)")
	o.units.addFlags(fs)
	addOutFile(fs, &o.output, "output", "o", "write to this `FILE`, - for standard output\n(default: one named after the instrument)")
}

func newInstrumentNewCommand() *cobra.Command {
	var o instrumentNewOptions
	cmd := &cobra.Command{
		Use:   "new",
		Short: "Write the file of a new instrument, asking for what it needs",
		Long: `Ask five things about a new instrument (strings, tuning, open strings, scale
length, frets) and write a commented TOML file, that every command takes in the
place of a name. What a flag says is not asked. At the end it tells what is wrong
with the instrument, as "tunerd instrument check" does.`,
		Example: `  tunerd instrument new
  tunerd instrument new --open "E5x2 A4x2 D4x2 G3x2" --tuning 12edo \
      --scale 350 --count 20 --output mandolin.toml`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runInstrumentNew(cmd.Context(), cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runInstrumentNew(ctx context.Context, in io.Reader, out, chat io.Writer, o instrumentNewOptions) error {
	system, err := o.units.system()
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	d := draft{o: &o, system: system, Draft: targets.Draft{Name: o.name, Reference: o.reference}}
	asker := newAsker(ctx, in, chat)
	for _, q := range []func() question{d.askStrings, d.askTuning, d.askOpen, d.askScale, d.askFrets} {
		if err := asker.ask(q()); err != nil {
			return err
		}
	}
	file, made, err := d.TOML()
	if err != nil {
		return usageOf(err)
	}
	path, err := o.output.writeNew(out, chat, d.Name, []byte(file))
	if err != nil {
		return err
	}
	tellFindings(chat, fretboard.Check(made))
	if path != "" {
		fmt.Fprintf(chat, "next:\n  tunerd instrument strings %s --tension 80N\n", path)
		if d.Frets > 0 {
			fmt.Fprintf(chat, "  tunerd frets %s --pdf slots.pdf\n", path)
		}
		fmt.Fprintf(chat, "  tunerd listen --instrument %s\n", path)
	}
	return nil
}

// A draft is one that is being asked for.
type draft struct {
	targets.Draft
	o      *instrumentNewOptions
	system units.System
	count  int
	tuning *targets.Tuning
}

// askStrings needs no answer where --open counts them.
func (d *draft) askStrings() question {
	return question{given: d.counted(), flag: "open", words: "How many strings?", usual: "6", take: func(answer string) error {
		n, err := strconv.Atoi(answer)
		if err != nil || n < 1 || n > 64 {
			return fmt.Errorf("%q is no number from 1 to 64", answer)
		}
		d.count = n
		return nil
	}}
}

func (d *draft) counted() string {
	if d.o.open == "" {
		return ""
	}
	courses, err := targets.ParseDraftCourses(d.o.open)
	if err != nil {
		return "1" // --open itself is refused later
	}
	return strconv.Itoa(targets.DraftStrings(courses))
}

func (d *draft) askTuning() question {
	return question{given: d.o.tuning, flag: "tuning", words: "Which tuning",
		help: "19edo, 13ed3, ratios such as \"1/1 9/8 5/4 4/3 3/2 5/3 15/8\", werckmeister-3, a file", usual: defaultTuning,
		take: func(answer string) error {
			t, err := targets.ParseTuning(answer)
			if err == nil && d.Reference != "" {
				t, err = readTuning(answer, d.Reference)
			}
			if err != nil {
				return err
			}
			d.Draft.Tuning, d.tuning = answer, t
			if d.o.name == "" {
				d.Name = fmt.Sprintf("%d strings, %s", d.count, t.Name())
			}
			return nil
		}}
}

func (d *draft) askOpen() question {
	return question{given: d.o.open, flag: "open", words: "Open strings, string 1 first", help: targets.DraftHelp,
		usual: targets.UsualDraft(d.count, d.tuning), take: func(answer string) error {
			courses, err := targets.ParseDraftCourses(answer)
			if err != nil {
				return err
			}
			if n := targets.DraftStrings(courses); n != d.count {
				return fmt.Errorf("strings given: %d, wanted: %d", n, d.count)
			}
			d.Courses, d.ScaleMM = courses, []float64{500} // any that a string has
			_, _, err = d.TOML()
			return err
		}}
}

func (d *draft) askScale() question {
	usual := "648mm"
	if d.system.Length == units.Inch {
		usual = "25.5in"
	}
	return question{given: d.o.scale, flag: "scale", words: "Scale length", help: "648 or 25.5in; of a fan that of the first and the last string, and the fret that stands square to the neck: 648..686 square 7", usual: usual,
		take: func(answer string) error {
			lengths, square, fan := strings.Cut(answer, "square")
			d.Perpendicular, d.ScaleMM = 0, nil
			if fan {
				n, err := strconv.Atoi(strings.TrimSpace(square))
				if err != nil || n < 0 {
					return fmt.Errorf("%q is no number of the fret that stands square to the neck", square)
				}
				d.Perpendicular = n
			}
			for text := range strings.SplitSeq(lengths, "..") {
				mm, err := d.system.MMOf(text)
				if err != nil {
					return err
				}
				d.ScaleMM = append(d.ScaleMM, mm)
			}
			check := d.Draft
			check.Perpendicular = 0 // there are no frets yet
			_, _, err := check.TOML()
			return err
		}}
}

func (d *draft) askFrets() question {
	return question{given: d.o.frets(), flag: "count", words: "How many frets", help: "24, one at every step of the tuning; \"41 every 2\", one at every second; 0, none", usual: "24",
		take: func(answer string) error {
			count, every, spaced := strings.Cut(answer, "every")
			n, err := strconv.Atoi(strings.TrimSpace(count))
			d.Every = 1
			if err == nil && spaced {
				d.Every, err = strconv.Atoi(strings.TrimSpace(every))
			}
			if err != nil || n < 0 || d.Every < 1 {
				return fmt.Errorf(`%q is no number of frets; write one like 24, or "41 every 2"`, answer)
			}
			d.Frets = n
			_, _, err = d.TOML()
			return err
		}}
}

// frets is the answer that the flags give.
func (o *instrumentNewOptions) frets() string {
	if o.count == "" {
		return ""
	}
	return fmt.Sprintf("%s every %d", o.count, o.every)
}

// tellFindings says what is worth knowing of an instrument, once of all strings that it is true of.
func tellFindings(chat io.Writer, findings []fretboard.Finding) {
	if len(findings) == 0 {
		fmt.Fprintln(chat, "tunerd: no faults found")
		return
	}
	of := map[string][]int{}
	for _, f := range findings {
		of[f.Words()] = append(of[f.Words()], f.String)
	}
	for _, f := range findings {
		strings := of[f.Words()]
		delete(of, f.Words())
		switch {
		case strings == nil:
		case strings[0] == 0:
			fmt.Fprintf(chat, "tunerd: %s\n", f.Words())
		default:
			fmt.Fprintf(chat, "tunerd: %s: %s\n", tension.StringList(strings), f.Words())
		}
	}
}

// writeNew writes a file that is new to the path of the flag, to out if that is "-", and else to one in the
// current folder that is named after what it holds and is not there yet. It returns the path; "" is out.
func (f *outFile) writeNew(out, chat io.Writer, name string, data []byte) (path string, err error) {
	if f.path == "-" {
		_, err := out.Write(data)
		return "", err
	}
	if f.given() {
		return f.path, f.write(chat, data)
	}
	stem := fileStem(name)
	for n := 1; n < 1000; n++ {
		path = stem + ".toml"
		if n > 1 {
			path = stem + "-" + strconv.Itoa(n) + ".toml"
		}
		if f.at(path).mayWrite() == nil {
			return path, f.at(path).write(chat, data)
		}
	}
	return "", errors.New("no name for the file is free; give one with --output")
}

// fileStem makes a name of letters, digits and dashes.
func fileStem(name string) string {
	const most = 40
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	stem := strings.Trim(strings.Join(words, "-"), "-")
	stem = strings.TrimRight(stem[:min(len(stem), most)], "-")
	if stem == "" {
		return "instrument"
	}
	return stem
}
