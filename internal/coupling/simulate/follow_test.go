package simulate

import (
	"math"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/coupling"
)

// strumReach is that of internal/ensemble, in cents.
const strumReach = 60

// follow returns a follower of an instrument that was drawn, and the instrument.
func follow(t *testing.T, name string, seed uint64, told coupling.Support) (*coupling.Follower, *Instrument) {
	t.Helper()
	k, err := KindOf(name)
	if err != nil {
		t.Fatal(err)
	}
	in := New(k, Flaws{}, seeded(seed))
	p, err := coupling.NewPrior(told, k.Strings)
	if err != nil {
		t.Fatal(err)
	}
	f, err := coupling.NewFollower(p, nil, make([]string, in.n))
	if err != nil {
		t.Fatal(err)
	}
	return f, in
}

// An ear hears an instrument with some scatter.
type ear func() float64

func (e ear) read(in *Instrument, i int) coupling.Reading {
	return coupling.Reading{String: i, Cents: in.cents[i] + 0.1*e(), SigmaCents: 0.1}
}

func (e ear) all(in *Instrument) []coupling.Reading {
	all := make([]coupling.Reading, in.n)
	for i := range all {
		all[i] = e.read(in, i)
	}
	return all
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// obeyPlucking tunes as advised, string by string, and returns how many moves it took: each string is plucked,
// turned half the way, then all of it, and every reading is told.
func obeyPlucking(t *testing.T, f *coupling.Follower, in *Instrument, e ear) (moves int) {
	t.Helper()
	for range 12 * in.n {
		now := f.Now()
		if now.Phase == coupling.InTune {
			return moves
		}
		if now.Phase != coupling.Turning {
			must(t, f.Hear(e.read(in, now.Missing[0]-1)))
			continue
		}
		i := now.Next - 1
		must(t, f.Hear(e.read(in, i)))
		aim := f.Now().Strings[i].NowCents
		in.Turn(i, (in.cents[i]+aim)/2)
		must(t, f.Hear(e.read(in, i)))
		if again := f.Now().Strings[i].NowCents; !now.Short && math.Abs(again-aim) > 1.5 { // one that is cut short is cut anew
			t.Errorf("string %d is to be tuned to %.2f, and halfway there to %.2f", i+1, aim, again)
		}
		in.Turn(i, aim)
		must(t, f.Hear(e.read(in, i)))
		moves++
	}
	t.Fatal("it does not settle")
	return 0
}

// TestPassingByPlucks: whoever obeys the advice of listening needs fewer moves than round and round, and ends in
// tune; the second time, with what was learned in passing, one pass is enough.
func TestPassingByPlucks(t *testing.T) {
	for _, name := range []string{"floating bridge", "banjo"} {
		k, err := KindOf(name)
		must(t, err)
		f, in := follow(t, name, 21, k.Support)
		rng := seeded(22)
		e := ear(rng.NormFloat64)
		start := offsets(Off30, in.n, rng)
		in.Start(start)
		first := obeyPlucking(t, f, in, e)
		for i, c := range in.cents {
			if math.Abs(c) > coupling.InTuneCents+0.3 { // three σ of the ear
				t.Errorf("%s: string %d ends at %+.2f cents", name, i+1, c)
			}
		}
		in.Start(start)
		h := Hand{PegSigma: 0.1, Sigma: 0.1, rng: rng, in: in}
		h.roundAndRound()
		if first > h.moves {
			t.Errorf("%s: %d moves as advised, %d round and round", name, first, h.moves)
		}
		if !f.Taught() {
			t.Errorf("%s: nothing was learned", name)
		}
		p, err := coupling.NewPrior(k.Support, k.Strings)
		must(t, err)
		again, err := coupling.NewFollower(p, f.Known(), make([]string, in.n))
		must(t, err)
		in.Start(start)
		if second := obeyPlucking(t, again, in, e); second > first || second > in.n+2 {
			t.Errorf("%s: %d moves with what was learned, %d before", name, second, first)
		}
		t.Logf("%s: %d moves, then known; round and round %d", name, first, h.moves)
	}
}

// TestPassingByStrums: of all strings heard at once, the one that was turned is found, also where it was not the
// one that was advised, and what it costs the others is learned.
func TestPassingByStrums(t *testing.T) {
	f, in := follow(t, "floating bridge", 31, coupling.Untold)
	rng := seeded(32)
	e := ear(rng.NormFloat64)
	in.Start(offsets(Off30, in.n, rng))
	must(t, f.HearAll(e.all(in), strumReach))
	for k, i := range []int{4, 0, 3, 2, 5, 1} {
		in.Turn(i, in.cents[i]+20-8*float64(k))
		must(t, f.HearAll(e.all(in), strumReach))
		moves := f.Record().Moves
		if len(moves) != k+1 || moves[k].String != i+1 {
			t.Fatalf("string %d was turned; found are %d moves, %+v", i+1, len(moves), moves)
		}
	}
	loses := f.Loses()
	at := slices.Clone(in.cents)
	for i := range in.n {
		in.Start(at)
		in.Turn(i, at[i]+10)
		for j := range in.n {
			if want := (at[j] - in.cents[j]) / 10; i != j && math.Abs(loses[j][i]-want) > 0.02 {
				t.Errorf("string %d loses %.3f of a cent of string %d, in truth %.3f", j+1, loses[j][i], i+1, want)
			}
		}
	}
}

// TestTwoTurnedBeforeAStrum: both are found.
func TestTwoTurnedBeforeAStrum(t *testing.T) {
	f, in := follow(t, "banjo", 41, coupling.Banjo)
	e := ear(seeded(42).NormFloat64)
	in.Start(make([]float64, in.n))
	must(t, f.HearAll(e.all(in), strumReach))
	in.Turn(1, 40)
	in.Turn(3, -30)
	must(t, f.HearAll(e.all(in), strumReach))
	var who []int
	for _, m := range f.Record().Moves {
		who = append(who, m.String)
	}
	slices.Sort(who)
	if !slices.Equal(who, []int{2, 4}) {
		t.Errorf("strings 2 and 4 were turned, found are %v", who)
	}
}

// TestPassingSaysWhatIsNoCoupling: a peg that slips and a string that sinks by itself are said, and teach
// nothing; a string that is turned before it is plucked is neither.
func TestPassingSaysWhatIsNoCoupling(t *testing.T) {
	f, in := follow(t, "guitar, fixed bridge", 51, coupling.FixedBridge)
	e := ear(seeded(52).NormFloat64)
	in.Start(make([]float64, in.n))
	hear := func(i int) { must(t, f.Hear(e.read(in, i))) }
	for i := range in.n {
		hear(i)
	}
	if said := f.TakeSaid(); len(said) > 0 {
		t.Fatalf("nothing has happened, and it says %q", said)
	}
	expect := func(what, want string) {
		t.Helper()
		said := f.TakeSaid()
		if want == "" && len(said) == 0 || len(said) == 1 && len(want) > 0 && strings.HasPrefix(said[0], want) {
			return
		}
		t.Errorf("%s: it says %q, want %q", what, said, want)
	}
	in.Turn(2, -3)
	hear(2)
	expect("string 3 sank by itself", "string 3 has moved")
	hear(0)
	in.Turn(0, 12)
	hear(0)
	hear(1)
	in.Turn(0, 9)
	hear(0)
	expect("the peg of string 1 slipped", "string 1 sounds")
	hear(1)
	in.Turn(4, 25)
	hear(4)
	expect("string 5 was turned before it was plucked", "")
	if moves := f.Record().Moves; len(moves) == 0 || moves[len(moves)-1].String != 5 {
		t.Errorf("the last move is to be that of string 5: %+v", moves)
	}
}

// TestPassingOnARigidSupport: nothing pulls, so the advice is the plain target, exactly.
func TestPassingOnARigidSupport(t *testing.T) {
	f, in := follow(t, "rigid", 61, coupling.Rigid)
	rng := seeded(62)
	in.Start(offsets(Off30, in.n, rng))
	must(t, f.HearAll(ear(rng.NormFloat64).all(in), strumReach))
	for i, s := range f.Now().Strings {
		if math.Abs(s.NowCents) > 1e-9 {
			t.Errorf("string %d is to be tuned to %g cents, its plain target is 0", i+1, s.NowCents)
		}
	}
}

// TestStrumsByAnEarThatMisses: an ear that hears strings up to 60 cents from their targets, and one string in ten not
// at all, ends in tune as well; no string comes out of its reach, or over its limit.
func TestStrumsByAnEarThatMisses(t *testing.T) {
	for seed := range uint64(6) {
		f, in := follow(t, "floating bridge", 70+seed, coupling.FloatingBridge)
		rng := seeded(80 + seed)
		in.Start(offsets(Off30, in.n, rng))
		strum := func() {
			var all []coupling.Reading
			for i, c := range in.cents {
				if math.Abs(c) > strumReach {
					t.Errorf("seed %d: string %d is at %+.1f cents", seed, i+1, c)
				}
				if math.Abs(c) <= strumReach && rng.Float64() > 0.1 {
					all = append(all, ear(rng.NormFloat64).read(in, i))
				}
			}
			must(t, f.HearAll(all, strumReach))
		}
		moves, strums := 0, 0
		for strum(); f.Now().Phase != coupling.InTune; strum() {
			if strums++; strums > 100 {
				t.Fatalf("seed %d: %s does not end: %.2f", seed, f.Now().Phase, in.cents)
			}
			if now := f.Now(); now.Phase == coupling.Turning {
				in.Turn(now.Next-1, now.Strings[now.Next-1].NowCents+0.2*rng.NormFloat64())
				if moves++; moves > 30 {
					t.Fatalf("seed %d: it does not settle: %.2f", seed, in.cents)
				}
			}
		}
		for i, c := range in.cents {
			if math.Abs(c) > 1.3 {
				t.Errorf("seed %d: string %d ends at %+.2f cents", seed, i+1, c)
			}
		}
		t.Logf("seed %d: %d moves", seed, moves)
	}
}

// TestStringAtItsLimit: a string that is in tune at its very limit does not keep the others from being tuned.
func TestStringAtItsLimit(t *testing.T) {
	k, err := KindOf("long neck, 4 steel")
	must(t, err)
	strs := slices.Clone(k.Strings)
	strs[2].LimitCents = 0
	in := New(k.On(strs), Flaws{}, seeded(91))
	p, err := coupling.NewPrior(k.Support, strs)
	must(t, err)
	f, err := coupling.NewFollower(p, nil, make([]string, in.n))
	must(t, err)
	in.Start([]float64{20, -12, -0.3, 9})
	obeyPlucking(t, f, in, ear(seeded(92).NormFloat64))
	for i, c := range in.cents {
		if math.Abs(c) > 1.3 {
			t.Errorf("string %d ends at %+.2f cents", i+1, c)
		}
	}
}
