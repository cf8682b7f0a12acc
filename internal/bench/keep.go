package bench

import (
	"log/slog"
	"sync"

	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/engine"
	"tunerd/internal/targets"
)

// A Chosen is what a tuner is set to, for those who keep its readings.
type Chosen struct {
	Settings   Settings
	Tuning     *targets.Tuning
	Instrument *targets.Instrument // as the plan tunes it; nil without one
}

// A Keep begins to keep readings of an input that are compared with what is chosen. The sink gets
// every frame until end is called.
type Keep func(c Chosen, source capture.Source) (sink engine.Sink, end func(), err error)

// A keeping hands the frames of a tuner to what keeps them, and begins anew with every input and
// choice. It is an engine.Sink.
type keeping struct {
	keep Keep // nil: nothing is kept
	log  *slog.Logger

	mu   sync.Mutex
	sink engine.Sink // nil: nothing is kept now
	end  func()
}

func (k *keeping) Show(f *display.Frame) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.sink == nil {
		return nil
	}
	return k.sink.Show(f)
}

// begin ends what is being kept and begins anew; source nil only ends. That readings cannot be
// kept is told and holds up nothing.
func (k *keeping) begin(a *resolved, source capture.Source) {
	if k.keep == nil {
		return
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.end != nil {
		k.end()
	}
	k.sink, k.end = nil, nil
	if source == nil {
		return
	}
	sink, end, err := k.keep(Chosen{a.settings, a.tuning, a.instrument}, source)
	if err != nil {
		k.log.Error("readings are not kept", "error", err)
		return
	}
	k.sink, k.end = sink, end
}
