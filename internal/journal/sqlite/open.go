// Package sqlite keeps a journal in one file of SQLite.
//
// Several processes may use one file at a time. The file is in write-ahead mode with full
// synchronisation: a transaction that has been committed outlives a killed process, and a power
// cut as far as the disk keeps its word; one that has not leaves no trace. A commit waits for the
// disk, which is why there are few of them, at most two a second for each session.
//
// A batch of readings is one row with a sum, so that damage is noticed and what is sound can be
// salvaged ([Salvage]).
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"tunerd/internal/fault"
	"tunerd/internal/journal"
)

// busyTimeoutMS is how long, in ms, SQLite itself waits for a file that another process writes.
const busyTimeoutMS = 2000

// A store is a journal.Store in a file.
type store struct {
	path string

	mu   sync.RWMutex // guards what follows; held for reading during a transaction
	db   *sql.DB
	file os.FileInfo // of the file that db has open
	copy string      // folder with a copy that is read in place of a file that cannot be opened; else empty
}

// DefaultPath is where the journal of the user lies: in the data folder of the XDG base directory
// specification, or what the system has in its place.
func DefaultPath() (string, error) {
	dir, err := dataDir()
	if err != nil {
		return "", fault.Errorf(fault.Storage, "no place for a journal: %w; name one with --journal", err)
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
func Open(path string) (*journal.Journal, error) {
	s, err := open(path, true)
	if err != nil {
		return nil, err
	}
	return journal.New(s), nil
}

// OpenExisting is Open for reading what may not be there: then the error is journal.ErrNone. A journal
// that may not be written to is read from a copy.
func OpenExisting(path string) (*journal.Journal, error) {
	s, err := open(path, false)
	if err != nil {
		return nil, err
	}
	return journal.New(s), nil
}

func open(path string, make bool) (*store, error) {
	path, err := find(path)
	if err != nil && (!errors.Is(err, journal.ErrNone) || !make) {
		return nil, err
	}
	if err != nil {
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return nil, fault.New(fault.Storage, err)
		}
	}
	s := &store{path: path}
	err = s.connect(path)
	if !make && isReadOnly(err) {
		err = s.openCopy()
	}
	if err != nil {
		return nil, fault.New(fault.Storage, s.error(err))
	}
	return s, nil
}

// find returns where a journal lies, with journal.ErrNone if there is no file.
func find(path string) (string, error) {
	if path == "" {
		var err error
		if path, err = DefaultPath(); err != nil {
			return "", err
		}
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return path, fmt.Errorf("%s: %w", path, journal.ErrNone)
	case err != nil:
		return "", fault.New(fault.Storage, err)
	case info.IsDir():
		return "", fmt.Errorf("%s is a directory, not a journal", path)
	}
	return path, nil
}

// connect opens the file at path and brings it to the newest schema.
func (s *store) connect(path string) error {
	db, err := sql.Open("sqlite", dsn(path))
	if err != nil {
		return err
	}
	err = migrate(context.Background(), db)
	// While another process makes the file too, SQLite may say at once that it is busy, without its own wait.
	for until := time.Now().Add(busyTimeoutMS * time.Millisecond); busy(err) && time.Now().Before(until); {
		time.Sleep(10 * time.Millisecond)
		err = migrate(context.Background(), db)
	}
	if err == nil {
		s.file, err = os.Stat(path)
	}
	if err != nil {
		db.Close()
		return err
	}
	s.db = db
	return nil
}

// isReadOnly reports whether err says that a file, or the folder that its companions belong in, may not
// be written to.
func isReadOnly(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return true
	}
	return false
}

// openCopy reads a copy of the file, with what its companion of write-ahead mode has: SQLite cannot read
// such a file where it may not write.
func (s *store) openCopy() error {
	dir, err := os.MkdirTemp("", "tunerd-journal-")
	if err != nil {
		return err
	}
	to := filepath.Join(dir, "journal.db")
	err = copyFile(s.path, to)
	if err == nil {
		if err = copyFile(s.path+"-wal", to+"-wal"); errors.Is(err, os.ErrNotExist) {
			err = nil
		}
	}
	if err == nil {
		err = s.connect(to)
	}
	if err != nil {
		os.RemoveAll(dir)
		return err
	}
	s.copy = dir
	return nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
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
		"synchronous(full)", "foreign_keys(on)", fmt.Sprintf("cache_size(-%d)", cacheKiB),
	}}
	slashed := "/" + strings.TrimPrefix(filepath.ToSlash(path), "/")
	return (&url.URL{Scheme: "file", Path: slashed, RawQuery: query.Encode()}).String()
}

// cacheKiB is how much of the file a connection may hold in memory, in KiB: enough that the indexes of
// 100,000 sessions are not read again and again while so many are written.
const cacheKiB = 64 << 10

func (s *store) Path() string { return s.path }

func (s *store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.error(s.db.Close())
	if s.copy != "" {
		err = errors.Join(err, os.RemoveAll(s.copy))
	}
	return err
}

// isLost reports whether the file at the path is no longer the one that was opened. s.mu must be held.
func (s *store) isLost() bool {
	if s.copy != "" {
		return false
	}
	now, err := os.Stat(s.path)
	return errors.Is(err, os.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) || err == nil && !os.SameFile(now, s.file)
}

// reopen opens what is at the path now, or makes it.
func (s *store) reopen() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.isLost() {
		return nil
	}
	s.db.Close() // before a new file is made: SQLite removes the companions of the old one by their names
	if err := os.MkdirAll(filepath.Dir(s.path), 0o700); err != nil {
		return err
	}
	return s.connect(s.path)
}

// error puts what SQLite says into words, and names the journal where that is the trouble.
func (s *store) error(err error) error {
	var e *sqlite.Error
	var refused refusal
	switch {
	case errors.As(err, &e):
		if e.Code()&0xff == sqlite3.SQLITE_CORRUPT {
			return fmt.Errorf("%s: %w", s.path, plainError{journal.ErrDamaged.Error(), errors.Join(journal.ErrDamaged, err)})
		}
		if words, ok := sqliteWords[e.Code()&0xff]; ok {
			err = plainError{words, err}
		}
		return fmt.Errorf("%s: %w", s.path, err)
	case errors.As(err, &refused), errors.Is(err, journal.ErrDamaged), errors.Is(err, journal.ErrLost):
		return fmt.Errorf("%s: %w", s.path, err)
	}
	return err
}

// A refusal is why a sound database is not used.
type refusal struct{ error }

// sqliteWords are the primary result codes that a user can do something about.
var sqliteWords = map[int]string{
	sqlite3.SQLITE_BUSY:     "another program keeps it locked",
	sqlite3.SQLITE_LOCKED:   "another program keeps it locked",
	sqlite3.SQLITE_FULL:     "the disk is full",
	sqlite3.SQLITE_READONLY: "it may not be written to",
	sqlite3.SQLITE_CANTOPEN: "it cannot be opened",
	sqlite3.SQLITE_PERM:     "access is denied",
	sqlite3.SQLITE_NOTADB:   "this file is not a journal",
	sqlite3.SQLITE_IOERR:    "the disk cannot be read or written",
}

// A plainError says in plain words what an error is, and still is that error.
type plainError struct {
	words string
	error
}

func (e plainError) Error() string { return e.words }
func (e plainError) Unwrap() error { return e.error }
