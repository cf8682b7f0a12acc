package command

import (
	"context"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/targets"
)

type tuningNewOptions struct {
	notes     string
	repeat    string
	reference string
	name      string
	output    outFile
}

func (o *tuningNewOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVar(&o.notes, "spec", "", "the notes, a `SPEC` as \"tunerd tuning --help\" has them")
	fs.StringVar(&o.repeat, "repeat", "", "`INTERVAL` at which they repeat, such as 3/1")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from, such as A4=440")
	fs.StringVar(&o.name, "name", "", "`NAME` of the tuning")
	addOutFile(fs, &o.output, "output", "o", "write to this `FILE`, - for standard output\n(default: one named after the tuning)")
}

func newTuningNewCommand() *cobra.Command {
	var o tuningNewOptions
	cmd := &cobra.Command{
		Use:   "new",
		Short: "Write the file of a new tuning, asking for what it needs",
		Long: `Ask for the notes of a new tuning, the interval at which they repeat, the note
and pitch that it starts from, and its name, and write a TOML file that every SPEC
may name. What a flag says is not asked.`,
		Example: `  tunerd tuning new
  tunerd tuning new --spec "1/1 9/8 5/4 4/3 3/2 5/3 15/8" --repeat 2/1 \
      --reference C4=264 --name "Just major"`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runTuningNew(cmd.Context(), cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runTuningNew(ctx context.Context, in io.Reader, out, chat io.Writer, o tuningNewOptions) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	d := tuningDraft{o: &o}
	asker := newAsker(ctx, in, chat)
	for _, q := range []func() question{d.askNotes, d.askRepeat, d.askReference, d.askName} {
		if err := asker.ask(q()); err != nil {
			return err
		}
	}
	file, err := tuningFile(d.tuning, "toml")
	if err != nil {
		return err
	}
	_, err = o.output.writeNew(out, chat, d.tuning.Name(), file)
	return err
}

// A tuningDraft is a tuning that is being asked for.
type tuningDraft struct {
	o      *tuningNewOptions
	spec   string
	tuning *targets.Tuning
}

func (d *tuningDraft) askNotes() question {
	return question{given: d.o.notes, flag: "spec", words: "Which notes",
		help: "ratios, steps, cents and sums of them, such as 1/1 9/8 5/4 24of41edo 702c 15/8; or a whole tuning: 19edo, 13ed3, harmonics 8..16, werckmeister-3",
		take: func(answer string) (err error) {
			d.spec = answer
			d.tuning, err = targets.ParseTuning(answer)
			return err
		}}
}

func (d *tuningDraft) askRepeat() question {
	usual, _ := d.tuning.Period()
	return question{given: d.o.repeat, flag: "repeat", words: "They repeat at", usual: usual.String(), take: func(answer string) error {
		if answer == usual.String() {
			return nil
		}
		t, err := targets.ParseTuning(d.spec + " repeat " + answer)
		if err == nil {
			d.tuning = t
		}
		return err
	}}
}

func (d *tuningDraft) askReference() question {
	return question{given: d.o.reference, flag: "reference", words: "The first note, and its pitch", usual: "A4=440", take: func(answer string) error {
		r, err := targets.ParseReference(answer)
		if err != nil {
			return err
		}
		t, err := d.tuning.WithReference(r)
		if err == nil {
			d.tuning = t
		}
		return err
	}}
}

func (d *tuningDraft) askName() question {
	return question{given: d.o.name, flag: "name", words: "Its name", usual: d.tuning.Name(), take: func(answer string) error {
		t, err := d.tuning.Named(answer)
		if err == nil {
			d.tuning = t
		}
		return err
	}}
}
