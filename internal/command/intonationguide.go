package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/display/text"
	"tunerd/internal/engine"
	"tunerd/internal/journal"
	"tunerd/internal/pitch"
	"tunerd/internal/setup"
)

// keysHelp is what the keys of a guided check do.
const keysHelp = "r once more from the start · b the note before · s skip · a enough · f finish · q stop, keep"

// A guide leads through a check: it asks, listens, and obeys keys, all from one goroutine.
type guide struct {
	check    *setup.Check
	path     string
	chat     io.Writer
	keep     *keeper
	live     bool // chat is a terminal: show what sounds
	source   capture.Source
	listener *engine.Listener
	width    int // of what the live line shows
	shown    time.Time
	finish   bool
}

// guide asks for the notes of a check one by one. It returns nil if the user stopped before there
// was anything to fit.
func (o *intonationOptions) guide(ctx context.Context, d Deps, in io.Reader, chat io.Writer, board *setup.Board, settings setup.Settings) (*setup.Check, error) {
	check, err := o.begin(chat, board, settings)
	if err != nil {
		return nil, err
	}
	if _, more := check.Prompt(); !more {
		return check, nil
	}
	source, listener, err := o.listen(ctx, d, chat, check)
	if err != nil {
		return nil, err
	}
	defer source.Close()
	switch {
	case o.input == "-":
		in = strings.NewReader("") // it is the sound, not the keys
	case d.RawInput != nil:
		restore, ok := d.RawInput()
		defer restore()
		if ok {
			chat = crlf{chat}
		}
	}
	keep, err := o.beginKeeping(chat, func(s journal.Session) journal.Session { return from(s, source) })
	if err != nil {
		return nil, err
	}
	g := &guide{check: check, path: o.path(), chat: chat, live: d.ErrTerminal(), source: source, listener: listener, keep: keep}
	err = g.run(ctx, in)
	if keepErr := keepResult(keep, chat, check); keepErr != nil {
		return nil, keepErr // one line is enough; what is lost is the worse
	}
	switch {
	case errors.Is(err, errStopped):
		done, of := check.Progress()
		fmt.Fprintf(chat, "tunerd: kept in %s: %d of %d notes; run the same command to go on\n", g.path, done, of)
		return nil, nil
	case err != nil:
		return nil, err
	}
	tellWrote(chat, g.path)
	return check, nil
}

// listen opens the input.
func (o *intonationOptions) listen(ctx context.Context, d Deps, chat io.Writer, check *setup.Check) (capture.Source, *engine.Listener, error) {
	source, err := o.source.open(ctx, d, o.input, true, chatLogger(chat))
	if err != nil {
		return nil, nil, err
	}
	tracker, err := liveTracker(capture.TrueRate(source))
	if err == nil {
		tellClock(chat, source)
		listener, listenErr := engine.NewListener(engine.ListenerConfig{SampleRate: capture.TrueRate(source), Tracker: tracker, Window: check.Settings.Window})
		if err = listenErr; err == nil {
			return source, listener, nil
		}
	}
	source.Close()
	return nil, nil, usageError{err}
}

// run asks until the plan is through or the user has had enough.
func (g *guide) run(ctx context.Context, in io.Reader) error {
	ctx, stop := context.WithCancel(ctx)
	heard := make(chan engine.Heard)
	var listening sync.WaitGroup
	defer listening.Wait()
	defer stop()
	var failed error
	listening.Go(func() {
		defer close(heard)
		failed = g.listener.Run(ctx, g.source, func(h engine.Heard) {
			if h.Now != nil {
				now := *h.Now
				now.Partials = nil
				h.Now = &now
			}
			select {
			case heard <- h:
			case <-ctx.Done():
			}
		})
	})
	keys := make(chan byte)
	go readKeys(ctx, in, keys) // ends with the input, which nobody can interrupt

	g.write("", keysHelp)
	g.ask()
	defer g.clear()
	for {
		var err error
		select {
		case h, ok := <-heard:
			if !ok {
				return g.ended(failed)
			}
			err = g.hear(h)
		case key := <-keys:
			err = g.press(key)
		case <-ctx.Done():
			return errStopped
		}
		if err != nil {
			return err
		}
		if g.finish {
			return nil
		}
	}
}

// readKeys passes on single keys.
func readKeys(ctx context.Context, in io.Reader, keys chan<- byte) {
	var b [1]byte
	for {
		n, err := in.Read(b[:])
		if n == 1 {
			select {
			case keys <- b[0]:
			case <-ctx.Done():
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// ended is the end of a recording that stood for the microphone.
func (g *guide) ended(failed error) error {
	if failed != nil {
		return failed
	}
	g.say("the input has ended")
	return errStopped
}

// hear takes what the listener tells.
func (g *guide) hear(h engine.Heard) error {
	switch {
	case h.Lost != "":
		g.say(h.Lost)
	case h.Unread == engine.TooShort:
		g.say(h.Unread.Words() + ", or begin anew with --window 0.2..0.8")
	case h.Unread != "":
		g.say(h.Unread.Words())
	case h.Pluck != nil:
		return g.take(h.Pluck)
	case h.Now != nil:
		g.showNow(h.Now)
	}
	return nil
}

// take offers a pluck to the check and keeps what comes of it.
func (g *guide) take(p *engine.Pluck) error {
	before, _ := g.check.Prompt()
	pluck := pluckOf(&p.Reading, "", p.OnsetS)
	answer := g.check.Offer(pluck)
	if !answer.Taken {
		g.say(answer.Text)
		return nil
	}
	keepPluck(g.keep, g.check, before.Note, pluck)
	said := fmt.Sprintf("pluck %d: %s Hz, %s cents", before.Plucks+1, display.Hz(p.F1Hz, p.SigmaCents), display.Cents(answer.Cents, p.SigmaCents))
	if answer.Error > 0 {
		said += ", mean ±" + display.Sigma(answer.Error)
	}
	g.say(said + ": " + answer.Text)
	return g.next(answer.Done)
}

// next keeps the check and, if a note is through, asks for the next.
func (g *guide) next(done bool) error {
	if _, more := g.check.Prompt(); !more {
		if added := g.check.Confirm(); added > 0 {
			g.say(fmt.Sprintf("%d more, to be sure of single frets", added))
		}
	}
	if err := g.check.Save(g.path); err != nil {
		return err
	}
	if done {
		g.ask()
	}
	return nil
}

// ask shows what to play, and tells the tracker.
func (g *guide) ask() {
	p, more := g.check.Prompt()
	if !more {
		g.finish = true
		return
	}
	g.listener.Expect(g.check.Expect())
	g.clear()
	g.write("", fmt.Sprintf("[%d/%d] string %d, %s: %s, %.2f Hz", p.Index+1, p.Of, p.String, p.Short(), p.Label, p.Hz))
	g.write(guideIndent, p.How)
	g.write(guideIndent, "for "+p.Why)
}

// guideIndent stands before what belongs to a prompt.
const guideIndent = "        "

// write writes words, in a terminal broken into lines that it has room for.
func (g *guide) write(indent, words string) {
	lines := []string{words}
	if n := text.Columns(g.chat); n > 0 {
		lines = text.Wrap(words, n-len(indent))
	}
	for _, line := range lines {
		fmt.Fprintln(g.chat, indent+line)
	}
}

// press obeys a key.
func (g *guide) press(key byte) error {
	switch key {
	case 'r':
		g.check.Redo()
	case 'b':
		p, _ := g.check.Prompt()
		_ = g.check.GoTo(max(p.Index-1, 0)) // it is there
	case 's':
		g.check.Skip()
	case 'a':
		if !g.check.Accept() {
			g.say("nothing has been heard of it yet; s skips it")
			return nil
		}
	case 'f':
		return g.finishNow()
	case 'q', 3, 4: // interrupt and end of input, where keys come raw
		return errors.Join(g.check.Save(g.path), errStopped)
	case '\r', '\n', ' ':
		return nil
	default:
		g.say("keys: " + keysHelp)
		return nil
	}
	return g.next(true)
}

// finishNow fits what there is, if that is enough.
func (g *guide) finishNow() error {
	if _, err := g.check.Fit(); err != nil {
		g.say(err.Error())
		return nil
	}
	g.finish = true
	return g.check.Save(g.path)
}

func (g *guide) say(words string) {
	g.clear()
	g.write(guideIndent, words)
}

// liveEvery is the time between two looks at what sounds.
const liveEvery = 100 * time.Millisecond

// showNow draws what sounds on the last line of a terminal.
func (g *guide) showNow(r *pitch.Reading) {
	if !g.live || time.Since(g.shown) < liveEvery {
		return
	}
	g.shown = time.Now()
	now := guideIndent + "listening"
	if r.State == pitch.Sounding {
		now = guideIndent + display.Hz(r.F1Hz, r.SigmaCents) + " Hz"
	}
	fmt.Fprintf(g.chat, "\r%s%s", now, strings.Repeat(" ", max(0, g.width-len(now))))
	g.width = len(now)
}

// clear takes the live line away.
func (g *guide) clear() {
	if g.width > 0 {
		fmt.Fprintf(g.chat, "\r%s\r", strings.Repeat(" ", g.width))
		g.width = 0
	}
}

// crlf ends lines as a terminal in raw mode needs it.
type crlf struct{ w io.Writer }

func (c crlf) Write(p []byte) (int, error) {
	_, err := io.WriteString(c.w, strings.ReplaceAll(string(p), "\n", "\r\n"))
	return len(p), err
}

func (c crlf) Columns() int { return text.Columns(c.w) }
