package clock

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// A card delivers blocks of samples by its own clock, in bursts of so many blocks, each a little
// late: by an exponential delay, and now and then by very much.
type card struct {
	ppm     float64
	burst   int     // blocks of 512
	jitterS float64 // mean delay
}

func (c card) deliver(m *System, seconds float64, rng *rand.Rand) {
	start := time.Now()
	busy := 0.0 // s until the reader is free again: what is late holds up what follows
	for count := int64(0); ; count += 512 {
		sent := math.Ceil(float64(count/512+1)/float64(c.burst)) * float64(c.burst) * 512 / (rate * (1 + c.ppm*1e-6))
		late := c.jitterS * rng.ExpFloat64()
		if rng.IntN(500) == 0 {
			late += 0.05
		}
		busy = math.Max(busy, sent+late)
		if busy > seconds {
			return
		}
		m.Arrived(count+512, start.Add(time.Duration(busy*1e9)))
	}
}

// TestSystemCoversTheTruth simulates cards of known error: the stated uncertainty holds it in 95 %
// of trials.
func TestSystemCoversTheTruth(t *testing.T) {
	manyTrials(t)
	const trials = 200
	t.Log("seed 21")
	for _, c := range []struct {
		card
		seconds, most float64 // s; ppm of uncertainty to be reached
	}{
		{card{50, 1, 1e-4}, 60, 0.2},
		{card{-120, 1, 1e-3}, 60, 1},
		{card{10, 4, 1e-3}, 60, 4},
		{card{10, 4, 1e-3}, 300, 1},
		{card{0, 3, 3e-3}, 25, 20},
	} {
		rng := rand.New(rand.NewPCG(21, 0))
		inside, sum, stated := 0, 0.0, 0.0
		for range trials {
			m := NewSystem(rate)
			c.deliver(m, c.seconds, rng)
			ppm, sigma, err := m.Read()
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(ppm-c.ppm) <= 1.96*sigma {
				inside++
			}
			sum += (ppm - c.ppm) * (ppm - c.ppm)
			stated += sigma / trials
		}
		t.Logf("%+v: scatter %.3g ppm, stated %.3g ppm, %d of %d within 1.96 sigma", c, math.Sqrt(sum/trials), stated, inside, trials)
		if inside < 181 { // 190 less 3 standard errors
			t.Errorf("%+v: %d of %d within 1.96 sigma", c, inside, trials)
		}
		if stated > c.most {
			t.Errorf("%+v: stated uncertainty %.3g ppm", c, stated)
		}
	}
}

func TestSystemNeedsTime(t *testing.T) {
	m := NewSystem(rate)
	if _, _, err := m.Read(); err == nil {
		t.Error("nothing gives a rate")
	}
	card{0, 1, 1e-4}.deliver(m, 15, rand.New(rand.NewPCG(1, 0)))
	if _, _, err := m.Read(); err == nil || !strings.Contains(err.Error(), "too short") {
		t.Errorf("15 s give %v", err)
	}
}
