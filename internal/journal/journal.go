// Package journal keeps sessions: what was measured when, on which instrument, with which
// strings, tuning, device and clock correction, and every reading with its uncertainty.
//
// A [Journal] is one SQLite file; start with [Open]. A session is written by the [Recorder] that
// [Journal.Begin] returns, in the background and in batches, so that who measures never waits:
//
//	j, err := journal.Open(path)
//	rec := j.Begin(journal.Session{Kind: "intonation", Instrument: name}, warn)
//	rec.Add(journal.Reading{String: 1, F1Hz: 110.01, SigmaCents: 0.02})
//	err = rec.Close()
//
// Several processes may use one file at a time. The file is in write-ahead mode with full
// synchronisation: a transaction that has been committed outlives a killed process, and a power
// cut as far as the disk keeps its word; one that has not leaves no trace. A commit waits for the
// disk, which is why there are few of them, at most two a second for each session.
package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// busyTimeoutMS is how long, in ms, SQLite itself waits for a file that another process writes.
const busyTimeoutMS = 2000

// ErrNone says that there is no journal at the path.
var ErrNone = errors.New("there is no journal yet")

// A Journal is an open journal. It may be used from several goroutines.
type Journal struct {
	path string
	db   *sql.DB
}

// DefaultPath is where the journal of the user lies: in the data folder of the XDG base directory
// specification, or what the system has in its place.
func DefaultPath() (string, error) {
	dir, err := dataDir()
	if err != nil {
		return "", fmt.Errorf("journal: no place for it: %w; name one with --journal", err)
	}
	return filepath.Join(dir, "tunerd", "journal.db"), nil
}

func dataDir() (string, error) {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) { // a relative one is to be ignored
		return dir, nil
	}
	switch runtime.GOOS {
	case "windows", "darwin", "ios":
		return os.UserConfigDir() // there it is also the place for data
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(home, ".local", "share"), nil
}

// Open opens the journal at path, or the user's own if path is empty. It is made if it is not
// there, and brought to the newest schema if it is of an older version.
func Open(path string) (*Journal, error) { return open(path, true) }

// OpenExisting is Open for reading what may not be there: then the error is ErrNone.
func OpenExisting(path string) (*Journal, error) { return open(path, false) }

func open(path string, make bool) (*Journal, error) {
	if path == "" {
		var err error
		if path, err = DefaultPath(); err != nil {
			return nil, err
		}
	}
	info, err := os.Stat(path)
	switch {
	case err == nil && info.IsDir():
		return nil, fmt.Errorf("journal: %s is a directory, not a journal", path)
	case errors.Is(err, os.ErrNotExist) && !make:
		return nil, fmt.Errorf("journal: %s: %w", path, ErrNone)
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("journal: %w", err)
	case err != nil:
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
	}
	j := &Journal{path: path}
	if err := j.connect(); err != nil {
		return nil, j.error(err)
	}
	return j, nil
}

func (j *Journal) connect() error {
	db, err := sql.Open("sqlite", dsn(j.path))
	if err != nil {
		return err
	}
	j.db = db
	err = j.migrate(context.Background())
	// While another process makes the file too, SQLite may say at once that it is busy, without its own wait.
	for until := time.Now().Add(busyTimeoutMS * time.Millisecond); busy(err) && time.Now().Before(until); {
		time.Sleep(10 * time.Millisecond)
		err = j.migrate(context.Background())
	}
	if err != nil {
		db.Close()
		if refused := (refusal{}); errors.As(err, &refused) {
			return fmt.Errorf("%s: %w", j.path, err)
		}
		return err
	}
	return nil
}

// busy reports whether err says that another process has the file just now.
func busy(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xff == sqlite3.SQLITE_BUSY
}

// dsn names the file to the driver. Every connection of the pool is set up alike; write
// transactions take the lock when they begin, so that two of them cannot block one another.
// Write-ahead mode is a property of the file: migrate sets it.
func dsn(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	query := url.Values{"_txlock": {"immediate"}, "_pragma": {
		fmt.Sprintf("busy_timeout(%d)", busyTimeoutMS),
		"synchronous(full)", "foreign_keys(on)",
	}}
	slashed := "/" + strings.TrimPrefix(filepath.ToSlash(path), "/")
	return (&url.URL{Scheme: "file", Path: slashed, RawQuery: query.Encode()}).String()
}

// Path is where the journal lies.
func (j *Journal) Path() string { return j.path }

// Close closes the file. Recorders are to be closed before.
func (j *Journal) Close() error { return j.error(j.db.Close()) }

// A refusal is why a sound database is not used.
type refusal struct{ error }

// error puts what SQLite says into words, and names the journal where that is the trouble.
func (j *Journal) error(err error) error {
	var e *sqlite.Error
	if errors.As(err, &e) {
		if words, ok := sqliteWords[e.Code()&0xff]; ok {
			err = plainError{words, err}
		}
		return fmt.Errorf("journal: %s: %w", j.path, err)
	}
	if err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	return nil
}

// sqliteWords are the primary result codes that a user can do something about.
var sqliteWords = map[int]string{
	sqlite3.SQLITE_BUSY:     "another program keeps it locked",
	sqlite3.SQLITE_LOCKED:   "another program keeps it locked",
	sqlite3.SQLITE_FULL:     "the disk is full",
	sqlite3.SQLITE_READONLY: "it may not be written to",
	sqlite3.SQLITE_CANTOPEN: "it cannot be opened",
	sqlite3.SQLITE_PERM:     "access is denied",
	sqlite3.SQLITE_NOTADB:   "this file is not a journal",
	sqlite3.SQLITE_CORRUPT:  "the file is damaged",
	sqlite3.SQLITE_IOERR:    "the disk cannot be read or written",
}

// A plainError says in plain words what an error is, and still is that error.
type plainError struct {
	words string
	error
}

func (e plainError) Error() string { return e.words }
func (e plainError) Unwrap() error { return e.error }
