package acquire

import "math"

// Levels watches how loud the input is, frame by frame, and finds plucks.
//
// A pluck raises the high frequencies at once, even over a string that still rings, so onsets are
// sought in the energy of the first difference of the samples; and in that of the samples
// themselves, for low notes in hiss. A frame begins an onset when it exceeds everything of the last
// 45 ms (longer than a period of the lowest note, whose own pulses would otherwise look like
// plucks) and stands out of the background. A rise of the samples alone soon after an onset
// is a low note's first period that swells.
type Levels struct {
	frame  int       // samples in a frame
	last   float64   // the sample before the frame
	edges  []float64 // mean square of the difference in the latest frames, a ring
	powers []float64 // mean square of the samples, the same
	next   int       // where the next one goes
	Floor  float64   // mean square of the background
	edge   float64   // mean square of its difference
	Power  float64   // mean square of the latest frame
	since  int       // frames since the last onset
	heard  int       // frames since the last restart
	LoudS  float64   // [s] how long the input has stood above the background
	frameS float64
}

// Chosen, not tuned on a cell of the accuracy tables: so that each recording in testdata/wav has its onsets, and noise,
// clicks and hum have none (quiet_test.go); powerRatio for low notes in hiss.
const (
	EdgeMemoryS  = 0.045 // s
	onsetRatio   = 2.5   // over the loudest frame of that time: 4 dB
	powerRatio   = 6.0   // the same for the samples themselves: 8 dB
	swellRatio   = 2.0   // the same for the difference beside them, within that time after an onset
	onsetFloor   = 10.0  // over the background, in power: 10 dB
	loudFloor    = 6.0   // power over the background that counts as sound: 8 dB
	Quietest     = 1e-10 // mean square below which nothing is sound: -100 dBFS
	audible      = 10 * Quietest
	refractory   = 3    // frames after an onset, or a beginning, without another
	floorDoubleS = 0.25 // s in which the background may double
)

// FrameBlocks is how many sub-blocks of a bank a frame of levels has: 2.7 ms.
const FrameBlocks = 4

func NewLevels(fs float64, frame int) *Levels {
	frameS := float64(frame) / fs
	l := &Levels{
		frame: frame, frameS: frameS,
		edges:  make([]float64, int(EdgeMemoryS/frameS)+2),
		powers: make([]float64, int(EdgeMemoryS/frameS)+2),
		Floor:  Quietest, edge: Quietest,
	}
	l.Restart()
	return l
}

// Restart forgets what came before a gap, but keeps the background.
func (l *Levels) Restart() {
	clear(l.edges)
	clear(l.powers)
	l.since, l.heard = len(l.edges), 0
	l.LoudS = 0
}

// Add takes the next frame and reports whether an onset began in it. learn lets the background
// follow the input: it is off while a note sounds.
func (l *Levels) Add(x []float64, learn bool) bool {
	var power, edge float64
	last := l.last
	for _, v := range x {
		d := v - last
		power += v * v
		edge += d * d
		last = v
	}
	l.last = last
	n := float64(len(x))
	power, edge = power/n, edge/n
	l.Power = power
	var loudest, strongest float64
	for i := range len(l.edges) - 2 {
		at := (l.next + i) % len(l.edges)
		loudest, strongest = max(loudest, l.edges[at]), max(strongest, l.powers[at])
	}
	l.edges[l.next], l.powers[l.next] = edge, power
	l.next = (l.next + 1) % len(l.edges)
	l.since++
	if l.Loud() {
		l.LoudS += l.frameS
	} else {
		l.LoudS = 0
	}
	l.heard++
	if learn {
		l.learn(edge)
	}
	// What is there when listening begins did not begin then, as far as anyone knows.
	sudden := edge > onsetRatio*loudest && edge > onsetFloor*l.edge ||
		power > powerRatio*strongest && power > onsetFloor*l.Floor && (l.since > len(l.powers) || edge > swellRatio*loudest)
	onset := sudden && power > audible &&
		l.since > refractory && l.heard > refractory
	if onset {
		l.since = 0
	}
	return onset
}

// Accustomed reports whether listening began so long ago that a wave's own swing is no onset.
func (l *Levels) Accustomed() bool { return l.heard > len(l.edges) }

// Loud reports whether the latest frame stands above the background.
func (l *Levels) Loud() bool { return l.Power > loudFloor*l.Floor && l.Power > audible }

// learn lets the background fall at once and rise slowly.
func (l *Levels) learn(edge float64) {
	up := math.Exp2(l.frameS / floorDoubleS)
	l.Floor = max(Quietest, min(l.mean(), l.Floor*up))
	l.edge = max(Quietest, min(edge, l.edge*up))
}

// mean returns the mean square over the latest frames, longer than the swing of hum within its period.
func (l *Levels) mean() float64 {
	var sum float64
	for _, p := range l.powers {
		sum += p
	}
	return sum / float64(max(1, min(l.heard, len(l.powers))))
}

// TakeForBackground takes the present sound, which has shown no pitch for a while, for background.
func (l *Levels) TakeForBackground() {
	l.Floor = max(l.Floor, l.mean())
	for _, e := range l.edges {
		l.edge = max(l.edge, e/2)
	}
}
