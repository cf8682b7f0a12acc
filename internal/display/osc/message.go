// Package osc sends live readings to other music software as Open Sound Control messages, one in
// a UDP packet, as M. Wright, The Open Sound Control 1.0 Specification (2002) writes them.
//
//	/tunerd/reading ,siifffff  note, string, fret, f1 in Hz, cents, their σ, beat in Hz, level in dB
//	/tunerd/state   ,s         what is heard, when it changes: silent, listening, sounding, input lost, input ended
//
// String 0 is none, fret 0 an open string; positive cents are sharp. A number that is not known is 0.
package osc

import (
	"encoding/binary"
	"fmt"
	"math"
)

// Append appends the message with that address and arguments, which are of type int32, float32 or
// string, and returns the extended slice. An argument of another type panics. Letters that are not
// ASCII, which the format does not have, become "?".
func Append(dst []byte, address string, args ...any) []byte {
	dst = appendString(dst, address)
	types := []byte{','}
	for _, arg := range args {
		types = append(types, typeTag(arg))
	}
	dst = appendString(dst, string(types))
	for _, arg := range args {
		switch x := arg.(type) {
		case int32:
			dst = binary.BigEndian.AppendUint32(dst, uint32(x))
		case float32:
			dst = binary.BigEndian.AppendUint32(dst, math.Float32bits(x))
		case string:
			dst = appendString(dst, x)
		}
	}
	return dst
}

func typeTag(arg any) byte {
	switch arg.(type) {
	case int32:
		return 'i'
	case float32:
		return 'f'
	case string:
		return 's'
	}
	panic(fmt.Sprintf("osc: an argument of type %T", arg))
}

// appendString appends s, a zero, and zeros up to a multiple of four bytes.
func appendString(dst []byte, s string) []byte {
	n := 0
	for _, r := range s {
		if r == 0 || r > 126 {
			r = '?'
		}
		dst = append(dst, byte(r))
		n++
	}
	for pad := 4 - n%4; pad > 0; pad-- {
		dst = append(dst, 0)
	}
	return dst
}
