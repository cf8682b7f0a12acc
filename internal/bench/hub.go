package bench

import (
	"cmp"
	"crypto/rand"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"tunerd/internal/display"
	"tunerd/internal/display/text"
)

// waiting is the state before there is any input.
const waiting display.State = "waiting"

const (
	frameHz     = 60 // frames a second at most
	stringsHz   = 10 // lists of strings a second at most
	maxWatchers = 16 // streams at a time
)

// A kind is a name of an event of the stream. Of each kind a watcher holds the newest message.
type kind int

const (
	sessionKind kind = iota
	noticeKind
	setupKind
	stringsKind
	frameKind
	kinds
)

var kindNames = [kinds]string{"session", "notice", "setup", "strings", "frame"}

var errCrowded = Refusal{statusUnavailable, codeCrowded, fmt.Sprintf("%d streams are open already; close one", maxWatchers)}

// A hub turns frames into messages and hands them to everybody who watches. It is an engine.Sink.
type hub struct {
	instance string // names this run of the program in the ids of messages

	mu       sync.Mutex
	messages text.Messages
	watchers map[*watcher]struct{}
	count    int64 // messages so far
	latest   [kinds]message
	frames   pace
	lists    pace
	held     display.Frame // what frames that were left out had to tell
	rows     []display.StringRow
	pass     display.Pass
	heard    heard
	opened   int64        // watchers so far
	replaced atomic.Int64 // messages that a watcher did not fetch in time
}

// heard is what the newest frame says of the input.
type heard struct {
	state display.State
	gaps  int
	timeS float64
}

func newHub() *hub {
	return &hub{
		instance: rand.Text()[:8],
		messages: text.Messages{Now: time.Now},
		watchers: map[*watcher]struct{}{},
		frames:   pace{periodS: 1.0 / frameHz},
		lists:    pace{periodS: 1.0 / stringsHz},
		heard:    heard{state: waiting},
	}
}

// Show makes messages of a frame. It waits for nobody.
func (h *hub) Show(f *display.Frame) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	notice, err := h.messages.Notice(f)
	if err != nil {
		return err
	}
	if notice != nil {
		h.send(noticeKind, notice)
	}
	urgent := notice != nil || f.NewOnset || f.State != h.heard.state
	h.heard = heard{f.State, f.Gaps, f.TimeS}
	h.hold(f)
	if !h.frames.due(f.TimeS) && !urgent {
		return nil
	}
	shown := *f
	shown.NewOnset, shown.AfterGap, shown.Message = h.held.NewOnset, h.held.AfterGap, h.held.Message
	h.held = display.Frame{}
	message, err := h.messages.Frame(&shown)
	if err != nil {
		return err
	}
	h.send(frameKind, message)
	return h.showStrings(f)
}

// hold keeps what must not be lost with a frame that is left out.
func (h *hub) hold(f *display.Frame) {
	h.held.NewOnset = h.held.NewOnset || f.NewOnset
	h.held.AfterGap = h.held.AfterGap || f.AfterGap
	if f.Message != "" {
		h.held.Message = f.Message
	}
}

// showStrings sends the list of strings if it has changed, not too often.
func (h *hub) showStrings(f *display.Frame) error {
	if slices.Equal(f.Strings, h.rows) && f.Pass == h.pass && h.latest[stringsKind].number != 0 || !h.lists.due(f.TimeS) {
		return nil
	}
	message, err := h.messages.Strings(f)
	if err != nil {
		return err
	}
	h.rows, h.pass = append(h.rows[:0], f.Strings...), f.Pass
	h.send(stringsKind, message)
	return nil
}

// retuned tells of the strings of new targets before the next frame does: it may be long in coming.
func (h *hub) retuned(rows []display.StringRow) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.rows = nil // the next frame tells of them again
	message, err := h.messages.Strings(&display.Frame{TimeS: h.heard.timeS, Strings: rows})
	if err != nil {
		return err
	}
	h.send(stringsKind, message)
	return nil
}

// publish sends a message that is no frame's.
func (h *hub) publish(k kind, data []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.send(k, data)
}

// send puts the message before every watcher; h.mu must be held.
func (h *hub) send(k kind, data []byte) {
	h.count++
	m := message{h.count, Message{fmt.Sprintf("%s-%d", h.instance, h.count), kindNames[k], data}}
	h.latest[k] = m
	for w := range h.watchers {
		w.put(k, m)
	}
}

// listening returns what the input does.
func (h *hub) listening() heard {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.heard
}

// watch adds a watcher, who finds the newest frame and strings waiting.
func (h *hub) watch() (*watcher, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.watchers) >= maxWatchers {
		return nil, errCrowded
	}
	w := &watcher{wake: make(chan struct{}, 1), replaced: &h.replaced}
	for _, k := range []kind{stringsKind, frameKind} {
		if h.latest[k].number != 0 {
			w.put(k, h.latest[k])
		}
	}
	h.watchers[w] = struct{}{}
	h.opened++
	return w, nil
}

func (h *hub) leave(w *watcher) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.watchers, w)
}

// A message waits for a watcher.
type message struct {
	number int64 // 0: there is none
	Message
}

// A watcher is what waits for one follower: the newest message of every kind.
type watcher struct {
	wake     chan struct{} // holds a token while something may be there
	replaced *atomic.Int64

	mu      sync.Mutex
	pending [kinds]message
}

func (w *watcher) put(k kind, m message) {
	w.mu.Lock()
	if w.pending[k].number != 0 {
		w.replaced.Add(1)
	}
	w.pending[k] = m
	w.mu.Unlock()
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

// take appends all that is there to dst, in order.
func (w *watcher) take(dst []Message) []Message {
	w.mu.Lock()
	all := w.pending
	w.pending = [kinds]message{}
	w.mu.Unlock()
	slices.SortFunc(all[:], func(a, b message) int { return cmp.Compare(a.number, b.number) })
	for _, m := range all {
		if m.number != 0 {
			dst = append(dst, m.Message)
		}
	}
	return dst
}

// A pace lets through so many a second of stream time, on average.
type pace struct {
	periodS float64
	nextS   float64
}

// due tells whether the one at timeS is let through. Time that runs back is that of a new input.
func (p *pace) due(timeS float64) bool {
	if timeS < p.nextS && timeS > p.nextS-2*p.periodS {
		return false
	}
	p.nextS = max(p.nextS+p.periodS, timeS)
	if timeS < p.nextS-2*p.periodS {
		p.nextS = timeS + p.periodS
	}
	return true
}
