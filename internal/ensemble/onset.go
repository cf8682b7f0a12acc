package ensemble

import "math"

// What makes an onset, an end and a silence.
const (
	hopSeconds = 0.0107
	onsetRise  = 4.0  // power of the differences over that of the hops before
	onsetBack  = 8    // hops looked back on
	quietPower = 3e-8 // mean square below which nothing sounds: −75 dB
	endDrop    = 1e-4 // part of a chord's greatest power at which it has ended
	dampDrop   = 0.1  // power against that dampHops before, at which a hand has stopped it
	dampHops   = 10   // 0.1 s
	settleHops = 14   // hops after an onset in which no damping is looked for
)

// An envelope watches the power of the sound hop by hop. The power of the differences from
// sample to sample, in which an attack stands out though other strings ring on, tells onsets.
type envelope struct {
	power, rough []float64 // of the newest hops, ring
	n            int       // hops seen
	peak         float64   // greatest power since the onset
	since        int       // hops since the onset
	last         float64   // last sample of the hop before
}

func newEnvelope() *envelope {
	const kept = dampHops + onsetBack
	return &envelope{power: make([]float64, kept), rough: make([]float64, kept)}
}

func (e *envelope) reset() { e.n, e.peak, e.since, e.last = 0, 0, 0, 0 }

// An event is what a hop brings.
type event int

const (
	goesOn  event = iota
	onset         // a string has been plucked
	stopped       // the sound has been stopped or has died away
	quiet         // nothing sounds
)

// push takes the next hop.
func (e *envelope) push(x []float64) event {
	var power, rough float64
	last := e.last
	for _, v := range x {
		power += v * v
		rough += (v - last) * (v - last)
		last = v
	}
	e.last = last
	power /= float64(len(x))
	rough /= float64(len(x))
	before, least := math.Inf(1), math.Inf(1)
	kept := len(e.power)
	for i := 1; i <= min(e.n, onsetBack); i++ {
		before = math.Min(before, e.rough[(e.n-i)%kept])
	}
	if e.n >= dampHops {
		least = e.power[(e.n-dampHops)%kept]
	}
	first := e.n == 0
	e.power[e.n%kept], e.rough[e.n%kept] = power, rough
	e.n++
	e.since++
	switch {
	case power < quietPower:
		e.peak = 0
		return quiet
	case e.peak == 0 || !first && rough > onsetRise*before:
		e.peak, e.since = power, 0
		return onset
	}
	e.peak = math.Max(e.peak, power)
	if power < endDrop*e.peak || e.since > settleHops && !math.IsInf(least, 1) && power < dampDrop*least {
		e.peak = 0
		return stopped
	}
	return goesOn
}
