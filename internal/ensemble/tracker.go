package ensemble

import "math"

// When a tracker reads, in seconds.
const (
	longestWindow = 1.0   // one reading's
	liveSkip      = 0.08  // after an onset, while the sound is live
	liveStep      = 0.125 // from reading to reading
	searchStepS   = 0.5   // from search to search; between them a reading starts from the last
	wholeSkip     = 0.25  // after an onset of a recording: the attack's glide is left out
	wholeStep     = 0.35
	wholeLength   = 2.4 // of a chord, after its onset, that is read
)

// TrackerConfig says what a tracker listens for and whom it tells.
type TrackerConfig struct {
	Config
	Live    bool         // give readings while the strings sound
	OnChord func(*Chord) // called when a chord has ended; *Chord is valid only during the call
}

// A Chord is what is known of the strings at one moment, or of one whole chord of a recording.
type Chord struct {
	At         int64 // sample index of the newest sample used
	Onset, End int64 // of the first string of the strum; End only of a whole chord
	WindowS    float64
	LevelDB    float64         // RMS of the newest hop, dB re full scale
	New        bool            // the first reading after an onset
	AfterGap   bool            // samples were lost just before
	Silent     bool            // nothing sounds; Strings is empty
	Strings    []StringReading // empty while there is too little sound to read
	Unlisted   []float64       // Hz: partial 1 of strings that sound and are none of these, lowest first
}

// A Tracker reads the strings of a stream, over and over while they ring: live, a window of up to
// a second at least five times a second; or whole chords of a recording, each over all the windows
// that lie in its first two seconds or so. An onset begins a new chord, or, within a strum, moves
// the start of the window to the last string. It serves one goroutine and allocates nothing in
// steady state.
type Tracker struct {
	cfg      TrackerConfig
	reader   *Reader
	envelope *envelope
	hop      int       // [samples]
	raw      []float64 // the samples of the bank's sub-blocks, then less than a hop
	next     int64     // sample index that continues the stream
	started  bool
	begin    int // [samples] in raw: start of the window; it may lie ahead
	sounding bool
	chord    Chord
	lastRead int64 // sample index
	lastFind int64
	gap      bool
	all      []sum
	unlisted []unlistedSum
	windows  int // of the chord, of which unlisted tells
	readings int
}

// NewTracker returns a tracker for the strings of cfg.
func NewTracker(cfg TrackerConfig) (*Tracker, error) {
	r, err := NewReader(cfg.Config)
	if err != nil {
		return nil, err
	}
	t := &Tracker{cfg: cfg, reader: r, envelope: newEnvelope(), all: make([]sum, len(cfg.Strings))}
	m := r.bank.m
	seconds := hopSeconds
	for _, s := range cfg.Strings {
		seconds = math.Max(seconds, hopPeriods/s.Hz)
	}
	t.hop = max(1, int(math.Round(seconds*cfg.SampleRate/float64(m)))) * m
	t.raw = make([]float64, 0, len(r.bank.y[0])*m+t.hop)
	return t, nil
}

// Push takes the next samples, the first of which has index start, and calls emit with every
// reading that they complete, if the tracker is live. A jump of start begins afresh.
func (t *Tracker) Push(samples []float64, start int64, emit func(*Chord)) {
	if t.started && start != t.next {
		t.finish()
		t.restart()
		t.gap = true
	}
	t.started = true
	t.next = start + int64(len(samples))
	for len(samples) > 0 {
		n := min(t.hop-len(t.raw)%t.hop, len(samples))
		t.raw = append(t.raw, samples[:n]...)
		samples = samples[n:]
		if len(t.raw)%t.hop == 0 {
			t.take(t.next-int64(len(samples)), emit)
		}
	}
}

// Flush ends a chord that still sounds at the end of the input.
func (t *Tracker) Flush() { t.finish() }

func (t *Tracker) restart() {
	t.raw = t.raw[:0]
	t.reader.bank.n = 0
	t.envelope.reset()
	t.sounding = false
}

func (t *Tracker) samples(seconds float64) int { return int(seconds * t.cfg.SampleRate) }

// take goes on by the hop that ends at sample index at.
func (t *Tracker) take(at int64, emit func(*Chord)) {
	hop := t.raw[len(t.raw)-t.hop:]
	bank := t.reader.bank
	for i := 0; i < t.hop; i += bank.m {
		bank.push(hop[i : i+bank.m])
	}
	happened := t.envelope.push(hop)
	t.chord.At = at
	t.chord.LevelDB = 10 * math.Log10(power(hop)+1e-30)
	switch happened {
	case onset:
		t.struck(at)
	case stopped:
		t.finish()
	}
	switch {
	case t.sounding:
		t.due(at, emit)
	case t.cfg.Live && emit != nil && at-t.lastRead >= int64(t.samples(liveStep)):
		t.lastRead = at
		t.tell(emit, nil)
	}
	t.trim()
}

func power(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(len(x))
}

// struck begins a chord, or moves the window on within a strum.
func (t *Tracker) struck(at int64) {
	skip := wholeSkip
	if t.cfg.Live {
		skip = liveSkip
	}
	if t.sounding && t.readings == 0 && !t.windowHeld() {
		t.begin = len(t.raw) + t.samples(skip)
		return
	}
	t.finish()
	t.sounding = true
	t.chord.Onset = at - int64(t.hop)
	t.chord.New = true
	t.begin = len(t.raw) + t.samples(skip)
	t.readings, t.lastFind, t.lastRead = 0, 0, 0
	clear(t.all)
	t.unlisted, t.windows = t.unlisted[:0], 0
}

// windowHeld reports whether what has sounded before the newest hop is long enough to be read.
func (t *Tracker) windowHeld() bool {
	return len(t.raw)-t.hop-t.begin >= t.samples(MinWindow)
}

// due reads the strings if it is time.
func (t *Tracker) due(at int64, emit func(*Chord)) {
	held := len(t.raw) - t.begin
	if t.cfg.Live {
		switch {
		case at-t.lastRead < int64(t.samples(liveStep)):
		case held < t.samples(MinWindow):
			t.lastRead = at
			t.tell(emit, nil)
		default:
			carry := t.readings > 0 && at-t.lastFind < int64(t.samples(searchStepS))
			t.tell(emit, t.measure(len(t.raw), carry))
		}
		return
	}
	if held >= t.samples(longestWindow) && at-t.lastRead >= int64(t.samples(wholeStep)) &&
		at-t.chord.Onset <= int64(t.samples(wholeLength)) {
		t.add(t.measure(len(t.raw), false))
	}
}

// measure reads the window that ends at sample end of raw.
func (t *Tracker) measure(end int, carry bool) []StringReading {
	m := t.reader.bank.m
	begin := max(0, t.begin, end-t.samples(longestWindow))
	from, to := (begin+m-1)/m, end/m
	t.lastRead = t.chord.At
	if !carry {
		t.lastFind = t.chord.At
	}
	t.readings++
	t.chord.WindowS = float64((to-from)*m) / t.cfg.SampleRate
	return t.reader.read(t.raw[from*m:to*m], from, to, carry)
}

// tell emits a live reading.
func (t *Tracker) tell(emit func(*Chord), strings []StringReading) {
	if emit == nil {
		return
	}
	t.chord.Strings, t.chord.Silent = strings, !t.sounding
	t.chord.Unlisted = t.chord.Unlisted[:0]
	if strings == nil {
		t.chord.WindowS = 0
	} else {
		t.chord.Unlisted = append(t.chord.Unlisted, t.reader.unlisted...)
	}
	t.chord.AfterGap, t.gap = t.gap, false
	emit(&t.chord)
	t.chord.New = t.chord.New && strings == nil
}

// finish ends the chord that sounds, if one does.
func (t *Tracker) finish() {
	if !t.sounding {
		return
	}
	t.sounding = false
	if t.cfg.OnChord == nil {
		return
	}
	// The last hop belongs to what has ended the chord.
	end := len(t.raw)/t.hop*t.hop - t.hop
	if t.readings == 0 {
		if end-t.begin < t.samples(MinWindow) {
			t.begin -= t.samples(wholeSkip - liveSkip)
		}
		if end-t.begin < t.samples(MinWindow) {
			return
		}
		t.add(t.measure(end, false))
	}
	t.chord.End = t.chord.At
	t.chord.Strings = t.combined()
	t.combinedUnlisted()
	t.cfg.OnChord(&t.chord)
	t.chord.New = false
}

// trim forgets what no window needs any more.
func (t *Tracker) trim() {
	bank := t.reader.bank
	if len(t.raw)+t.hop <= cap(t.raw) && bank.n+t.hop/bank.m <= len(bank.y[0]) {
		return
	}
	keep := (t.samples(longestWindow)/t.hop + 1) * t.hop
	drop := len(t.raw) - keep
	copy(t.raw, t.raw[drop:])
	t.raw = t.raw[:keep]
	bank.keep(keep / bank.m)
	t.begin = max(0, t.begin-drop)
}
