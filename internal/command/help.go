package command

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/text"
)

// helpColumn is where the words on flags and commands begin.
const helpColumn = 24

// lineWidth is how wide help is, whatever the terminal: 80 columns, which every one has.
const lineWidth = 80

// writeHelp writes the help page of a command, in lines of at most lineWidth.
func writeHelp(w io.Writer, cmd *cobra.Command) {
	about := cmd.Long
	if about == "" {
		about = cmd.Short
	}
	var b strings.Builder
	b.WriteString(wrapText(about))
	b.WriteString("\n\nUsage:\n")
	if cmd.Runnable() {
		fmt.Fprintf(&b, "  %s\n", cmd.UseLine())
	}
	if cmd.HasAvailableSubCommands() {
		fmt.Fprintf(&b, "  %s COMMAND\n", cmd.CommandPath())
	}
	if cmd.HasExample() {
		fmt.Fprintf(&b, "\nExamples:\n%s\n", cmd.Example)
	}
	if cmd.HasAvailableSubCommands() {
		b.WriteString("\nCommands:\n")
		for _, sub := range cmd.Commands() {
			if sub.IsAvailableCommand() {
				writeTerm(&b, "  "+sub.Name(), sub.Short)
			}
		}
	}
	writeFlags(&b, "Flags", cmd.LocalFlags())
	writeFlags(&b, "Flags of all its commands", cmd.InheritedFlags())
	if cmd.HasAvailableSubCommands() {
		fmt.Fprintf(&b, "\n\"%s COMMAND --help\" says more about a command.\n", cmd.CommandPath())
	}
	io.WriteString(w, b.String())
}

// wrapText breaks paragraphs anew, but for those that are indented: lists and examples.
func wrapText(s string) string {
	paragraphs := strings.Split(strings.Trim(s, "\n"), "\n\n")
	for i, p := range paragraphs {
		if !strings.HasPrefix(p, " ") && !strings.HasPrefix(p, "\t") && !strings.Contains(p, "\n ") && !strings.Contains(p, "\n\t") {
			paragraphs[i] = strings.Join(text.Wrap(p, lineWidth), "\n")
		}
	}
	return strings.Join(paragraphs, "\n\n")
}

func writeFlags(b *strings.Builder, title string, flags *pflag.FlagSet) {
	if !flags.HasAvailableFlags() {
		return
	}
	fmt.Fprintf(b, "\n%s:\n", title)
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, usage := pflag.UnquoteUsage(f)
		term := "      --" + f.Name
		if f.Shorthand != "" {
			term = "  -" + f.Shorthand + ", --" + f.Name
		}
		if f.Value.Type() != "bool" {
			term += " " + value
		}
		writeTerm(b, term, usage+defaultWords(f, usage))
	})
}

// defaultWords says what a flag is if it is not given, unless that is nothing or has been said.
func defaultWords(f *pflag.Flag, usage string) string {
	switch {
	case f.DefValue == "", f.DefValue == "0", f.DefValue == "false", f.DefValue == "[]", strings.Contains(usage, "(default"):
		return ""
	case f.Value.Type() == "string":
		return fmt.Sprintf(" (default %q)", f.DefValue)
	}
	return fmt.Sprintf(" (default %s)", f.DefValue)
}

// writeTerm writes a flag or command with its words beside it, or below where it is long.
func writeTerm(b *strings.Builder, term, words string) {
	lines := text.Wrap(words, lineWidth-helpColumn)
	if len(term) > helpColumn-2 {
		b.WriteString(term + "\n")
	} else if len(lines) > 0 {
		fmt.Fprintf(b, "%-*s%s\n", helpColumn, term, lines[0])
		lines = lines[1:]
	}
	for _, line := range lines {
		fmt.Fprintf(b, "%*s%s\n", helpColumn, "", line)
	}
}
