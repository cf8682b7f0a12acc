package coupling

import (
	"fmt"
	"strings"

	"tunerd/internal/tension"
)

// A Phase is where a pass stands.
type Phase string

// The phases there are.
const (
	Hearing  Phase = "hear all"    // not all strings were heard yet: no advice can be given
	Turning  Phase = "turn"        // strings are to be turned
	Checking Phase = "hear again"  // all were turned; they are to be heard again
	InTune   Phase = "all in tune" // and were, and are
)

// A Now is the advice of one instant, for all strings.
type Now struct {
	Phase   Phase
	Next    int   // string to be turned next, from 1; 0: none
	Missing []int // strings to be heard, from 1
	Strings []NowString
	Short   bool        // the limits of tension cut moves short: it takes another pass
	Unsure  []int       // strings, from 1, that may not be in tune after this pass
	Loses   [][]float64 // cents that a string loses for 100 cents more on another
	Record  Record      // of the pass so far
	labels  []string
}

// A NowString is the advice for one string.
type NowString struct {
	NowCents      float64 // to tune it to now, if it is the next that is turned; against its target
	Turn          int     // its place in the order, from 1; 0: it is to be left alone
	ForecastCents float64 // of it after this pass
	ForecastSigma float64
	Cents, Sigma  float64 // that it is believed to sound at
}

// Now returns the advice from what is believed.
func (f *Follower) Now() *Now {
	now := &Now{labels: f.labels, Loses: f.now.LosesPer(100), Record: f.Record()}
	for i, ok := range f.heard {
		if !ok {
			now.Missing = append(now.Missing, i+1)
		}
	}
	if len(now.Missing) > 0 || !f.begun {
		now.Phase = Hearing
		return now
	}
	pass := f.now.left()
	now.Short, now.Unsure, now.Phase = pass.Short, pass.Unsure(), Turning
	cents, sigma := f.now.Cents()
	now.Strings = make([]NowString, len(f.labels))
	for i := range now.Strings {
		now.Strings[i] = NowString{
			NowCents: f.now.For(i).NowCents, Cents: cents[i], Sigma: sigma[i],
			ForecastCents: pass.Cents[i], ForecastSigma: pass.Sigma[i],
		}
	}
	for k, s := range pass.Steps {
		if turn := &now.Strings[s.String].Turn; *turn == 0 { // a move that was cut short comes again
			*turn = k + 1
		}
	}
	if len(pass.Steps) > 0 {
		now.Next = pass.Steps[0].String + 1
		return now
	}
	for i, ok := range f.checked {
		if !ok {
			now.Missing = append(now.Missing, i+1)
		}
	}
	now.Phase = InTune
	if len(now.Missing) > 0 {
		now.Phase = Checking
	}
	return now
}

// Words says what to do now, in a sentence.
func (n *Now) Words() string {
	switch n.Phase {
	case Hearing:
		return "to know where all strings are, pluck each once; still to be heard: " + n.names(n.Missing)
	case Checking:
		return "this pass is done; pluck each string once more: " + n.names(n.Missing)
	case InTune:
		return "all strings are in tune"
	}
	s := n.Strings[n.Next-1]
	words := fmt.Sprintf("tune string %s to %+.1f cents now", n.name(n.Next), s.NowCents)
	switch {
	case n.Short:
		words += "; moves are cut short so that no string comes beyond its limit, so it takes a second pass"
	case len(n.Unsure) > 0:
		words += fmt.Sprintf("; after this pass %s may still be more than %d cent off", tension.StringList(n.Unsure), InTuneCents)
	default:
		words += fmt.Sprintf("; after this pass all strings should be within %d cent", InTuneCents)
	}
	return words
}

func (n *Now) name(s int) string { return fmt.Sprintf("%d (%s)", s, n.labels[s-1]) }

func (n *Now) names(all []int) string {
	names := make([]string, len(all))
	for i, s := range all {
		names[i] = n.name(s)
	}
	return strings.Join(names, ", ")
}
