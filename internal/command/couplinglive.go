package command

import (
	"context"
	"errors"
	"fmt"
	"io"

	"tunerd/internal/capture"
	"tunerd/internal/coupling"
	"tunerd/internal/engine"
	"tunerd/internal/targets"
)

// couplingWindow is what is read of each pluck, in seconds after its onset: late enough for the glide of the
// attack, short enough for nobody to wait.
var couplingWindow = [2]float64{0.2, 1}

// listen leads through a lesson at an input.
func (o *couplingLearnOptions) listen(ctx context.Context, d Deps, chat io.Writer, in *targets.Instrument, l *coupling.Learner) error {
	source, err := o.source.open(ctx, d, o.input, o.input == "demo", chatLogger(chat))
	if err != nil {
		return err
	}
	defer source.Close()
	tellClock(chat, source)
	tracker, err := liveTracker(capture.TrueRate(source))
	if err != nil {
		return usageError{err}
	}
	listener, err := engine.NewListener(engine.ListenerConfig{SampleRate: capture.TrueRate(source), Tracker: tracker, Window: couplingWindow})
	if err != nil {
		return err
	}
	var hz []float64
	var labels []string
	for _, t := range in.Targets() {
		hz, labels = append(hz, t.Hz), append(labels, t.Label)
	}
	lesson := coupling.NewLesson(l, hz, labels)
	say := func(line string) { fmt.Fprintf(chat, "tunerd: %s\n", line) }
	say(coupling.Caution)
	say(lesson.Prompt())
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var failed error
	err = listener.Run(ctx, source, func(h engine.Heard) {
		switch {
		case failed != nil || lesson.Done():
		case h.Lost != "":
			say(h.Lost)
		case h.Unread != "":
			say(h.Unread.Words())
		case h.Pluck != nil:
			var said string
			if said, failed = lesson.Hear(h.Pluck.F1Hz, h.Pluck.SigmaCents); said != "" {
				say(said)
			}
			if failed != nil || lesson.Done() {
				stop()
				return
			}
			say(lesson.Prompt())
		}
	})
	switch {
	case failed != nil || err != nil:
		return errors.Join(failed, err)
	case !lesson.Taught():
		return errors.New("it ended before all strings were heard after one was lowered; nothing was learned")
	case !lesson.Done():
		say("it ended before all strings were lowered; what was heard until then is kept")
	}
	return nil
}
