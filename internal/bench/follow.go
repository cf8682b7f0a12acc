package bench

import (
	"context"
	"time"
)

// aliveEvery is how long a follower hears nothing at most.
const aliveEvery = 2 * time.Second

// A Message is something that a follower is told.
type Message struct {
	ID    string // rises from one to the next, and names this run of the program; empty: there is none
	Event string // hello, session, notice, setup, strings, frame or alive
	Data  []byte // JSON; it is not to be changed
}

// Follow tells what the tuner is set to and hears until ctx ends or tell fails, and returns why. The first message is
// hello; of every other kind the newest is told when tell has come back. Where nothing happens alive is told.
func (b *Bench) Follow(ctx context.Context, tell func(Message) error) error {
	hub := b.cfg.Tuner.hub
	watcher, err := hub.watch()
	if err != nil {
		return err
	}
	defer hub.leave(watcher)
	if err := tell(Message{Event: "hello", Data: b.hello()}); err != nil {
		return err
	}
	alive := time.NewTimer(aliveEvery)
	defer alive.Stop()
	var all []Message
	for {
		select {
		case <-watcher.wake:
			all = watcher.take(all[:0])
		case <-alive.C:
			all = append(all[:0], Message{Event: "alive", Data: []byte("{}")})
		case <-ctx.Done():
			return context.Cause(ctx)
		}
		for _, m := range all {
			if err := tell(m); err != nil {
				return err
			}
		}
		alive.Reset(aliveEvery)
	}
}

// hello is all that a new follower must know.
func (b *Bench) hello() []byte {
	return marshal(struct {
		Instance string `json:"instance"`
		Version  string `json:"version"`
		FrameHz  int    `json:"frame_hz"`
		Guarded  bool   `json:"guarded"`
		Session  rawMsg `json:"session"`
	}{b.cfg.Tuner.hub.instance, b.cfg.Version, frameHz, b.cfg.Guarded, b.cfg.Tuner.Session()})
}
