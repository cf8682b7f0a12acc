package mts

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
)

// ErrOther marks a system exclusive message that is none of those of this package.
var ErrOther = errors.New("no bulk dump, single note change or scale/octave tuning")

// Decode reads one message from F0 to F7.
func Decode(b []byte) (Message, error) {
	if len(b) < 6 || b[0] != start || b[len(b)-1] != end {
		return nil, errors.New("a message begins with F0 and ends with F7")
	}
	data := b[1 : len(b)-1]
	for i, c := range data {
		if c > 0x7f {
			return nil, fmt.Errorf("byte %d of the message is %02X; data bytes are 00 to 7F", i+1, c)
		}
	}
	real := data[0] == realTime
	if !real && data[0] != nonRealTime || data[2] != tuningID {
		return nil, ErrOther
	}
	device, form, rest := int(data[1]), data[3], data[4:]
	switch {
	case !real && form == 0x01:
		return dumpFrom(data, rest, device, NoBank)
	case !real && form == 0x04 && len(rest) > 0:
		return dumpFrom(data, rest[1:], device, int(rest[0]))
	case real && form == 0x02:
		return changesFrom(rest, true, device, NoBank)
	case form == 0x07 && len(rest) > 0:
		return changesFrom(rest[1:], real, device, int(rest[0]))
	case form == 0x08 || form == 0x09:
		return octaveFrom(rest, real, form == 0x09, device)
	}
	return nil, ErrOther
}

// dumpFrom reads what follows the bank: program, name, pitches and checksum. The checksum covers
// data up to itself.
func dumpFrom(data, b []byte, device, bank int) (Message, error) {
	const want = 1 + nameBytes + 3*128 + 1
	if len(b) != want {
		return nil, fmt.Errorf("a bulk dump holds %d bytes from its program on, this one %d", want, len(b))
	}
	if got, sum := b[want-1], checksum(data[:len(data)-1]); got != sum {
		return nil, fmt.Errorf("the checksum of the bulk dump is %02X, its bytes give %02X", got, sum)
	}
	d := BulkDump{Device: device, Bank: bank, Program: int(b[0]), Name: nameFrom(b[1 : 1+nameBytes])}
	for key := range d.Keys {
		d.Keys[key] = pitchFrom(b[1+nameBytes+3*key:])
	}
	return d, nil
}

func nameFrom(b []byte) string {
	printable := func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}
	return strings.TrimRight(strings.Map(printable, string(bytes.TrimRight(b, "\x00"))), " ")
}

func changesFrom(b []byte, real bool, device, bank int) (Message, error) {
	if len(b) < 2 || len(b) != 2+4*int(b[1]) {
		return nil, errors.New("single note changes hold a program, a count and four bytes for each note; this message does not")
	}
	n := NoteChanges{Device: device, RealTime: real, Bank: bank, Program: int(b[0])}
	for at := b[2:]; len(at) > 0; at = at[4:] {
		n.Changes = append(n.Changes, NoteChange{int(at[0]), pitchFrom(at[1:])})
	}
	return n, nil
}
