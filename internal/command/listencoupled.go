package command

import (
	"fmt"
	"io"

	"github.com/spf13/pflag"

	"tunerd/internal/coupling"
	"tunerd/internal/engine"
	"tunerd/internal/targets"
)

// passingOptions say whether a session learns in passing how strings pull on each other, and says what to tune
// each to now.
type passingOptions struct {
	on      bool
	known   knownOptions
	support string
}

func (o *passingOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.on, "coupled", false, "the strings pull on each other: learn in passing how, and say what to tune each to now,\nso that one pass ends in tune")
	fs.StringVar(&o.support, "support", "", "with --coupled, what the strings pull at, `KIND`: "+supportKinds)
	o.known.addFlags(fs)
}

// A passing is what a session learns in passing. A nil passing learns nothing.
type passing struct {
	*coupling.Follower
	in     *targets.Instrument
	learn  couplingLearnOptions
	forget bool // nothing is kept
}

// begin prepares it for an instrument, nil for none.
func (o *passingOptions) begin(in *targets.Instrument, chat io.Writer) (*passing, error) {
	switch {
	case !o.on && (o.support != "" || o.known.path != ""):
		return nil, usagef("--support and --known are for --coupled")
	case !o.on:
		return nil, nil
	case in == nil:
		return nil, hintf(usagef("--coupled needs to know the strings; name them with --instrument or --plan"),
			`"tunerd instrument list" lists the built-in instruments`)
	}
	p := &passing{in: in, learn: couplingLearnOptions{known: o.known, support: o.support, behindMM: coupling.UsualBehindMM}}
	before, prior, err := p.learn.begin(in, chat)
	if err != nil {
		return nil, err
	}
	var labels []string
	for _, t := range in.Targets() {
		labels = append(labels, t.Label)
	}
	if p.Follower, err = coupling.NewFollower(prior, before, labels); err != nil {
		return nil, hintf(err, `"tunerd coupling learn --fresh" begins anew`)
	}
	return p, nil
}

// couplingFiles keep what is known where "tunerd coupling" looks for it; a bench.CouplingStore.
type couplingFiles struct{}

func (couplingFiles) Load(in *targets.Instrument) (*coupling.File, error) {
	f, _, err := (&knownOptions{}).load(in)
	return f, err
}

func (couplingFiles) Save(in *targets.Instrument, f coupling.File) error {
	_, err := (&knownOptions{}).save(in, f)
	return err
}

// coupled is what the engine is given: always the one follower, which keeps what it has learned.
func (p *passing) coupled() engine.NewCoupled {
	if p == nil {
		return nil
	}
	return func() (*coupling.Follower, error) { return p.Follower, nil }
}

// end keeps what was learned, if anything was.
func (p *passing) end(chat io.Writer) error {
	if p == nil || p.forget || !p.Taught() {
		return nil
	}
	record := p.Record()
	path, err := p.learn.known.save(p.in, coupling.File{BehindMM: p.learn.behindMM, Known: p.Known(), LastPass: &record})
	if err != nil {
		return err
	}
	fmt.Fprintf(chat, "tunerd: how the strings pull on each other is kept in %s\n", path)
	return nil
}
