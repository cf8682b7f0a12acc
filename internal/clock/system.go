package clock

import (
	"fmt"
	"math"
	"time"
)

// Of a System:
const (
	settleS    = 2.0  // s at the beginning that do not count: devices begin unevenly
	pickS      = 0.25 // s out of which the block that came with the least delay counts
	minSystemS = 20.0 // s
)

// A System compares the count of samples with the clock of the computer.
//
// A block comes late by as long as the system was busy, never early, so that of every quarter of a
// second the block with the least delay stands for it. A robust line through their delays gives
// the rate; its uncertainty covers the unevenness of the blocks.
type System struct {
	rate float64 // nominal, Hz

	begun      bool
	start      time.Time
	startCount int64

	picked        bool
	pick          [2]float64 // time and least delay, s, of the stretch at hand
	times, delays []float64  // s
}

// NewSystem returns a meter for a card of a nominal sample rate in Hz.
func NewSystem(rate int) *System { return &System{rate: float64(rate)} }

// Arrived tells that at a time, by a monotonic clock, the first count samples of the card had come.
func (m *System) Arrived(count int64, at time.Time) {
	if !m.begun {
		m.begun, m.start, m.startCount = true, at, count
		return
	}
	t := at.Sub(m.start).Seconds()
	delay := t - float64(count-m.startCount)/m.rate
	if t < settleS {
		return
	}
	if m.picked && math.Floor(t/pickS) != math.Floor(m.pick[0]/pickS) {
		m.times, m.delays = append(m.times, m.pick[0]), append(m.delays, m.pick[1])
		m.picked = false
	}
	if !m.picked || delay < m.pick[1] {
		m.picked, m.pick = true, [2]float64{t, delay}
	}
}

// Seconds is how long the comparison has lasted.
func (m *System) Seconds() float64 {
	if len(m.times) == 0 {
		return 0
	}
	return m.times[len(m.times)-1] - m.times[0]
}

// Read returns the rate error of the card against the clock of the computer, and its standard
// uncertainty, in ppm. One of the two clocks is off by that; which, cannot be told.
func (m *System) Read() (ppm, sigmaPPM float64, err error) {
	if m.Seconds() < minSystemS {
		return 0, 0, fmt.Errorf("%.2g s are too short; at least %g s of sound are needed", m.Seconds(), minSystemS)
	}
	weights := make([]float64, len(m.times))
	for i := range weights {
		weights[i] = 1
	}
	fit := fitLine(m.times, m.delays, weights)
	// A card that is fast by p delivers its samples early: the delay falls by p in a second.
	return -fit.Slope * 1e6, fit.Sigma * 1e6, nil
}
