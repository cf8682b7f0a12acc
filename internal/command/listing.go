package command

import (
	"errors"
	"io"

	"github.com/spf13/pflag"

	"tunerd/internal/display/text"
)

// listingOptions choose the form of a table.
type listingOptions struct {
	json bool
	csv  bool
}

func (o *listingOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.json, "json", false, "print one JSON object a line")
	fs.BoolVar(&o.csv, "csv", false, "print comma-separated values with a header")
}

func (o *listingOptions) check() error {
	if o.json && o.csv {
		return usageError{errors.New("--json and --csv exclude one another")}
	}
	return nil
}

// plain says whether a person reads the output.
func (o *listingOptions) plain() bool { return !o.json && !o.csv }

func (o *listingOptions) write(out io.Writer, l *text.Listing) error {
	switch {
	case o.json:
		return l.WriteJSON(out)
	case o.csv:
		return l.WriteCSV(out)
	}
	return l.WriteTable(out)
}
