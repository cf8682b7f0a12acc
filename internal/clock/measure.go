package clock

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sync/atomic"
	"time"

	"tunerd/internal/capture"
)

// A Measurement is one comparison of a sound card's clock.
type Measurement struct {
	Device   string    // name of the source
	RateHz   int       // nominal sample rate
	By       string    // ByTone or BySystem
	PPM      float64   // rate error; positive: the card is fast
	SigmaPPM float64   // standard uncertainty
	At       time.Time // when it was made
	Seconds  float64   // of sound that it stands on
	Gaps     int       // breaks of the sound; it stands on the longest stretch without one

	ToneHz  float64 // true frequency of the tone; 0 against the system clock
	HeardHz float64 // the tone by the card's nominal rate
	SNRdB   float64 // of the tone
}

// Correction is what the measurement corrects readings by.
func (m *Measurement) Correction() Correction { return Correction{m.PPM, m.SigmaPPM, m.By} }

// A Job says how a clock is to be measured.
type Job struct {
	// ToneHz is the frequency of the reference tone, and ToneErrorPPM the standard uncertainty that
	// is known of it. Without a tone the clock of the computer is the reference.
	ToneHz       float64
	ToneErrorPPM float64
	// Seconds of usable sound are listened to, or all there is; 0: all. What is lost, what was heard
	// before that, and the uneven beginning of a device do not count, but listening ends at the latest
	// after patience times as long. When ctx ends, what has come until then counts.
	Seconds  float64
	Progress *Progress // told how far it is; may be nil
}

// patience is how many times as long as was asked for is listened where sound is lost again and
// again; our choice.
const patience = 3

// Least is the shortest Seconds that tell something, in s.
func (j *Job) Least() float64 {
	if j.ToneHz != 0 {
		return minToneS
	}
	return minSystemS
}

// A Progress tells how much of the listening is done. It is safe for several goroutines.
type Progress struct{ bits atomic.Uint64 }

// Fraction is 0 to 1, and 0 if the end is not known.
func (p *Progress) Fraction() float64 { return math.Float64frombits(p.bits.Load()) }

func (p *Progress) tell(elapsed, whole float64) {
	if p != nil && whole > 0 {
		p.bits.Store(math.Float64bits(math.Min(1, elapsed/whole)))
	}
}

// A meter is a Tone or a System at work on one stretch of sound.
type meter interface {
	push(b capture.Block, now time.Time)
	Seconds() float64
	read(*Measurement) error // fills in what was measured
}

type systemMeter struct{ *System }

func (s systemMeter) push(b capture.Block, now time.Time) {
	s.Arrived(b.Start+int64(len(b.Samples)), now)
}

func (s systemMeter) read(m *Measurement) (err error) {
	m.By = BySystem
	m.PPM, m.SigmaPPM, err = s.Read()
	return err
}

type toneMeter struct {
	*Tone
	errorPPM float64 // of the tone itself
}

func (t toneMeter) push(b capture.Block, _ time.Time) { t.Push(b.Samples) }

// read takes the rate error from a tone that is truly t.hz: a card that is fast by p hears it at
// t.hz/(1+p).
func (t toneMeter) read(m *Measurement) error {
	heard, err := t.Read()
	if err != nil {
		return err
	}
	m.By, m.ToneHz, m.HeardHz, m.SNRdB = ByTone, t.hz, heard.Hz, heard.SNRdB
	m.PPM = (t.hz/heard.Hz - 1) * 1e6
	m.SigmaPPM = math.Hypot(heard.SigmaHz/heard.Hz*1e6, t.errorPPM)
	return nil
}

// Measure listens to source and returns the rate error of its clock. It is an error if that
// cannot be told, or comes out beyond what a sound card can have. Lost samples begin the
// measurement anew; the longest stretch counts.
func Measure(ctx context.Context, source capture.Source, job Job) (*Measurement, error) {
	if job.Seconds > 0 && job.Seconds < job.Least() {
		return nil, fmt.Errorf("%g s are too short; at least %g s of sound are needed", job.Seconds, job.Least())
	}
	newMeter, err := job.meters(source)
	if err != nil {
		return nil, err
	}
	m := &Measurement{Device: source.Name(), RateHz: source.SampleRate(), At: time.Now()}
	best, err := job.listen(ctx, source, newMeter, m)
	if err != nil {
		return nil, err
	}
	m.Seconds = best.Seconds()
	if err := best.read(m); err != nil {
		return nil, err
	}
	return m, m.check()
}

// meters returns what makes the meter for each stretch of sound.
func (j *Job) meters(source capture.Source) (func() meter, error) {
	rate := source.SampleRate()
	if j.ToneHz == 0 {
		if !source.Live() {
			return nil, fmt.Errorf("%s is not live, so the clock of the computer says nothing about it; name a tone in it with --tone", source.Name())
		}
		return func() meter { return systemMeter{NewSystem(rate)} }, nil
	}
	if _, err := NewTone(j.ToneHz, rate); err != nil {
		return nil, err
	}
	return func() meter {
		tone, _ := NewTone(j.ToneHz, rate) // its parameters have been accepted above
		return toneMeter{tone, j.ToneErrorPPM}
	}, nil
}

// listen reads the source to the end of the job and returns the meter with the longest stretch.
func (j *Job) listen(ctx context.Context, source capture.Source, newMeter func() meter, m *Measurement) (best meter, err error) {
	room := make([]float64, 512)
	now, end := newMeter(), int64(-1)
	first := int64(0)
	for {
		b, err := source.Read(ctx, room)
		arrived := time.Now()
		switch {
		case errors.Is(err, io.EOF) || ctx.Err() != nil:
			return longer(best, now), nil
		case err != nil:
			return nil, err
		case end < 0:
			first = b.Start
		case b.Start != end:
			m.Gaps++
			best, now = longer(best, now), newMeter()
		}
		end = b.Start + int64(len(b.Samples))
		now.push(b, arrived)
		usable := longer(best, now).Seconds()
		j.Progress.tell(usable, j.Seconds)
		elapsed := float64(end-first) / float64(m.RateHz)
		if j.Seconds > 0 && (usable >= j.Seconds || elapsed >= patience*j.Seconds+settleS) {
			return longer(best, now), nil
		}
	}
}

func longer(a, b meter) meter {
	if a != nil && a.Seconds() >= b.Seconds() {
		return a
	}
	return b
}

// check refuses what no sound card has.
func (m *Measurement) check() error {
	err := Check(m.PPM)
	switch {
	case err == nil:
		return nil
	case m.By == ByTone:
		return fmt.Errorf("a tone of %.3f Hz is heard, %+.0f ppm from %g Hz: it is another tone, as no sound card is off by more than %d ppm", m.HeardHz, (m.HeardHz/m.ToneHz-1)*1e6, m.ToneHz, LimitPPM)
	}
	return fmt.Errorf("%w; is the computer too busy, or the sound converted on its way?", err)
}
