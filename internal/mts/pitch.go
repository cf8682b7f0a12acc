package mts

import "math"

// A Pitch is the three-byte pitch of the standard: units of 1/16384 semitone, that is
// 100/2^14 ≈ 0.0061 cents, above MIDI key 0 (8.1758 Hz).
type Pitch uint32

// NoChange is the pitch 7F 7F 7F, which is reserved: the key keeps the pitch that it has.
const NoChange Pitch = 1<<21 - 1

const unitsPerKey = 1 << 14

// PitchOf returns the pitch nearest to a fractional MIDI key, and false if it is beyond what
// three bytes can say: below 0, or above 127.9998.
func PitchOf(key float64) (Pitch, bool) {
	units := math.Round(key * unitsPerKey)
	if !(units >= 0 && units < float64(NoChange)) {
		return NoChange, false
	}
	return Pitch(units), true
}

// Key returns the pitch as a fractional MIDI key.
func (p Pitch) Key() float64 { return float64(p) / unitsPerKey }

// Hz returns the pitch in Hz: 440·2^((key−69)/12).
func (p Pitch) Hz() float64 { return KeyHz(p.Key()) }

// KeyHz returns the frequency of a fractional MIDI key in equal temperament at A4 = 440 Hz.
func KeyHz(key float64) float64 { return 440 * math.Exp2((key-69)/12) }

// HzKey returns the fractional MIDI key of a frequency.
func HzKey(hz float64) float64 { return 69 + 12*math.Log2(hz/440) }

func (p Pitch) append(dst []byte) []byte {
	return append(dst, byte(p>>14)&0x7f, byte(p>>7)&0x7f, byte(p)&0x7f)
}

// pitchFrom reads three data bytes.
func pitchFrom(b []byte) Pitch {
	return Pitch(b[0])<<14 | Pitch(b[1])<<7 | Pitch(b[2])
}
