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

// Stiffnesses are strings without stiffness and with the most that a guitar's have.
var Stiffnesses = []Condition{
	{Name: "B = 0", Model: true, Shape: func(s *sound.StringSpec) { s.B = 0 }},
	{Name: "B = 3e-4", Model: true, Shape: func(s *sound.StringSpec) { s.B = 3e-4 }},
}

// A Cell is one kind of window, of which many are rendered.
type Cell struct {
	Note
	WindowS, SNRdB float64
	Condition      Condition
}

// leastPeriods is how many periods the windows of the sets hold at least.
const leastPeriods = 3

// A Set is what a run renders.
type Set struct {
	Cells     []Cell
	Registers []Register
	Plucks    []Pluck
}

// Full is the four notes of the goals in every window and noise, the others in some, and all
// stiffnesses, effects, registers and plucks.
func Full() Set {
	cells := matched(isGoal, []float64{0.05, 0.1, 0.2, 0.5, 1}, []float64{10, 20, 30, 40})
	cells = append(cells, matched(isOther, []float64{0.1, 0.2, 0.5}, []float64{10, 40})...)
	cells = append(cells, with(Stiffnesses, isGoal, 0.2, 0.5, 1)...)
	cells = append(cells, with(Conditions, isTypical, 0.2, 0.5)...)
	return Set{Cells: cells, Registers: registers(), Plucks: plucks(20, 30, 40)}
}

// Quick is a part of Full: less of the windows and noises, all of the effects.
func Quick() Set {
	cells := matched(isGoal, []float64{0.1, 0.2, 0.5}, []float64{10, 20, 40})
	cells = append(cells, matched(isOther, []float64{0.2}, []float64{10, 40})...)
	cells = append(cells, with(Stiffnesses, isGoal, 0.2)...)
	cells = append(cells, with(Conditions, isTypical, 0.2, 0.5)...)
	return Set{Cells: cells, Registers: registers(), Plucks: plucks(20, 40)}
}

// Small is a part of Full that takes seconds: for the tests.
func Small() Set {
	cells := matched(isGoal, []float64{0.1, 0.2}, []float64{10, 40})
	cells = append(cells, with(Conditions, isGoal, 0.2)...)
	return Set{Cells: cells, Registers: registers(), Plucks: plucks(40)}
}

// SetOf returns the set of that name: small, quick or full, or of full only windows, registers or plucks.
func SetOf(name string) (Set, error) {
	switch name {
	case "small":
		return Small(), nil
	case "quick":
		return Quick(), nil
	case "full":
		return Full(), nil
	case "windows":
		return Set{Cells: Full().Cells}, nil
	case "registers":
		return Set{Registers: Full().Registers}, nil
	case "plucks":
		return Set{Plucks: Full().Plucks}, nil
	}
	return Set{}, fmt.Errorf("set %q is not known; give small, quick, full, windows, registers or plucks", name)
}

// plucks are the notes whose lock time is a goal, plain and with attack noise, and gliding.
func plucks(snrs ...float64) []Pluck {
	var all []Pluck
	for _, note := range Notes {
		if _, known := pluckGoals[note.Name]; !known {
			continue
		}
		for _, snr := range snrs {
			all = append(all, Pluck{Note: note, SNRdB: snr}, Pluck{Note: note, SNRdB: snr, Attack: true})
		}
		all = append(all, Pluck{Note: note, SNRdB: 40, Glide: true})
	}
	return all
}

// isGoal says whether a note is one of the four that the goals name.
func isGoal(name string) bool { return name == "B0" || name == "E2" || name == "E4" || name == "A4" }

func isOther(name string) bool { return !isGoal(name) }

// isTypical are the notes on which effects are tried.
func isTypical(name string) bool { return isGoal(name) || name == "D3" }

// matched are the cells of the matched model that hold enough periods.
func matched(of func(string) bool, windows, snrs []float64) []Cell {
	var cells []Cell
	for _, note := range Notes {
		for _, window := range windows {
			if !of(note.Name) || window*note.Hz < leastPeriods {
				continue
			}
			for _, snr := range snrs {
				cells = append(cells, Cell{Note: note, WindowS: window, SNRdB: snr})
			}
		}
	}
	return cells
}

// with are cells at 40 dB, where what is not noise limits the reading.
func with(conditions []Condition, of func(string) bool, windows ...float64) []Cell {
	var cells []Cell
	for _, condition := range conditions {
		for _, c := range matched(of, windows, []float64{40}) {
			c.Condition = condition
			cells = append(cells, c)
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
