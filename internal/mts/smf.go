package mts

import (
	"encoding/binary"
	"errors"
)

var errTorn = errors.New("the MIDI file ends within a track")

// smfExclusive returns the system exclusive messages of all tracks, from F0 to F7.
func smfExclusive(data []byte) ([][]byte, error) {
	var all [][]byte
	for len(data) > 0 {
		if len(data) < 8 {
			return nil, errTorn
		}
		kind, size := string(data[:4]), int64(binary.BigEndian.Uint32(data[4:]))
		if size > int64(len(data)-8) {
			return nil, errTorn
		}
		chunk := data[8 : 8+size]
		data = data[8+size:]
		if kind != "MTrk" {
			continue
		}
		var err error
		if all, err = appendTrack(all, chunk); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// appendTrack appends the system exclusive messages of one track. Packets of a message sent in
// parts (events F7) are put together.
func appendTrack(all [][]byte, b []byte) ([][]byte, error) {
	status := byte(0)
	var open []byte // a message whose F7 has not come yet
	for len(b) > 0 {
		var ok bool
		if _, b, ok = cutVariable(b); !ok || len(b) == 0 {
			return nil, errTorn
		}
		if b[0] >= 0x80 {
			status, b = b[0], b[1:]
		}
		if status < start {
			if n := channelBytes(status); n == 0 || len(b) < n {
				return nil, errors.New("the MIDI file has a track that cannot be read")
			} else {
				b = b[n:]
			}
			continue
		}
		var data []byte
		if data, b, ok = cutEvent(status, b); !ok {
			return nil, errTorn
		}
		switch status {
		case start:
			open = append([]byte{start}, data...)
		case end:
			open = append(open, data...)
		}
		if len(open) > 1 && open[0] == start && open[len(open)-1] == end {
			all, open = append(all, open), nil
		}
	}
	return all, nil
}

// cutEvent takes the data of a system exclusive or meta event off b.
func cutEvent(status byte, b []byte) (data, rest []byte, ok bool) {
	if status == 0xff { // a meta event has its type first
		if len(b) == 0 {
			return nil, nil, false
		}
		b = b[1:]
	}
	n, b, ok := cutVariable(b)
	if !ok || int64(n) > int64(len(b)) {
		return nil, nil, false
	}
	return b[:n], b[n:], true
}

// channelBytes returns how many data bytes follow a status below F0; 0 if there is none.
func channelBytes(status byte) int {
	switch {
	case status < 0x80:
		return 0
	case status&0xe0 == 0xc0: // program change, channel pressure
		return 1
	}
	return 2
}

// cutVariable takes a quantity of up to four bytes off b.
func cutVariable(b []byte) (n uint32, rest []byte, ok bool) {
	for i := range min(4, len(b)) {
		n = n<<7 | uint32(b[i]&0x7f)
		if b[i] < 0x80 {
			return n, b[i+1:], true
		}
	}
	return 0, nil, false
}
