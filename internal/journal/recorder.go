package journal

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Of a Recorder:
const (
	batchPause = 500 * time.Millisecond // readings that come within it share a commit
	retryPause = 3 * time.Second        // until what could not be stored is tried again
	lastTries  = 2                      // of Close, each as long as SQLite waits for a lock
)

// A Recorder stores the readings of one session while it runs.
//
// Readings wait in memory until the disk has them. When it cannot take them, because it is full
// or the journal is locked, warn is told once, and they are tried again until they are stored;
// then it is told that they are. A session is stored with its first reading; without any,
// it leaves nothing behind. When the journal is deleted meanwhile, the session is written anew as a
// whole: all its readings stay in memory.
type Recorder struct {
	j    *Journal
	warn func(string)

	mu      sync.Mutex
	session Session
	all     []Reading // of the session
	stored  int       // how many of them are on the disk
	change  bool      // of the session, not stored yet

	storing sync.Mutex // held during a transaction, and for what follows
	failing bool       // the last transaction failed, and warn was told

	wake chan struct{} // holds a token when there may be something to store
	quit chan struct{}
	done chan struct{} // closed when the background goroutine has ended
	once sync.Once
}

// Begin starts the recording of s. It writes nothing yet. warn, which may be nil, is told in one
// line of trouble with the disk, and of its end; it is called from another goroutine.
func (j *Journal) Begin(s Session, warn func(string)) *Recorder {
	if s.UID == "" {
		s.UID = newUID()
	}
	if s.Started.IsZero() {
		s.Started = time.Now()
	}
	s.ID, s.Ended = 0, time.Time{}
	if warn == nil {
		warn = func(string) {}
	}
	r := &Recorder{
		j: j, warn: warn, session: s.sanitized(),
		wake: make(chan struct{}, 1), quit: make(chan struct{}), done: make(chan struct{}),
	}
	go r.run()
	return r
}

// newUID returns 64 random bits in hexadecimal.
func newUID() string {
	var b [8]byte
	rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// Add takes a reading. It never waits for the disk.
func (r *Recorder) Add(x Reading) {
	r.mu.Lock()
	r.all = append(r.all, x.sanitized())
	r.mu.Unlock()
	r.stir()
}

// Amend changes what is kept of the session itself: its plan, note or data. It never waits for
// the disk.
func (r *Recorder) Amend(change func(*Session)) {
	r.mu.Lock()
	change(&r.session)
	r.session = r.session.sanitized()
	r.change = true
	r.mu.Unlock()
	r.stir()
}

func (r *Recorder) stir() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// ID is the number of the session in the journal, 0 as long as nothing of it is stored.
func (r *Recorder) ID() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.session.ID
}

// run stores what has come, until Close.
func (r *Recorder) run() {
	defer close(r.done)
	pause := time.NewTimer(0)
	defer pause.Stop()
	for {
		select {
		case <-r.wake:
		case <-r.quit:
			return
		}
		pause.Reset(batchPause)
		for {
			select {
			case <-pause.C:
			case <-r.quit:
				return
			}
			if r.store(context.Background()) == nil {
				break
			}
			pause.Reset(retryPause)
		}
	}
}

// Flush stores now what has come so far, and returns when it is on the disk.
func (r *Recorder) Flush(ctx context.Context) error { return r.store(ctx) }

// Close stores what is left and the end of the session. If that fails, nothing more is tried, and
// Unsaved still has what is not on the disk.
func (r *Recorder) Close() error {
	var err error
	r.once.Do(func() {
		close(r.quit)
		<-r.done
		r.Amend(func(s *Session) { s.Ended = time.Now() })
		for range lastTries {
			if err = r.store(context.Background()); err == nil {
				return
			}
		}
	})
	return err
}

// Unsaved returns the session and those of its readings that are not on the disk.
func (r *Recorder) Unsaved() (Session, Batch) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.session, Batch{r.stored + 1, append([]Reading(nil), r.all[r.stored:]...)}
}

// store writes what waits in one transaction. Where the journal has been made anew meanwhile, all of
// the session is written.
func (r *Recorder) store(ctx context.Context) error {
	r.storing.Lock()
	defer r.storing.Unlock()
	err := r.put(ctx)
	anew := errors.Is(err, ErrLost)
	if anew {
		r.mu.Lock()
		r.session.ID, r.stored = 0, 0
		r.mu.Unlock()
		err = r.put(ctx)
	}
	r.mu.Lock()
	waiting, stored := len(r.all)-r.stored, r.stored
	r.mu.Unlock()
	if anew && err == nil {
		r.warn(fmt.Sprintf("%s: it was deleted or replaced meanwhile, and is written anew with all of this session, readings %d; what else it held is not in it",
			r.j.Path(), stored))
	}
	r.tell(err, waiting)
	return err
}

// put writes what waits. What an earlier try has stored after all, though it seemed to fail, is
// written again over itself.
func (r *Recorder) put(ctx context.Context) error {
	r.mu.Lock()
	s, b, change := r.session, Batch{r.stored + 1, r.all[r.stored:len(r.all):len(r.all)]}, r.change
	r.change = false
	r.mu.Unlock()
	if len(b.Readings) == 0 && (!change || r.stored == 0) {
		return nil
	}
	s.Readings = r.stored + len(b.Readings)
	id, err := r.j.store.Put(ctx, &s, b)
	r.mu.Lock()
	defer r.mu.Unlock()
	if err != nil {
		r.change = true
		return stored(err)
	}
	r.session.ID = id
	r.stored += len(b.Readings)
	return nil
}

// tell lets the user know when storing begins to fail, and when it works again.
func (r *Recorder) tell(err error, waiting int) {
	switch {
	case err != nil && !r.failing:
		r.warn(fmt.Sprintf("%v; readings wait in memory (%d) and are tried again", err, waiting))
	case err == nil && r.failing:
		r.warn(fmt.Sprintf("%s: works again; all that waited is stored", r.j.Path()))
	}
	r.failing = err != nil
}
