package command

import (
	"fmt"

	"tunerd/internal/display"
)

const rowsHelp = "what the rows of the strobe are compared with: `string`, the partials of a string as stiff as the one\nthat sounds, so that all rest when it is in tune, or harmonics, the exact ones (default string)"

// A rowsFlag reads what the rows of the strobe are compared with.
type rowsFlag display.Rows

func (f *rowsFlag) Type() string   { return "string" }
func (f *rowsFlag) String() string { return string(*f) }

func (f *rowsFlag) Set(text string) error {
	switch rows := display.Rows(text); rows {
	case display.StringRows, display.HarmonicRows:
		*f = rowsFlag(rows)
		return nil
	}
	return fmt.Errorf("it is %s or %s", display.StringRows, display.HarmonicRows)
}
