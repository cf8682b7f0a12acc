package mts

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"tunerd/internal/targets"
)

// A Layout says which note of a tuning a key plays.
type Layout struct {
	// Nearest gives every key the note nearest to its pitch in equal temperament, the lower of two
	// equally near. Otherwise neighbouring keys play neighbouring steps.
	Nearest bool
	// Key plays step 0, the reference note; AutoKey takes the key nearest to its pitch.
	Key int
}

// AutoKey lets Layout.Key follow the reference note.
const AutoKey = -1

// KeysOf returns the pitches of the 128 keys. A key whose note lies beyond the pitches of the
// standard is NoChange.
func KeysOf(t *targets.Tuning, l Layout) ([128]Pitch, error) {
	var keys [128]Pitch
	if l.Key != AutoKey && (l.Key < 0 || l.Key > 127) {
		return keys, fmt.Errorf("key %d is outside 0 to 127", l.Key)
	}
	heard := false
	for key := range keys {
		p, ok := PitchOf(HzKey(t.Note(l.step(t, key)).Hz))
		keys[key] = p
		heard = heard || ok
	}
	if !heard {
		return keys, errors.New("no key has a pitch that the MIDI Tuning Standard can say")
	}
	return keys, nil
}

// step returns the step of the tuning that a key plays.
func (l Layout) step(t *targets.Tuning, key int) int {
	if l.Nearest {
		return t.Nearest(KeyHz(float64(key)))
	}
	zero := l.Key
	if zero == AutoKey {
		zero = int(math.Round(HzKey(t.ReferenceNote().Hz)))
	}
	return key - zero
}

// Ties returns the keys that lie halfway between two notes of the tuning, if the layout is Nearest.
func (l Layout) Ties(t *targets.Tuning) []int {
	var keys []int
	for key := range 128 {
		if _, tie := t.NearestOrTie(KeyHz(float64(key))); tie && l.Nearest {
			keys = append(keys, key)
		}
	}
	return keys
}

// OctaveOf returns how far the twelve keys from C lie from equal temperament at A4 = 440 Hz, in
// cents. The tuning must repeat at the octave, and have twelve notes unless the layout is
// Nearest.
func OctaveOf(t *targets.Tuning, l Layout) ([12]float64, error) {
	var cents [12]float64
	period, n := t.Period()
	if math.Abs(period.Cents()-1200) > 1e-6 {
		return cents, fmt.Errorf("a scale/octave tuning repeats at 2/1, this tuning at %v", period)
	}
	if n != 12 && !l.Nearest {
		return cents, fmt.Errorf("a scale/octave tuning has 12 notes, this tuning %d; choose the nearest note for each key instead", n)
	}
	for i := range cents {
		key := 60 + i
		cents[i] = 100 * (HzKey(t.Note(l.step(t, key)).Hz) - float64(key))
	}
	return cents, nil
}

// Keys are the pitches of the 128 keys as messages leave them, in fractional MIDI keys.
type Keys [128]float64

// EqualKeys returns the keys before any message: equal temperament at A4 = 440 Hz.
func EqualKeys() Keys {
	var k Keys
	for key := range k {
		k[key] = float64(key)
	}
	return k
}

// Apply does what a message says, whatever its program and channels.
func (k *Keys) Apply(m Message) {
	switch m := m.(type) {
	case BulkDump:
		for key, p := range m.Keys {
			k.set(key, p)
		}
	case NoteChanges:
		for _, c := range m.Changes {
			k.set(c.Key, c.Pitch)
		}
	case OctaveTuning:
		for key := range k {
			k[key] = float64(key) + m.Cents[key%12]/100
		}
	}
}

func (k *Keys) set(key int, p Pitch) {
	if p != NoChange {
		k[key] = p.Key()
	}
}

// sameCents is how far two pitches that are to be the same may differ: each is rounded to half a
// unit of the standard, an interval of two so to one unit, and a difference of two intervals to two.
const sameCents = 2.05 * 100 / unitsPerKey

// Tuning returns the keys as a tuning that repeats, with key 69 as A4. Its notes are in cents,
// with the resolution of the messages; a repeat within that of the octave is the octave. It fails
// if the keys do not repeat.
func (k *Keys) Tuning() (*targets.Tuning, error) {
	n := k.repeat()
	if n == 0 {
		return nil, errors.New("the keys do not repeat at any interval, so they are no tuning in steps; list them instead")
	}
	const a4 = 69
	var spec strings.Builder
	for i := range n {
		fmt.Fprintf(&spec, "%sc ", fixed(100*(k[a4+i]-k[a4])))
	}
	if repeat := 100 * k.repeatSize(n); math.Abs(repeat-1200) <= sameCents {
		spec.WriteString("repeat 2/1")
	} else {
		fmt.Fprintf(&spec, "repeat %sc", fixed(repeat))
	}
	t, err := targets.ParseTuning(spec.String())
	if err != nil {
		return nil, err
	}
	return t.WithReference(targets.Reference{Label: "A4", Hz: KeyHz(k[a4])})
}

func fixed(cents float64) string { return strconv.FormatFloat(cents, 'f', 6, 64) }

// repeat returns the number of keys after which all intervals come again: at the octave if they
// do there, else the smallest number; 0 if there is none. At least two repeats must be seen.
func (k *Keys) repeat() int {
	smallest := 0
	for n := 1; n <= len(k)-1-69; n++ {
		if !k.repeatsAfter(n) {
			continue
		}
		if math.Abs(k.repeatSize(n)-12)*100 <= sameCents {
			return n
		}
		if smallest == 0 {
			smallest = n
		}
	}
	return smallest
}

// repeatSize returns the size of n keys, the mean of all whole repeats.
func (k *Keys) repeatSize(n int) float64 {
	times := (len(k) - 1) / n
	return (k[times*n] - k[0]) / float64(times)
}

func (k *Keys) repeatsAfter(n int) bool {
	size := k.repeatSize(n)
	for key := range len(k) - n {
		if math.Abs(k[key+n]-k[key]-size)*100 > sameCents {
			return false
		}
	}
	return size > 0
}

// A KeyRow is one key, its pitch in Hz, and how far that is from equal temperament.
type KeyRow struct {
	Key   int
	Hz    float64
	Cents float64
}

// Rows lists the keys.
func (k *Keys) Rows() []KeyRow {
	rows := make([]KeyRow, len(k))
	for key, pitch := range k {
		rows[key] = KeyRow{key, KeyHz(pitch), 100 * (pitch - float64(key))}
	}
	return rows
}
