package accuracy

import (
	"fmt"
	"math"

	"tunerd/internal/sound"
)

// A Note is a pitch of the synthetic set.
type Note struct {
	Name string
	Hz   float64
}

// Notes runs from the low B of a five-string bass to the top of a guitar, twelve equal steps at
// A4 = 440 Hz. Each is rendered with the inharmonicity and decay of [sound.String].
var Notes = []Note{
	{"B0", 30.868}, {"E1", 41.203}, {"A1", 55}, {"E2", 82.407}, {"A2", 110}, {"D3", 146.832},
	{"G3", 195.998}, {"B3", 246.942}, {"E4", 329.628}, {"A4", 440}, {"A5", 880},
}

// A Condition is something that real strings and rooms do and the matched model does not.
// The zero value is the matched model: nothing but the string and white noise.
type Condition struct {
	Name  string
	Shape func(*sound.StringSpec)
	Model bool // the estimator's model still holds: only the string's numbers differ
	Room  bool // a room is heard, for which a lower coverage is asked
}

// Conditions are the effects of the set.
var Conditions = []Condition{
	{Name: "scatter 0.3 c", Shape: func(s *sound.StringSpec) { s.ScatterCents = 0.3 }},
	{Name: "second polarisation 0.4 c, −12 dB", Shape: func(s *sound.StringSpec) {
		s.Polarisation = sound.Polarisation{Cents: 0.4, Amplitude: math.Pow(10, -12.0/20), DecayFactor: 0.7}
	}},
	{Name: "room 0.4 s, −15 dB", Room: true, Shape: func(s *sound.StringSpec) { s.Room = sound.Room{RT60: 0.4, WetDB: -15} }},
	{Name: "hum 50 Hz, −40 dB", Shape: func(s *sound.StringSpec) { s.HumHz, s.HumDB = 50, -40 }},
	{Name: "decay four times as fast", Model: true, Shape: func(s *sound.StringSpec) { s.T60 /= 4 }},
	{Name: "weak fundamental", Model: true, Shape: func(s *sound.StringSpec) { s.HighPassHz = 3 * s.F1Hz }},
}

// A Cell is one kind of window, of which many are rendered.
type Cell struct {
	Note
	WindowS, SNRdB float64
	Condition      Condition
}

// Quick is every note at 10, 20 and 40 dB in windows of 100, 200 and 500 ms, and the effects.
func Quick() []Cell { return append(matched(0.1, 0.2, 0.5), effects()...) }

// Full is Quick with windows of 50 and 1000 ms as well.
func Full() []Cell { return append(matched(0.05, 0.1, 0.2, 0.5, 1), effects()...) }

func matched(windows ...float64) []Cell {
	var cells []Cell
	for _, note := range Notes {
		for _, window := range windows {
			for _, snr := range []float64{10, 20, 40} {
				cells = append(cells, Cell{Note: note, WindowS: window, SNRdB: snr})
			}
		}
	}
	return cells
}

// effects are heard at 40 dB, where they and not the noise limit the reading.
func effects() []Cell {
	var cells []Cell
	for _, condition := range Conditions {
		for _, note := range Notes {
			switch note.Name {
			case "B0", "E2", "D3", "E4", "A4":
				for _, window := range []float64{0.2, 0.5} {
					cells = append(cells, Cell{Note: note, WindowS: window, SNRdB: 40, Condition: condition})
				}
			}
		}
	}
	return cells
}

// Periods is how many periods of the note the window holds.
func (c Cell) Periods() float64 { return c.WindowS * c.Hz }

func (c Cell) String() string {
	s := fmt.Sprintf("%s %g ms %g dB", c.Name, 1000*c.WindowS, c.SNRdB)
	if c.Condition.Name != "" {
		s += ", " + c.Condition.Name
	}
	return s
}

// spec is the string of one trial at hz.
func (c Cell) spec(hz float64) sound.StringSpec {
	s := sound.String(hz)
	s.SNRdB = c.SNRdB
	if c.Condition.Shape != nil {
		c.Condition.Shape(&s)
	}
	return s
}
