// Package journaltest is what tests of a journal and of its stores share.
package journaltest

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"tunerd/internal/journal"
)

// Guitar is a session with every field set.
func Guitar() journal.Session {
	return journal.Session{
		UID: "00c0ffee00c0ffee", Kind: "listen",
		Started: time.UnixMilli(1760000000123).UTC(), Ended: time.UnixMilli(1760000900456).UTC(),
		Program: "v1", Input: "Bench mic", RateHz: 48000, Clock: journal.Clock{PPM: 12.3, SigmaPPM: 0.2, By: "tone"},
		Instrument: "guitar-41edo-alternate",
		Strings: []journal.String{
			{Number: 1, Label: "E4", TargetHz: 329.6275569128699, GaugeMM: 0.254, LinearDensity: 4.0e-4, Material: "plain steel"},
			{Number: 2, Label: "B♭3 +1", TargetHz: 1.0 / 3},
		},
		Tuning: "41edo", Reference: "A4=440 Hz", Plan: "pure 4:5:6:7", Note: "new strings\nsettling", Data: `{"a":1}`,
	}
}

// Readings are two, with every field set and with few.
func Readings() []journal.Reading {
	unknown := math.NaN()
	return []journal.Reading{
		{TimeS: 0.1, String: 1, Label: "E4", TargetHz: 329.6275569128699, F1Hz: 329.7, SigmaCents: 0.02, Cents: 0.38,
			AttackF1Hz: 329.9, Partial1Hz: 329.69, B: 4e-5, SNRdB: 41.25, FromS: 0.3, ToS: 2, Mark: "left out"},
		{TimeS: 3.7, File: "a.wav", String: 2, Fret: 7, Harmonic: 3, Label: "ő", TargetHz: 100, F1Hz: 5e-324, SigmaCents: math.MaxFloat64,
			Cents: unknown, AttackF1Hz: unknown, Partial1Hz: unknown, B: unknown, SNRdB: unknown, FromS: unknown, ToS: unknown},
	}
}

// Keep stores a session with readings, and returns its number.
func Keep(t testing.TB, j *journal.Journal, s journal.Session, readings ...journal.Reading) int64 {
	t.Helper()
	rec := j.Begin(s, func(line string) { t.Error(line) })
	for _, r := range readings {
		rec.Add(r)
	}
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	return rec.ID()
}

// SameReadings compares bit by bit, with NaN equal to itself.
func SameReadings(a, b []journal.Reading) bool {
	return slices.EqualFunc(a, b, func(x, y journal.Reading) bool { return bitsOf(x) == bitsOf(y) })
}

func bitsOf(r journal.Reading) string {
	text := ""
	for v, i := reflect.ValueOf(r), 0; i < v.NumField(); i++ {
		if f := v.Field(i); f.Kind() == reflect.Float64 && !math.IsNaN(f.Float()) {
			text += fmt.Sprintf("%x ", math.Float64bits(f.Float()))
		} else {
			text += fmt.Sprintf("%v ", f)
		}
	}
	return text
}

// Export exports all sessions, or those of ids.
func Export(t testing.TB, j *journal.Journal, ids ...int64) string {
	t.Helper()
	var b bytes.Buffer
	if err := j.Export(t.Context(), &b, nil, ids...); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// Import imports what must be sound.
func Import(t testing.TB, j *journal.Journal, text string) journal.Imported {
	t.Helper()
	count, err := j.Import(t.Context(), strings.NewReader(text), 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	return count
}
