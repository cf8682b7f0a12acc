package command

import (
	"fmt"

	"github.com/spf13/pflag"

	"tunerd/internal/coupling"
	"tunerd/internal/display/text"
)

// coupledOptions say whether a plan is to tell the order of turning.
type coupledOptions struct {
	on    bool
	known knownOptions
}

func (o *coupledOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.on, "coupled", false, "say in which order to turn the strings, and what to tune each to now, where they\npull on each other (\"tunerd coupling learn\" finds out how)")
	o.known.addFlags(fs)
}

// turns writes the order of turning for the plan and back, if it is wanted.
func (a *detuneAnswer) turns() error {
	if !a.o.coupled.on || a.o.listing.csv {
		return nil
	}
	f, err := a.o.coupled.known.need(a.plan.Instrument)
	if err != nil {
		return err
	}
	before := make([]float64, len(a.plan.Cents))
	for i := range before {
		before[i] = a.plan.NowHz(i + 1)
	}
	after, err := a.plan.Detuned()
	if err != nil {
		return err
	}
	t, err := coupling.Retune(f, a.plan.Instrument, after, before)
	if err != nil {
		return err
	}
	a.head("\nTurn in this order, to these readings:")
	if err := a.o.listing.write(a.out, passList("turn", after, t.There)); err != nil {
		return err
	}
	a.tellTurns(t.There)
	a.head("\nAnd back:")
	if err := a.o.listing.write(a.out, passList("turn_back", a.plan.Instrument, t.Back)); err != nil {
		return err
	}
	a.tellTurns(t.Back)
	if f.Known.Support != coupling.FloatingBridge {
		return nil
	}
	if a.o.listing.json {
		l := &text.Listing{Type: "springs", Columns: []text.Column{{Name: "force_n"}, {Name: "way_mm"}}}
		l.Rows = [][]any{{t.Spring.ForceN, t.Spring.WayMM}}
		return l.WriteJSON(a.out)
	}
	fmt.Fprintln(a.out, "\n"+t.Spring.Words())
	return nil
}

func (a *detuneAnswer) tellTurns(p *coupling.Pass) {
	if a.o.listing.plain() {
		tellPass(a.out, p)
	}
}
