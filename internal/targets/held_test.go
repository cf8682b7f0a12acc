package targets

import (
	"math"
	"testing"
)

// Open strings of a guitar: E4 B3 G3 D3 A2 E2 (common practice; 12edo at A4=440).
func heldGuitar(t *testing.T, n int) *Resolver {
	t.Helper()
	return mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "guitar-12edo"), String: n})
}

func open(r *Resolver, n int) float64 { return r.Strings()[n-1].Hz }

// Whoever holds E4 and plays another string must never be told to wind E4.
func TestAnotherStringThanTheHeldOne(t *testing.T) {
	for held := 1; held <= 6; held++ {
		r := heldGuitar(t, held)
		for n := 1; n <= 6; n++ {
			for _, cents := range []float64{-60, -20, 0, 20, 60} {
				r.Reset()
				var m Match
				for range 20 { // a steady note
					m = r.Resolve(atCents(open(r, n), cents), 0.1)
				}
				switch {
				case n == held && (m.Standing != Taken || m.Seems.String != 0):
					t.Errorf("string %d held, it sounds at %+g: %s, seems %v", held, cents, m.Standing, m.Seems)
				case n != held && (m.Standing != Doubted || m.Verdict != OtherString || m.Seems.String != n || math.Abs(m.SeemsCents-cents) > 1e-9):
					t.Errorf("string %d held, %d sounds at %+g: %s, %q, seems %v %+g", held, n, cents, m.Standing, m.Verdict, m.Seems, m.SeemsCents)
				}
			}
		}
	}
}

// A slack string that lies far from every string of the instrument is not called flat either.
func TestFarFromEveryString(t *testing.T) {
	r := heldGuitar(t, 6)
	if m := r.Resolve(atCents(open(r, 6), -400), 0.1); m.Standing != Doubted || m.Verdict != FarOff || m.Seems.String != 0 {
		t.Errorf("400 cents below the lowest string: %+v", m)
	}
	r.Reset()
	if m := r.Resolve(atCents(open(r, 6), -200), 0.1); m.Standing != Taken || m.Verdict != Flat {
		t.Errorf("200 cents below the lowest string: %+v", m)
	}
}

// Somebody says that it is the held string: it is followed from then on, over new plucks, also as it
// is wound past the pitches of others; but another string in tune that is played instead is not.
func TestConfirmedStringIsFollowed(t *testing.T) {
	r := heldGuitar(t, 1)
	e4 := open(r, 1)
	r.Confirm() // says nothing: nothing is doubted
	if m := r.Resolve(atCents(e4, -840), 0.3); m.Standing != Doubted {
		t.Fatalf("a slack string before anything is known: %+v", m)
	}
	r.Confirm()
	for c := -840.0; c < -560; c += 7 {
		if m := r.Resolve(atCents(e4, c), 0.3); m.Standing != Confirmed || m.Verdict != Flat {
			t.Fatalf("%+g cents after it was confirmed: %+v", c, m)
		}
	}
	for _, c := range []float64{-570, -430, -350, -130, -3} { // plucked again, wound meanwhile
		r.Reset()
		if m := r.Resolve(atCents(e4, c), 0.3); m.Standing == Doubted {
			t.Fatalf("plucked again at %+g cents: %+v", c, m)
		}
	}
	r.Reset()
	if m := r.Resolve(open(r, 5), 0.3); m.Standing != Doubted || m.Seems.String != 5 {
		t.Errorf("A2 after that: %+v", m)
	}
}

// A new string that is really being wound is not held up: as its pitch rises it is followed without a
// key. Somebody who tunes another string up to its own target is still told which it is.
func TestMovingTowardsTheTarget(t *testing.T) {
	for _, c := range []struct {
		name     string
		held     int
		from, to float64 // cents against the held string
		want     Standing
	}{
		{"slack string between others", 1, -840, -700, Moving}, // G3 is at -900, B3 at -500
		{"slack string below the lowest", 6, -480, -400, Moving},
		{"too sharp a string let down", 6, 580, 400, Moving}, // A2 is at +500
		{"another string tuned up", 1, -1960, -1900, Doubted},
		{"another string tuned down", 6, 540, 500, Doubted},
		{"vibrato", 1, -1910, -1890, Doubted},
		{"away from the target", 1, -840, -1060, Doubted},
	} {
		r := heldGuitar(t, c.held)
		target := open(r, c.held)
		var m Match
		for i := range 100 {
			m = r.Resolve(atCents(target, c.from+(c.to-c.from)*float64(i)/99), 0.3)
		}
		if m.Standing != c.want {
			t.Errorf("%s: %s, want %s", c.name, m.Standing, c.want)
		}
	}
}

// Strings a semitone or less apart, as on a harp: the neighbour that is in tune is not the held one,
// and a held one that is off by less than a quarter tone is.
func TestNeighboursASemitoneApart(t *testing.T) {

	h := newHolder()
	if s := h.judge(0, 100, 0.1); s != Taken {
		t.Fatal(s)
	}
	h.note()
	if s := h.judge(-100, 0, 0.1); s != Doubted {
		t.Errorf("the neighbour in tune is %s", s)
	}
	h.note()
	if s := h.judge(-45, 55, 0.1); s != Taken {
		t.Errorf("45 cents flat is %s", s)
	}
	h.note()
	if s := h.judge(-60, 40, 12); s != Taken {
		t.Errorf("60 cents flat, known to 12: %s", s)
	}
}

// "0.08 ± 2.1 in tune" with a tolerance of 0.5 is not known. The side is said where it is known.
func TestVerdictNeedsItsUncertainty(t *testing.T) {
	for _, c := range []struct {
		cents, sigma float64
		want         string
	}{
		{0.08, 2.1, Unsure}, {0.08, 0.51, Unsure}, {0.08, 0.5, InTune}, {-0.49, 0.1, InTune}, {0.4, math.NaN(), Unsure},
		{0.6, 0.1, Sharp}, {-0.6, 0.5, Flat}, {-0.6, 0.7, Unsure}, {3, 2.1, Unsure}, {5, 2.1, Sharp}, {-40, 5, Flat},
		{12, math.NaN(), Unsure}, {0.3, 0, InTune}, {-7, 0, Flat},
	} {
		if got := Verdict(c.cents, c.sigma, 0.5); got != c.want {
			t.Errorf("Verdict(%g, %g) = %q, want %q", c.cents, c.sigma, got, c.want)
		}
		r := mustResolver(t, ResolverConfig{})
		if m := r.Resolve(atCents(440, c.cents), c.sigma); m.Verdict != c.want {
			t.Errorf("Resolve %g ± %g: %q, want %q", c.cents, c.sigma, m.Verdict, c.want)
		}
	}
}
