package service

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestSessionsAreKeptAndEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "browsers.json")
	now := time.Date(2024, 3, 1, 12, 0, 0, 0, time.UTC)
	s, err := OpenSessions(path)
	if err != nil {
		t.Fatal(err)
	}
	var secrets [2]string
	for i := range secrets {
		if secrets[i], err = s.New(now); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile(path)
	if err != nil || strings.Contains(string(data), secrets[0]) {
		t.Errorf("the file holds the secret itself: %s %v", data, err)
	}
	if s, err = OpenSessions(path); err != nil { // the program was started anew
		t.Fatal(err)
	}
	inside, ok := s.Find(secrets[0], now.Add(time.Hour))
	if !ok {
		t.Fatal("the session has not outlived the program")
	}
	if err := s.End(secrets[0]); err != nil {
		t.Fatal(err)
	}
	if inside.Err() == nil {
		t.Error("what goes on in an ended session goes on")
	}
	if again, err := OpenSessions(path); err != nil {
		t.Error(err)
	} else if _, ok := again.Find(secrets[0], now); ok {
		t.Error("an ended session is back after a restart")
	}
	if _, ok := s.Find(secrets[1], now.Add(sessionLife-time.Second)); !ok {
		t.Error("another session has ended with it")
	}
	if _, ok := s.Find(secrets[1], now.Add(sessionLife)); ok {
		t.Error("a session lasts for ever")
	}
}

func TestSessionsAreLimited(t *testing.T) {
	s, err := OpenSessions("")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	first, err := s.New(now)
	for range maxSessions {
		if _, err := s.New(now.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if _, ok := s.Find(first, now); ok || err != nil {
		t.Error("the first of too many is still let in")
	}
}

func TestDamagedSessionsAreNamed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "browsers.json")
	if err := os.WriteFile(path, []byte("["), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenSessions(path); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("a damaged file: %v", err)
	}
}
