package command

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"tunerd/internal/display/figure"
	"tunerd/internal/journal"
	"tunerd/internal/targets"
)

// A completer offers words for what stands before the cursor.
type completer = func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective)

// complete lets every command below root offer the names that it takes: by the words of its usage for
// arguments, by its name for a flag.
func complete(root *cobra.Command, d Deps) {
	flags := map[string]completer{
		"instrument": completeInstruments,
		"tuning":     completeTunings,
		"spec":       completeTunings,
		"input":      d.completeInputs,
		"speaker":    d.completeSpeakers,
		"device":     d.completeDevices,
		"method":     words("squares", "worst", "beats"),
		"pure":       words("fundamentals", "partials"),
		"timbre":     words("string", "organ", "sine"),
		"kind":       words("listen", "measure", "intonation"),
		"paper":      words(figure.PaperNames()...),
		"rows":       words("string", "harmonics"),
		"raw":        words("s16le", "s24le", "s32le", "f32le"),
		"units":      words("mm,N", "mm,kgf", "in,lbf"),
	}
	var walk func(*cobra.Command)
	walk = func(cmd *cobra.Command) {
		for name, c := range flags {
			if f := cmd.Flags().Lookup(name); f != nil && f.Value.Type() == "string" {
				_ = cmd.RegisterFlagCompletionFunc(name, c) // fails only if there is one already
			}
		}
		switch {
		case cmd.ValidArgsFunction != nil:
		case strings.Contains(cmd.Use, "INSTRUMENT"):
			cmd.ValidArgsFunction = completeInstruments
		case strings.Contains(cmd.Use, "SPEC"):
			cmd.ValidArgsFunction = completeTunings
		case strings.Contains(cmd.Use, "SESSION"):
			cmd.ValidArgsFunction = completeSessions
		case strings.Contains(cmd.Use, "UNITS"):
			cmd.ValidArgsFunction = words("mm,N", "mm,kgf", "in,lbf")
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(root)
}

func words(all ...string) completer {
	return func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
		return all, cobra.ShellCompDirectiveNoFileComp
	}
}

// completeInstruments offers the built-in instruments, and files.
func completeInstruments(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	var all []cobra.Completion
	for _, in := range targets.Builtins() {
		all = append(all, cobra.CompletionWithDesc(in.ID, in.Description))
	}
	return all, cobra.ShellCompDirectiveDefault
}

// completeTunings offers divisions in common use, the published temperaments, and files.
func completeTunings(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	var all []cobra.Completion
	for _, n := range []int{12, 17, 19, 22, 31, 41, 53} {
		all = append(all, cobra.CompletionWithDesc(fmt.Sprintf("%dedo", n), fmt.Sprintf("%d equal steps of the octave", n)))
	}
	for _, name := range targets.Temperaments() {
		all = append(all, cobra.CompletionWithDesc(name, targets.TemperamentAbout(name)))
	}
	return all, cobra.ShellCompDirectiveDefault
}

// completeSessions offers the newest sessions of the journal.
func completeSessions(cmd *cobra.Command, _ []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
	path := ""
	if f := cmd.Flag("journal"); f != nil {
		path = f.Value.String()
	}
	all := []cobra.Completion{cobra.CompletionWithDesc("last", "the newest session")}
	const newest = 20
	_ = withJournal(path, io.Discard, func(j *journal.Journal) error { // without a journal there are none
		sessions, err := j.Sessions(cmd.Context(), journal.Filter{Last: newest})
		for i := range sessions {
			s := &sessions[i]
			all = append(all, cobra.CompletionWithDesc(fmt.Sprint(s.ID), fmt.Sprintf("%s %s %s", shortTime(s.Started), s.Kind, s.Instrument)))
		}
		return err
	})
	return all, cobra.ShellCompDirectiveNoFileComp
}

func (d Deps) completeInputs(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	all := []cobra.Completion{"mic", "demo", "-"}
	for _, name := range d.deviceNames(true) {
		all = append(all, "mic:"+name)
	}
	return all, cobra.ShellCompDirectiveDefault
}

func (d Deps) completeSpeakers(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	return d.deviceNames(false), cobra.ShellCompDirectiveNoFileComp
}

func (d Deps) completeDevices(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	return d.deviceNames(true), cobra.ShellCompDirectiveNoFileComp
}

// deviceNames are those of devices that record, or of those that play.
func (d Deps) deviceNames(record bool) []string {
	if d.Devices == nil {
		return nil
	}
	devices, err := d.Devices()
	if err != nil {
		return nil // nothing can be offered
	}
	var all []string
	for _, dev := range devices {
		if record && dev.MaxInput > 0 || !record && dev.MaxOutput > 0 {
			all = append(all, dev.Name)
		}
	}
	return all
}
