package engine

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tunerd/internal/coupling"
	"tunerd/internal/coupling/simulate"
	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// A coupledRig is a guitar on a floating bridge of known truth, and a framer that hears it.
type coupledRig struct {
	t     *testing.T
	in    *targets.Instrument
	truth *simulate.Instrument
	f     *framer
	at    int64
	frame *display.Frame
	said  []string
}

const rigRate = 48000

func newCoupledRig(t *testing.T, start ...float64) *coupledRig {
	in, err := targets.LoadInstrument("guitar-12edo")
	if err != nil {
		t.Fatal(err)
	}
	kind, err := simulate.KindOf("floating bridge")
	if err != nil {
		t.Fatal(err)
	}
	resolver, err := targets.NewResolver(targets.ResolverConfig{Instrument: in})
	if err != nil {
		t.Fatal(err)
	}
	prior, follower := newFollower(t, in)
	r := &coupledRig{t: t, in: in, truth: simulate.New(kind.On(prior.Strings), simulate.Flaws{}, rand.New(rand.NewPCG(4, 0)))}
	r.truth.Start(start)
	src := &script{name: "rig", rate: rigRate}
	r.f = newFramer(&Config{Source: src, Resolver: resolver})
	if err := r.f.couple(func() (*coupling.Follower, error) { return follower, nil }, true, func(*coupling.Now) {}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.f.coupled.close() })
	return r
}

func newFollower(t *testing.T, in *targets.Instrument) (*coupling.Prior, *coupling.Follower) {
	t.Helper()
	prior, _, err := coupling.OfInstrument(in, coupling.FloatingBridge, coupling.UsualBehindMM)
	if err != nil {
		t.Fatal(err)
	}
	follower, err := coupling.NewFollower(prior, nil, make([]string, len(in.Strings)))
	if err != nil {
		t.Fatal(err)
	}
	return prior, follower
}

// What one follower has learned is kept before the next is made, which begins with it; where none can be made, that is
// said and the one before is gone.
func TestFollowersComeOneAfterTheOther(t *testing.T) {
	r := newCoupledRig(t, make([]float64, 6)...)
	_, first := newFollower(t, r.in)
	ended := false
	first.OnEnd(func(*coupling.Follower) { ended = true })
	tell := func(*coupling.Now) {}
	if err := r.f.couple(func() (*coupling.Follower, error) { return first, nil }, true, tell); err != nil {
		t.Fatal(err)
	}
	err := r.f.couple(func() (*coupling.Follower, error) {
		if !ended {
			t.Error("the next is made while the one before still learns")
		}
		return nil, errors.New("no")
	}, true, tell)
	if err == nil || r.f.coupled != nil {
		t.Errorf("error %v, coupled %v", err, r.f.coupled)
	}
}

// note lets string i ring for a second and a half at what pitch says, in cents, by seconds.
func (r *coupledRig) note(i int, cents func(s float64) float64) {
	const hop = rigRate / 50
	onset := r.at + hop
	for s := 0.0; s < 1.5; s += 0.02 {
		r.at += hop
		hz := r.in.Strings[i].Open.Hz * math.Exp2(cents(s)/1200)
		reading := sounding(hz)
		reading.At, reading.Onset, reading.NewOnset = r.at, onset, s == 0
		r.show(&reading)
	}
	r.at += hop
	r.show(&pitch.Reading{State: pitch.Silent, Result: pitch.Result{At: r.at}})
}

func (r *coupledRig) show(reading *pitch.Reading) {
	r.frame = r.f.reading(reading)
	r.f.coupled.hear(r.frame)
	if r.frame.Message != "" {
		r.said = append(r.said, r.frame.Message)
	}
	if r.frame.Now.Hz == 0 || len(r.frame.Bands) == 0 {
		return
	}
	if b := r.frame.Bands[0]; b.TargetHz != r.frame.Now.Hz {
		r.t.Errorf("the strobe of string %d runs against %g Hz, it is to be tuned to %g Hz now", r.frame.Target.String, b.TargetHz, r.frame.Now.Hz)
	}
}

func (r *coupledRig) pluck(i int) { r.note(i, func(float64) float64 { return r.truth.Cents(i) }) }

// turn has string i turned while it rings.
func (r *coupledRig) turn(i int, to float64) {
	from := r.truth.Cents(i)
	r.truth.Turn(i, to)
	r.note(i, func(s float64) float64 { return from + (to-from)*min(max(s-0.7, 0)/0.3, 1) })
}

// A hand that plucks and turns as the frames say has all strings in tune; nothing was known before. Until all
// strings were heard no advice is given.
func TestTuneToNow(t *testing.T) {
	r := newCoupledRig(t, 12, -20, 25, -8, 18, -28)
	for i := range r.in.Strings {
		if r.pluck(i); i < 5 && (r.frame.Strings[0].Now.Hz != 0 || r.frame.Pass.Phase != string(coupling.Hearing)) {
			t.Fatalf("%d strings were heard, and there is advice: %+v", i+1, r.frame.Strings[0])
		}
	}
	moves := 0
	for range 60 {
		r.pluck(0) // anything: the frames after it have the advice
		pass := r.frame.Pass
		if pass.Phase == string(coupling.InTune) {
			break
		}
		if pass.Phase == string(coupling.Checking) {
			for i := range r.in.Strings {
				r.pluck(i)
			}
			continue
		}
		i := pass.Next - 1
		now := r.frame.Strings[i].Now
		if want := r.in.Strings[i].Open.Hz * math.Exp2(now.Cents/1200); math.Abs(want-now.Hz) > 1e-9*want {
			t.Fatalf("%g Hz are not %g cents from the target", now.Hz, now.Cents)
		}
		r.turn(i, now.Cents)
		moves++
	}
	for i := range r.in.Strings {
		if c := r.truth.Cents(i); math.Abs(c) > coupling.InTuneCents {
			t.Errorf("string %d ends at %+.2f cents after %d moves", i+1, c, moves)
		}
	}
	if moves > 16 { // round and round takes some 5.7 a string, 34
		t.Errorf("%d moves", moves)
	}
	if len(r.said) > 0 {
		t.Errorf("nothing slips, and it says %q", r.said)
	}
}

// A peg that slips is said with the next reading.
func TestSlipIsSaid(t *testing.T) {
	r := newCoupledRig(t, 0, 0, 0, 0, 0, 0)
	for i := range r.in.Strings {
		r.pluck(i)
	}
	r.turn(2, 12)
	r.pluck(3)
	r.truth.Turn(2, 8.5)
	r.pluck(2)
	r.pluck(3)
	if !strings.Contains(strings.Join(r.said, "\n"), "string 3 sounds") {
		t.Errorf("string 3 slipped by 3.5 cents; said is %q", r.said)
	}
}
