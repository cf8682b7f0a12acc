package mts

import (
	"fmt"
	"math"
)

// OctaveTuning moves the twelve keys of every octave away from equal temperament.
type OctaveTuning struct {
	Device   int
	RealTime bool
	Channels uint16      // bit 0 is MIDI channel 1
	TwoBytes bool        // 14 bits an offset instead of 7
	Cents    [12]float64 // from C
}

// AllChannels selects all 16 MIDI channels.
const AllChannels = 0xffff

// The two scales: one byte counts whole cents from −64 to +63; two bytes count 100/2^13 cents
// from −100 to nearly +100.
const (
	oneByteCenter   = 0x40
	twoByteCenter   = 1 << 13
	twoBytesPerCent = twoByteCenter / 100.0
)

// Range returns the smallest and largest offset in cents and their resolution.
func (o OctaveTuning) Range() (low, high, step float64) {
	if o.TwoBytes {
		return -100, (twoByteCenter - 1) / twoBytesPerCent, 1 / twoBytesPerCent
	}
	return -oneByteCenter, oneByteCenter - 1, 1
}

func (o OctaveTuning) body(dst []byte) ([]byte, error) {
	if err := checkBytes(o.Device, NoBank, 0); err != nil {
		return nil, err
	}
	form := byte(0x08)
	if o.TwoBytes {
		form = 0x09
	}
	dst = append(dst, urgency(o.RealTime), byte(o.Device), tuningID, form,
		byte(o.Channels>>14)&0x03, byte(o.Channels>>7)&0x7f, byte(o.Channels)&0x7f)
	low, high, step := o.Range()
	for key, c := range o.Cents {
		if !(c >= low-step/2 && c < high+step/2) {
			return nil, fmt.Errorf("key %s is %+.2f cents from equal temperament; this message holds %.0f to %+.2f cents", keyNames[key], c, low, high)
		}
		if o.TwoBytes {
			units := int(math.Round(c*twoBytesPerCent)) + twoByteCenter
			dst = append(dst, byte(units>>7), byte(units&0x7f))
		} else {
			dst = append(dst, byte(int(math.Round(c))+oneByteCenter))
		}
	}
	return dst, nil
}

var keyNames = [12]string{"C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"}

// octaveFrom reads the channel mask and the offsets that follow the form byte.
func octaveFrom(b []byte, real, twoBytes bool, device int) (OctaveTuning, error) {
	o := OctaveTuning{Device: device, RealTime: real, TwoBytes: twoBytes}
	width := 1
	if twoBytes {
		width = 2
	}
	if want := 3 + 12*width; len(b) != want {
		return o, fmt.Errorf("a scale/octave tuning holds %d bytes of channels and offsets, this one %d", want, len(b))
	}
	o.Channels = uint16(b[0]&3)<<14 | uint16(b[1])<<7 | uint16(b[2])
	for key := range o.Cents {
		at := b[3+width*key:]
		if twoBytes {
			o.Cents[key] = float64(int(at[0])<<7+int(at[1])-twoByteCenter) / twoBytesPerCent
		} else {
			o.Cents[key] = float64(int(at[0]) - oneByteCenter)
		}
	}
	return o, nil
}
