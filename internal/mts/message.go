package mts

import (
	"errors"
	"fmt"
)

// Bytes of a system exclusive message.
const (
	start       = 0xf0
	end         = 0xf7
	nonRealTime = 0x7e
	realTime    = 0x7f
	tuningID    = 0x08 // sub-ID 1 of all messages here
)

// AllDevices is the device number that every instrument answers to.
const AllDevices = 0x7f

// NoBank says that a message has no bank number.
const NoBank = -1

// A Message is a BulkDump, NoteChanges or OctaveTuning.
type Message interface {
	// body appends the bytes between F0 and F7.
	body(dst []byte) ([]byte, error)
}

// Encode returns the bytes of a message, from F0 to F7.
func Encode(m Message) ([]byte, error) {
	b, err := m.body([]byte{start})
	if err != nil {
		return nil, err
	}
	return append(b, end), nil
}

// A BulkDump gives the pitches of all 128 keys of a tuning program. It is no real-time message.
type BulkDump struct {
	Device  int    // 0 to 127
	Bank    int    // 0 to 127, or NoBank for the original message without one
	Program int    // 0 to 127
	Name    string // at most 16 characters of ASCII are sent
	Keys    [128]Pitch
}

const nameBytes = 16

func (d BulkDump) body(dst []byte) ([]byte, error) {
	first := len(dst)
	if d.Bank == NoBank {
		dst = append(dst, nonRealTime, byte(d.Device), tuningID, 0x01, byte(d.Program))
	} else {
		dst = append(dst, nonRealTime, byte(d.Device), tuningID, 0x04, byte(d.Bank), byte(d.Program))
	}
	if err := checkBytes(d.Device, d.Bank, d.Program); err != nil {
		return nil, err
	}
	dst = appendName(dst, d.Name)
	for _, p := range d.Keys {
		dst = p.append(dst)
	}
	return append(dst, checksum(dst[first:])), nil
}

// checksum is the exclusive or of all bytes between F0 and itself, kept to 7 bits.
func checksum(b []byte) byte {
	var x byte
	for _, c := range b {
		x ^= c
	}
	return x & 0x7f
}

// appendName pads the name with spaces; what is not printable ASCII becomes a question mark.
func appendName(dst []byte, name string) []byte {
	n := 0
	for _, r := range name {
		if n == nameBytes {
			break
		}
		if r < ' ' || r > '~' {
			r = '?'
		}
		dst = append(dst, byte(r))
		n++
	}
	for ; n < nameBytes; n++ {
		dst = append(dst, ' ')
	}
	return dst
}

func checkBytes(device, bank, program int) error {
	for _, v := range [...]struct {
		what  string
		value int
	}{{"device", device}, {"bank", max(bank, 0)}, {"tuning program", program}} {
		if v.value < 0 || v.value > 127 {
			return fmt.Errorf("%s %d is outside 0 to 127", v.what, v.value)
		}
	}
	return nil
}

// NoteChanges gives single keys of a tuning program a pitch, at once while notes sound if
// RealTime is set, else from their next notes on.
type NoteChanges struct {
	Device   int
	RealTime bool
	Bank     int // NoBank only with RealTime: the original message
	Program  int
	Changes  []NoteChange // at most 127
}

// A NoteChange is the pitch of one key.
type NoteChange struct {
	Key   int // 0 to 127
	Pitch Pitch
}

func (n NoteChanges) body(dst []byte) ([]byte, error) {
	if err := checkBytes(n.Device, n.Bank, n.Program); err != nil {
		return nil, err
	}
	if len(n.Changes) < 1 || len(n.Changes) > 127 {
		return nil, fmt.Errorf("%d changes of single notes are not 1 to 127", len(n.Changes))
	}
	switch {
	case n.Bank != NoBank:
		dst = append(dst, urgency(n.RealTime), byte(n.Device), tuningID, 0x07, byte(n.Bank), byte(n.Program))
	case n.RealTime:
		dst = append(dst, realTime, byte(n.Device), tuningID, 0x02, byte(n.Program))
	default:
		return nil, errors.New("single note changes that are not real time need a bank")
	}
	dst = append(dst, byte(len(n.Changes)))
	for _, c := range n.Changes {
		if c.Key < 0 || c.Key > 127 {
			return nil, fmt.Errorf("key %d is outside 0 to 127", c.Key)
		}
		dst = c.Pitch.append(append(dst, byte(c.Key)))
	}
	return dst, nil
}

func urgency(real bool) byte {
	if real {
		return realTime
	}
	return nonRealTime
}

// AllNotes returns messages like the one given that give every key its pitch, 64 keys each,
// without those that do not change.
func AllNotes(like NoteChanges, keys [128]Pitch) []NoteChanges {
	var all []NoteChanges
	for from := 0; from < len(keys); from += 64 {
		m := like
		m.Changes = nil
		for key := from; key < from+64; key++ {
			if keys[key] != NoChange {
				m.Changes = append(m.Changes, NoteChange{key, keys[key]})
			}
		}
		if len(m.Changes) > 0 {
			all = append(all, m)
		}
	}
	return all
}
