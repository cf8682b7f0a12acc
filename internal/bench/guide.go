package bench

import (
	"fmt"
	"sync"

	"tunerd/internal/capture"
	"tunerd/internal/engine"
	"tunerd/internal/setup"
	"tunerd/internal/targets"
)

// A guide leads through an intonation check while the tuner goes on: it hears the same sound, reads
// single plucks of it over a fixed span, and offers them to the check. There is one check at a time.
type guide struct {
	tell    func([]byte) // publishes the state
	tracker func(capture.Source) (engine.Tracker, error)

	mu       sync.Mutex
	check    *setup.Check // nil: none
	input    input        // its session is nil without one
	listener *engine.Listener
	said     string // what became of the last pluck, or of the input
}

// An input is a source and the session that hears it.
type input struct {
	source  capture.Source
	session *engine.Session
}

// A checkState is what pages are told.
type checkState struct {
	Active  bool          `json:"active"`
	Hears   bool          `json:"hears"` // there is an input
	Name    string        `json:"name"`  // of the instrument
	Done    int           `json:"done"`
	Of      int           `json:"of"`
	Prompt  *setup.Prompt `json:"prompt"` // null: the plan is through
	Said    string        `json:"said"`
	Enough  bool          `json:"enough"` // there is a result
	Words   []string      `json:"words"`  // why these notes
	Entries []checkEntry  `json:"entries"`
}

type checkEntry struct {
	String   int         `json:"string"`
	Fret     int         `json:"fret"`
	Harmonic int         `json:"harmonic"`
	Label    string      `json:"label"`
	State    setup.State `json:"state"`
	Plucks   int         `json:"plucks"`
}

// attach gives the guide an input; a check that is under way goes on with it.
func (g *guide) attach(to input) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.input = to
	if g.check == nil {
		return nil
	}
	return g.listen()
}

// detach takes the input away.
func (g *guide) detach() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.hush()
	g.input = input{}
	if g.check != nil {
		g.say("the input has ended")
	}
}

// begin starts a check of an instrument; one that is under way is forgotten.
func (g *guide) begin(in *targets.Instrument, o setup.PlanOptions, s setup.Settings) error {
	board, err := setup.NewBoard(in)
	if err != nil {
		return err
	}
	plan, err := setup.MakePlan(board, o)
	if err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.input.session == nil {
		return Refusal{statusConflict, codeNoInput, "there is no input to listen to"}
	}
	g.check = setup.NewCheck(board, plan, s)
	if err := g.listen(); err != nil {
		return err
	}
	g.say("")
	return nil
}

// listen has the session read plucks besides; g.mu must be held.
func (g *guide) listen() error {
	tracker, err := g.tracker(g.input.source)
	if err != nil {
		return err
	}
	listener, err := engine.NewListener(engine.ListenerConfig{SampleRate: capture.TrueRate(g.input.source), Tracker: tracker, Window: g.check.Settings.Window})
	if err != nil {
		return err
	}
	listener.Expect(g.check.Expect())
	g.listener = listener
	g.input.session.Listen(listener, func(h engine.Heard) { g.hear(listener, h) })
	return nil
}

// hush ends the listener; g.mu must be held.
func (g *guide) hush() {
	if g.listener != nil {
		g.input.session.Listen(nil, nil)
		g.listener = nil
	}
}

// hear takes what a listener tells; one that was ended has nothing to say any more.
func (g *guide) hear(from *engine.Listener, h engine.Heard) {
	if h.Now != nil {
		return // the stream shows what sounds
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if from != g.listener || g.check == nil {
		return
	}
	switch {
	case h.Lost != "":
		g.say(h.Lost)
	case h.Unread != "":
		g.say(h.Unread.Words())
	case h.Pluck != nil:
		g.offer(h.Pluck)
	}
}

func (g *guide) offer(p *engine.Pluck) {
	before, asked := g.check.Prompt()
	answer := g.check.Offer(setup.Pluck{F1Hz: p.F1Hz, SigmaCents: p.SigmaCents, B: p.B, BSigma: p.BSigma, SNRdB: p.SNRdB, AtS: p.OnsetS})
	said := answer.Text
	if answer.Taken && asked {
		said = fmt.Sprintf("pluck %d of %s: %s", before.Plucks+1, before.Text(), answer.Text)
	}
	g.next(said)
}

// next goes on to what is asked for now, and tells it; g.mu must be held.
func (g *guide) next(said string) {
	if _, more := g.check.Prompt(); !more {
		if added := g.check.Confirm(); added > 0 {
			said += fmt.Sprintf("; %d more, to be sure of single frets", added)
		}
	}
	if g.listener != nil {
		g.listener.Expect(g.check.Expect())
	}
	g.say(said)
}

// say tells the state, and why; g.mu must be held.
func (g *guide) say(text string) {
	g.said = text
	g.tell(marshal(g.state()))
}

var errNoCheck = Refusal{statusConflict, codeNoCheck, "no check is under way"}

// act does what a key of the terminal's check does.
func (g *guide) act(action string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.check == nil {
		return errNoCheck
	}
	switch action {
	case "redo":
		g.check.Redo()
	case "back":
		p, more := g.check.Prompt()
		if !more {
			p.Index = len(g.check.Entries)
		}
		if err := g.check.GoTo(max(p.Index-1, 0)); err != nil {
			return err
		}
	case "skip":
		g.check.Skip()
	case "accept":
		if !g.check.Accept() {
			return Refusal{statusConflict, codeTooEarly, "nothing has been heard of this note yet; skip leaves it out"}
		}
	default:
		return fmt.Errorf("action %.40q is none of redo, back, skip, accept", action)
	}
	g.next("")
	return nil
}

// end forgets the check.
func (g *guide) end() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.hush()
	g.check = nil
	g.say("")
}

// with does something with the check while nothing else does.
func (g *guide) with(do func(*setup.Check) error) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.check == nil {
		return errNoCheck
	}
	return do(g.check)
}

// now returns the state.
func (g *guide) now() *checkState {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.state()
}

// state needs g.mu.
func (g *guide) state() *checkState {
	s := &checkState{Hears: g.input.session != nil, Said: g.said, Words: []string{}, Entries: []checkEntry{}}
	if g.check == nil {
		return s
	}
	s.Active, s.Name, s.Words = true, g.check.Board.Name, append(s.Words, g.check.Plan.Words...)
	s.Done, s.Of = g.check.Progress()
	_, err := g.check.Fit()
	s.Enough = err == nil
	if p, more := g.check.Prompt(); more {
		s.Prompt = &p
	}
	for i := range g.check.Entries {
		e := &g.check.Entries[i]
		s.Entries = append(s.Entries, checkEntry{e.String, e.Fret, e.Harmonic, g.check.Board.Label(e.Note), e.State, len(e.Plucks)})
	}
	return s
}

var errNoInstrument = Refusal{statusInvalid, codeNoInstrument, "no instrument is chosen"}
