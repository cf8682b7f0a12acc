package bench

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"sync"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/display"
	"tunerd/internal/engine"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// TunerConfig is what a tuner needs.
type TunerConfig struct {
	Catalog      *Catalog
	Settings     Settings      // to begin with
	Sinks        []engine.Sink // that get every frame besides the clients
	MinHz, MaxHz float64       // of pitches looked for; 0: those of pitch.Config
	Greeting     string        // said with the first frame
	Keep         Keep          // keeps readings; nil: nobody does
	Coupling     CouplingStore // keeps how strings pull on each other; nil: nobody does
	FromPage     bool          // the sound comes from the microphone of a page
	Log          *slog.Logger  // nil: none
}

// A Tuner is the running engine behind a bench, and what it is set to.
type Tuner struct {
	cfg   TunerConfig
	hub   *hub
	guide *guide
	kept  *keeping

	mu       sync.Mutex
	resolved *resolved
	revision int
	session  *engine.Session // nil while there is no input
	source   capture.Source  // of the session
	input    inputState
	past     engine.Counts // of sessions that have ended
}

type inputState struct {
	Name       string `json:"name"`
	SampleRate int    `json:"sample_rate"`
	Live       bool   `json:"live"`
	Hears      string `json:"hears"`
	Gaps       int    `json:"gaps"`
	FromPage   bool   `json:"from_page"` // a page sends the sound, or is to

	Clock *clockState `json:"clock"` // null: nothing is corrected
}

// A clockState is the correction of the sound card's clock that the readings have.
type clockState struct {
	PPM      float64 `json:"ppm"`
	SigmaPPM float64 `json:"sigma_ppm"`
	By       string  `json:"by"`
}

// NewTuner returns a tuner that is set but has no input yet.
func NewTuner(cfg TunerConfig) (*Tuner, error) {
	a, err := cfg.Catalog.resolve(cfg.Settings)
	if err != nil {
		return nil, err
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	h := newHub()
	t := &Tuner{cfg: cfg, hub: h, kept: &keeping{keep: cfg.Keep, log: cfg.Log}, resolved: a, revision: 1}
	t.guide = &guide{tracker: t.tracker, tell: func(state []byte) { h.publish(setupKind, state) }}
	if cfg.FromPage {
		t.input = inputState{Name: PageInput, FromPage: true}
	}
	return t, nil
}

// Run runs the engine on one input until that or ctx ends, or fails. Runs may follow one another,
// not overlap; the settings are kept. The source is not closed.
func (t *Tuner) Run(ctx context.Context, source capture.Source) error {
	session, err := t.begin(source)
	if err != nil {
		return err
	}
	defer t.end()
	if err := t.guide.attach(input{source, session}); err != nil {
		return err
	}
	defer t.guide.detach()
	return session.Run(ctx)
}

// begin prepares the engine for a source.
func (t *Tuner) begin(source capture.Source) (*engine.Session, error) {
	tracker, err := t.tracker(source)
	if err != nil {
		return nil, err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	a, err := t.resolved.engine()
	if err != nil {
		return nil, err
	}
	coupled, err := t.coupled(t.resolved)
	if err != nil {
		return nil, err
	}
	t.session = engine.NewSession(engine.Config{
		Source: source, Tracker: tracker, Resolver: a.Resolver, Labels: a.Labels, Bands: a.Bands, Chords: a.Chords, Coupled: coupled,
		Rows:  display.Rows(t.resolved.settings.Rows),
		Sinks: append([]engine.Sink{t.hub, t.kept}, t.cfg.Sinks...), Greeting: t.cfg.Greeting,
	})
	t.source = source
	t.kept.begin(t.resolved, source)
	t.input = inputState{Name: source.Name(), SampleRate: source.SampleRate(), Live: source.Live(), FromPage: t.cfg.FromPage}
	if c := clock.Of(source); c.By != "" {
		t.input.Clock = &clockState{c.PPM, c.SigmaPPM, c.By}
	}
	if err := t.session.Hold(t.resolved.settings.String); err != nil {
		return nil, err
	}
	t.announce()
	return t.session, nil
}

// tracker returns a new one for a source.
func (t *Tuner) tracker(source capture.Source) (engine.Tracker, error) {
	return pitch.NewTracker(pitch.Config{
		SampleRate: capture.TrueRate(source), MinHz: t.cfg.MinHz, MaxHz: t.cfg.MaxHz, Live: true,
	})
}

// end leaves the input to be told of, with its last state.
func (t *Tuner) end() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.past = t.counts()
	t.session, t.source = nil, nil
	t.kept.begin(nil, nil)
}

// counts returns the counts of all sessions; t.mu must be held.
func (t *Tuner) counts() engine.Counts {
	sum := t.past
	if t.session != nil {
		c := t.session.Counts()
		sum.Blocks += c.Blocks
		sum.Samples += c.Samples
		sum.Readings += c.Readings
		sum.Gaps += c.Gaps
	}
	return sum
}

// Change changes what the tuner is set to. The input goes on, and every client is told, once.
func (t *Tuner) Change(change func(*Settings) error) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.retune(change); err != nil {
		return err
	}
	t.announce()
	return nil
}

// retune needs t.mu.
func (t *Tuner) retune(change func(*Settings) error) error {
	settings := t.resolved.settings
	if err := change(&settings); err != nil {
		return err
	}
	a, err := t.cfg.Catalog.resolve(settings)
	if err != nil {
		return err
	}
	old := t.resolved
	t.resolved = a
	t.revision++
	if old.onlyHolds(a) {
		if t.session != nil {
			t.session.Rows(display.Rows(a.settings.Rows))
			if old.settings.String != a.settings.String { // to hold the same again would forget what was confirmed
				return t.session.Hold(a.settings.String)
			}
		}
		return nil
	}
	if t.session != nil {
		if err := t.turn(old, a); err != nil {
			return err
		}
	}
	return t.hub.retuned(a.rows())
}

// turn gives the session new targets; t.mu must be held.
func (t *Tuner) turn(old, a *resolved) error {
	target, err := a.engine()
	if err != nil {
		return err
	}
	if old.settings.AllStrings && !a.settings.AllStrings { // the old tracker has not heard what came meanwhile
		if target.Tracker, err = t.tracker(t.source); err != nil {
			return err
		}
	}
	if target.Coupled, err = t.coupled(a); err != nil {
		return err
	}
	t.session.Retune(target)
	t.session.Rows(display.Rows(a.settings.Rows))
	t.kept.begin(a, t.source)
	return t.session.Hold(a.settings.String)
}

// onlyHolds tells whether b differs from a in the string held and the rows of the strobe alone, so
// that the readings of the strings stay good.
func (a *resolved) onlyHolds(b *resolved) bool {
	s, r := a.settings, b.settings
	s.String, r.String = 0, 0
	s.Rows, r.Rows = "", ""
	s.AcceptRisk, r.AcceptRisk = false, false // no target differs by it
	return s == r                             // the same plan, not one like it
}

// instrument is what the tuner is set to, nil without one.
func (t *Tuner) instrument() *targets.Instrument {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.resolved.instrument
}

// Clear forgets the last readings of all strings.
func (t *Tuner) Clear() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.session != nil {
		t.session.Clear()
		return nil
	}
	return t.hub.retuned(t.resolved.rows())
}

// Confirm says that what sounds is the held string, though it does not seem to be.
func (t *Tuner) Confirm() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.resolved.settings.String == 0 {
		return errors.New("no string is held; hold one first")
	}
	if t.session != nil {
		t.session.Confirm()
	}
	return nil
}

// Session describes what the tuner is set to and what that comes to, as JSON.
func (t *Tuner) Session() []byte {
	t.mu.Lock()
	defer t.mu.Unlock()
	return marshal(t.state())
}

// announce tells every client what the tuner is set to, and hears. It needs t.mu since what it tells was set, so that
// the last one told is the last one set, and nothing is told twice.
func (t *Tuner) announce() {
	t.hub.publish(sessionKind, marshal(t.state()))
}

type sessionState struct {
	Revision   int               `json:"revision"`
	Settings   Settings          `json:"settings"`
	Instrument *namedThing       `json:"instrument"`
	Tuning     tuningName        `json:"tuning"`
	Reference  targets.Reference `json:"reference"`
	Input      inputState        `json:"input"`
	Strings    []stringTarget    `json:"strings"`
	Cautions   []string          `json:"cautions"`
	FretsOff   float64           `json:"frets_off_cents"` // the most that a fret is off the tuning; null without frets
	NoCheck    string            `json:"no_check"`        // why the intonation cannot be checked; empty: it can
}

type namedThing struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

type tuningName struct {
	Spec string `json:"spec"`
	Name string `json:"name"`
}

type stringTarget struct {
	String int     `json:"string"`
	Label  string  `json:"label"`
	Hz     float64 `json:"hz"`
}

// state needs t.mu.
func (t *Tuner) state() *sessionState {
	a := t.resolved
	s := &sessionState{
		Revision: t.revision, Settings: a.settings,
		Tuning:    tuningName{a.tuning.String(), a.tuning.Name()},
		Reference: a.tuning.Reference(),
		Input:     t.input,
		Strings:   []stringTarget{}, FretsOff: math.NaN(),
		Cautions: append([]string{}, a.cautions...), NoCheck: a.noCheck,
	}
	if a.settings.Tuning != "" { // that is not the path of a file
		s.Tuning.Spec = a.settings.Tuning
		if s.Tuning.Name == a.tuning.String() {
			s.Tuning.Name = a.settings.Tuning
		}
	}
	if a.instrument != nil {
		s.Instrument = &namedThing{a.settings.Instrument, a.instrument.Name}
		s.FretsOff = a.instrument.FretsOff()
	}
	for i, open := range a.strings {
		s.Strings = append(s.Strings, stringTarget{i + 1, open.Label, open.Hz})
	}
	h := t.hub.listening()
	s.Input.Hears, s.Input.Gaps = string(h.state), h.gaps
	return s
}
