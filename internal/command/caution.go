package command

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/pflag"

	"tunerd/internal/display/text"
	"tunerd/internal/tension"
)

// riskOptions say whether the user accepts targets beyond the limit of tension.
type riskOptions struct {
	accepted bool
}

func (o *riskOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.accepted, "accept-risk", false, fmt.Sprintf("take targets that bring a string beyond %.0f%% of its breaking limit", 100*tension.Limit))
}

// refuse refuses what puts a string beyond the limit, unless the user or, with inPlan, the file of the
// plan accepts it.
func (o *riskOptions) refuse(changes []tension.Change, inPlan bool) error {
	if o.accepted || inPlan {
		return nil
	}
	if err := tension.Refuse(changes); err != nil {
		return hintf(err, "--accept-risk takes it; wear eye protection then")
	}
	return nil
}

// caution refuses or tells what the targets mean for the strings, before anybody turns a peg, and
// returns the same in few words for the screen.
func (o *riskOptions) caution(chat io.Writer, p *plan) (words string, err error) {
	if err := o.refuse(p.changes, p.moves != nil && p.moves.AcceptRisk); err != nil {
		return "", err
	}
	tellParagraphs(chat, tension.Cautions(p.changes))
	return tension.Brief(p.changes), nil
}

func tellParagraphs(w io.Writer, paragraphs []string) {
	for _, p := range paragraphs {
		for _, line := range text.Wrap(p, text.ParagraphWidth(w)) {
			fmt.Fprintln(w, line)
		}
	}
}

// cautionList is what a program is told of raised strings.
func cautionList(paragraphs []string) *text.Listing {
	l := &text.Listing{Type: "caution", Columns: []text.Column{{Name: "text"}}}
	for _, p := range paragraphs {
		l.Rows = append(l.Rows, []any{p})
	}
	return l
}

// isRisk says whether err is a refusal that raising strings less would avoid.
func isRisk(err error) bool {
	var risk *tension.Risk
	return errors.As(err, &risk) && risk.Raised()
}
