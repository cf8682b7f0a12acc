package service

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"sync"
	"time"
)

const (
	sessionLife = 30 * 24 * time.Hour
	maxSessions = 64
)

// Sessions are the browsers that have been let in: each has a secret of its own, which lasts for 30 days or until
// it is ended. They outlive the program in a file that holds no secret, only what tells them again.
type Sessions struct {
	path string // empty: they are not kept

	mu     sync.Mutex
	until  map[string]time.Time // by the SHA-256 of the secret
	inside map[string]*presence // those of whom a request is under way, or was
}

// A presence ends with its session.
type presence struct {
	ctx context.Context
	end context.CancelFunc
}

// OpenSessions returns those kept in the file at path, none if there is no file. Nothing is kept where path is empty.
func OpenSessions(path string) (*Sessions, error) {
	s := &Sessions{path: path, until: map[string]time.Time{}, inside: map[string]*presence{}}
	if path == "" {
		return s, nil
	}
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return s, nil
	case err != nil:
		return nil, err
	}
	if err := json.Unmarshal(data, &s.until); err != nil {
		return nil, fmt.Errorf("%s: these are no sessions: %w; delete the file to let nobody in but by the link", path, err)
	}
	return s, nil
}

// New lets another browser in and returns its secret. Where there are many already, the one whose time is up first goes.
func (s *Sessions) New(now time.Time) (string, error) {
	secret := rand.Text()
	s.mu.Lock()
	defer s.mu.Unlock()
	maps.DeleteFunc(s.until, func(_ string, until time.Time) bool { return !now.Before(until) })
	for len(s.until) >= maxSessions {
		s.drop(slices.MinFunc(slices.Collect(maps.Keys(s.until)), func(a, b string) int { return s.until[a].Compare(s.until[b]) }))
	}
	s.until[sum(secret)] = now.Add(sessionLife)
	return secret, s.keep()
}

// Life is how long a session lasts that nobody ends.
func (s *Sessions) Life() time.Duration { return sessionLife }

// Find returns a context that ends with the session of a secret, and whether there is one.
func (s *Sessions) Find(secret string, now time.Time) (context.Context, bool) {
	key := sum(secret)
	s.mu.Lock()
	defer s.mu.Unlock()
	until, ok := s.until[key]
	if !ok {
		return nil, false
	}
	if !now.Before(until) {
		s.drop(key)
		return nil, false
	}
	p := s.inside[key]
	if p == nil {
		ctx, end := context.WithCancel(context.Background())
		p = &presence{ctx, end}
		s.inside[key] = p
	}
	return p.ctx, true
}

// End ends the session of a secret, with all that goes on in it.
func (s *Sessions) End(secret string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(sum(secret))
	return s.keep()
}

// drop needs s.mu.
func (s *Sessions) drop(key string) {
	delete(s.until, key)
	if p := s.inside[key]; p != nil {
		p.end()
		delete(s.inside, key)
	}
}

// keep writes the file; s.mu must be held.
func (s *Sessions) keep() error {
	if s.path == "" {
		return nil
	}
	data, err := json.MarshalIndent(s.until, "", "  ")
	if err != nil {
		return err
	}
	return WriteSecret(s.path, append(data, '\n'))
}

func sum(secret string) string {
	h := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(h[:])
}
