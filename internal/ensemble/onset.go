package ensemble

import "math"

// What makes an onset, an end and a silence.
const (
	hopSeconds = 0.0107
	hopPeriods = 1.3  // of the lowest string that a hop has at least, so that its power is steady
	onsetRise  = 4.0  // power of the differences over that of the hops before
	onsetBack  = 8    // hops looked back on
	quietPower = 3e-8 // mean square below which nothing sounds: −75 dB
	loudPower  = 1e-7 // and from which something can begin to: −70 dB
	swellRise  = 16.0 // power over the least since the end, at which something has begun slowly
	endDrop    = 1e-4 // part of a chord's greatest power at which it has ended
	dampDrop   = 0.1  // power against that dampHops before, at which a hand has stopped it
	dampHops   = 10   // 0.1 s
	dampLasts  = 4    // hops that it takes: low strings that beat fade for a hop or two, and come back
	settleHops = 14   // hops after an onset in which no damping is looked for
)

// An envelope watches the power of the sound hop by hop. The power of the differences from
// sample to sample, in which an attack stands out though other strings ring on, tells onsets.
type envelope struct {
	power, rough []float64 // of the newest hops, ring
	n            int       // hops seen
	sounding     bool
	peak         float64 // greatest power since the onset
	least        float64 // least power since the end
	since        int     // hops since the onset
	last         float64 // last sample of the hop before
}

func newEnvelope() *envelope {
	const kept = dampHops + onsetBack
	return &envelope{power: make([]float64, kept), rough: make([]float64, kept)}
}

func (e *envelope) reset() { e.n, e.sounding, e.least, e.last = 0, false, 0, 0 }

// An event is what a hop brings.
type event int

const (
	goesOn  event = iota
	onset         // a string has been plucked, or a sound has begun
	stopped       // the sound has been stopped or has died away
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
	what := e.judge(power, rough)
	kept := len(e.power)
	e.power[e.n%kept], e.rough[e.n%kept] = power, rough
	e.n++
	return what
}

// judge says what a hop of such power brings.
func (e *envelope) judge(power, rough float64) event {
	e.since++
	e.least = math.Min(e.least, power)
	before := math.Inf(1)
	for i := 1; i <= min(e.n, onsetBack); i++ {
		before = math.Min(before, e.rough[(e.n-i)%len(e.rough)])
	}
	began := e.n == 0 || rough > onsetRise*before || !e.sounding && power > swellRise*e.least
	if began && power > loudPower {
		e.sounding, e.peak, e.since = true, power, 0
		return onset
	}
	if !e.sounding {
		return goesOn
	}
	e.peak = math.Max(e.peak, power)
	if power < quietPower || power < endDrop*e.peak || e.damped(power) {
		e.sounding, e.least = false, power
		return stopped
	}
	return goesOn
}

// damped reports whether the newest hops, the last one of such power, are all far below those before.
func (e *envelope) damped(power float64) bool {
	if e.since <= settleHops || e.n < dampHops+dampLasts {
		return false
	}
	before := 0.0
	for i := range dampLasts {
		before += e.power[(e.n-dampHops-i)%len(e.power)] / dampLasts
		if i > 0 {
			power = math.Max(power, e.power[(e.n-i)%len(e.power)])
		}
	}
	return power < dampDrop*before
}
