package mts

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
)

// ReadMessages reads all tuning messages of a file: bare system exclusive bytes, a standard MIDI
// file, or the bytes as hexadecimal text with blanks and line ends between. Other messages are
// passed over; a file without any of those read is an error.
func ReadMessages(data []byte) ([]Message, error) {
	exclusive, err := splitFile(data)
	if err != nil {
		return nil, err
	}
	var all []Message
	for i, b := range exclusive {
		m, err := Decode(b)
		if errors.Is(err, ErrOther) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("message %d: %w", i+1, err)
		}
		all = append(all, m)
	}
	if len(all) == 0 {
		return nil, errors.New("no bulk dump, single note change or scale/octave tuning in it")
	}
	return all, nil
}

func splitFile(data []byte) ([][]byte, error) {
	switch {
	case bytes.HasPrefix(data, []byte("MThd")):
		return smfExclusive(data)
	case bytes.HasPrefix(data, []byte{start}):
		return splitExclusive(data)
	}
	text, err := hex.DecodeString(strings.Join(strings.Fields(string(data)), ""))
	if err != nil || len(text) == 0 {
		return nil, errors.New("neither system exclusive bytes (F0 … F7), nor a standard MIDI file, nor such bytes as hexadecimal text")
	}
	return splitExclusive(text)
}

// splitExclusive cuts bytes into messages from F0 to F7.
func splitExclusive(data []byte) ([][]byte, error) {
	var all [][]byte
	for len(data) > 0 {
		n := bytes.IndexByte(data, end) + 1
		if data[0] != start || n == 0 {
			return nil, fmt.Errorf("message %d does not go from F0 to F7", len(all)+1)
		}
		all, data = append(all, data[:n]), data[n:]
	}
	return all, nil
}

// An Event is one event of a standard MIDI file.
type Event struct {
	Ticks uint32 // after the event before; TicksPerSecond make a second
	Data  []byte // a channel message, or a system exclusive message from F0 to F7
}

// TicksPerSecond is the time scale of AppendSMF.
const TicksPerSecond = 480

// AppendSMF appends a standard MIDI file of one track (format 0) with the events.
// Source: Standard MIDI Files 1.0.
func AppendSMF(dst []byte, events []Event) []byte {
	track := []byte{0, 0xff, 0x51, 3, 0x0f, 0x42, 0x40} // tempo: a quarter note is a second
	for _, e := range events {
		track = appendVariable(track, e.Ticks)
		if len(e.Data) > 0 && e.Data[0] == start {
			track = append(track, start)
			track = appendVariable(track, uint32(len(e.Data)-1))
			track = append(track, e.Data[1:]...)
			continue
		}
		track = append(track, e.Data...)
	}
	track = append(track, 0, 0xff, 0x2f, 0)
	dst = append(dst, "MThd\x00\x00\x00\x06\x00\x00\x00\x01"...)
	dst = binary.BigEndian.AppendUint16(dst, TicksPerSecond)
	dst = append(dst, "MTrk"...)
	dst = binary.BigEndian.AppendUint32(dst, uint32(len(track)))
	return append(dst, track...)
}

// SelectTuning returns the events that make a channel (0 to 15) use a tuning program: registered
// parameters 4, the bank, and 3, the program.
func SelectTuning(channel, bank, program int) []Event {
	control := byte(0xb0 | channel&0x0f)
	var events []Event
	for _, p := range [2][2]int{{4, max(bank, 0)}, {3, program}} {
		for _, c := range [3][2]byte{{101, 0}, {100, byte(p[0])}, {6, byte(p[1])}} {
			events = append(events, Event{Data: []byte{control, c[0], c[1]}})
		}
	}
	return events
}

// appendVariable appends a quantity of 7 bits a byte, the highest first.
func appendVariable(dst []byte, n uint32) []byte {
	for shift := 28; shift > 0; shift -= 7 {
		if n>>shift != 0 {
			dst = append(dst, byte(n>>shift)|0x80)
		}
	}
	return append(dst, byte(n&0x7f))
}
