package command_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/command"
)

// everyCommand calls f with each command of the tree that a user can see.
func everyCommand(t *testing.T, f func(*cobra.Command)) {
	root := command.NewRoot(command.Deps{})
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	count := 0
	var walk func(*cobra.Command)
	walk = func(cmd *cobra.Command) {
		f(cmd)
		count++
		for _, sub := range cmd.Commands() {
			if !sub.Hidden {
				walk(sub)
			}
		}
	}
	walk(root)
	if count < 40 {
		t.Fatalf("%d commands, fewer than there were", count)
	}
}

// A terminal has 80 columns, and a switch is named, not set.
func TestHelpPages(t *testing.T) {
	everyCommand(t, func(cmd *cobra.Command) {
		var page bytes.Buffer
		cmd.InitDefaultHelpFlag()
		cmd.SetOut(&page)
		if err := cmd.Help(); err != nil {
			t.Error(err)
		}
		if !strings.Contains(page.String(), "Usage:\n  tunerd") {
			t.Errorf("%s has no help: %s", cmd.CommandPath(), page.String())
		}
		for _, line := range strings.Split(page.String(), "\n") {
			if n := utf8.RuneCountInString(line); n > 80 || strings.Contains(line, "[=") {
				t.Errorf("%s --help: %d columns: %s", cmd.CommandPath(), n, line)
			}
		}
	})
}

// One name means one thing: in all commands a flag takes the same kind of value under the same word.
func TestFlagNames(t *testing.T) {
	values := map[string][]string{}
	everyCommand(t, func(cmd *cobra.Command) {
		cmd.LocalFlags().VisitAll(func(f *pflag.Flag) {
			value, _ := pflag.UnquoteUsage(f)
			if f.Value.Type() == "bool" {
				value = "bool"
			}
			if !slices.Contains(values[f.Name], value) {
				values[f.Name] = append(values[f.Name], value)
			}
			if f.DefValue == "true" && f.Name != "keep" {
				t.Errorf("%s --%s is a switch that is on: name what turns it off", cmd.CommandPath(), f.Name)
			}
		})
	})
	for name, all := range values {
		if len(all) > 1 {
			t.Errorf("--%s takes %q", name, all)
		}
	}
}
