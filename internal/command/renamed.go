package command

import (
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// renamedFlags are flags that have another name now, by command: one thing has one name in all commands, and no
// two things share one.
var renamedFlags = map[string]map[string]string{
	"tunerd tone":            {"out": "--output", "device": "--speaker"},
	"tunerd tuning compare":  {"top": "--most"},
	"tunerd tuning show":     {"limit": "--odd-limit"},
	"tunerd tuning export":   {"device": "--midi-device", "real-time": "--non-real-time, for what --real-time=false was"},
	"tunerd journal list":    {"last": "--most"},
	"tunerd detune":          {"limit": "--move-limit", "by": "--method"},
	"tunerd intonation":      {"notes": "--note-count"},
	"tunerd intonation plan": {"notes": "--note-count"},
	"tunerd beats":           {"partials": "--top-partial"},
	"tunerd serve":           {"verbose": "--log-requests", "v": "--log-requests"},
}

// flagHint says what to do about a flag that is not there.
func flagHint(cmd *cobra.Command, err error) error {
	words := strings.Fields(err.Error()) // unknown flag: --top, or unknown shorthand flag: 'v' in -v
	for i, w := range words {
		if w != "flag:" || i+1 == len(words) || words[0] != "unknown" {
			continue
		}
		old := strings.Trim(words[i+1], "-'")
		if old == "instrument" && strings.Contains(cmd.Use, "INSTRUMENT") {
			return hintf(usageError{err}, "the instrument is named without a flag: %s", cmd.UseLine())
		}
		if now, ok := renamedFlags[cmd.CommandPath()][old]; ok {
			return hintf(usageError{err}, "it is called %s now", now)
		}
	}
	return hintf(usageError{err}, `"%s --help" lists the flags`, cmd.CommandPath())
}

// addNameFlag lets a command that works on an instrument be told it by --instrument too, as it once was.
func addNameFlag(fs *pflag.FlagSet, name *string) {
	fs.StringVar(name, "instrument", "", "`NAME` of a built-in instrument, or a TOML file")
	if err := fs.MarkHidden("instrument"); err != nil {
		panic(err) // the flag is there
	}
}

// takeName takes the instrument that is an argument.
func takeName(name *string, args []string) error {
	switch {
	case len(args) == 0:
		return nil
	case *name != "" && *name != args[0]:
		return usagef("two instruments are named, %s and %s; leave --instrument out", args[0], *name)
	}
	*name = args[0]
	return nil
}
