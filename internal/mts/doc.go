// Package mts writes and reads messages of the MIDI Tuning Standard: it turns a tuning into
// pitches of the 128 keys, or offsets of the 12 keys of an octave, and these into bytes, and back.
//
// Start with KeysOf or OctaveOf for a tuning, put the result into a BulkDump, NoteChanges or
// OctaveTuning, and hand that to Encode; ReadMessages and Keys.Apply lead the other way.
//
// Pitches are counted in MIDI keys: key 69 is 440 Hz, and 1 is a semitone of 100 cents. Sources:
// MIDI 1.0 Detailed Specification, "MIDI Tuning" (bulk dump, single note change), and the
// confirmations of approval CA-020 and CA-021 (banks, scale/octave tuning). What of these was
// not seen in the specification itself is marked in testdata/README.md.
package mts
