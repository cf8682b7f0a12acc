package osc

import (
	"bytes"
	"encoding/hex"
	"math"
	"net"
	"strings"
	"testing"
	"time"

	"tunerd/internal/display"
)

// The two messages and their bytes are the worked examples of the OSC 1.0 specification
// (M. Wright, 2002, "OSC Message Examples").
func TestPublishedExamples(t *testing.T) {
	for _, c := range []struct {
		got  []byte
		want string
	}{
		{Append(nil, "/oscillator/4/frequency", float32(440)),
			"2f6f7363 696c6c61 746f722f 342f6672 65717565 6e637900 2c660000 43dc0000"},
		{Append(nil, "/foo", int32(1000), int32(-1), "hello", float32(1.234), float32(5.678)),
			"2f666f6f 00000000 2c696973 66660000 000003e8 ffffffff 68656c6c 6f000000 3f9df3b6 40b5b22d"},
	} {
		want, err := hex.DecodeString(strings.ReplaceAll(c.want, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(c.got, want) {
			t.Errorf("got  %x\nwant %x", c.got, want)
		}
	}
}

// The specification asks for one to four zeros after a string, so that its length is a multiple
// of four.
func TestStringsArePadded(t *testing.T) {
	for s, want := range map[string]string{"": "\x00\x00\x00\x00", "abc": "abc\x00", "data": "data\x00\x00\x00\x00", "F♯4": "F?4\x00"} {
		if got := appendString(nil, s); string(got) != want {
			t.Errorf("%q is written as %q, want %q", s, got, want)
		}
	}
}

func TestSenderSendsReadings(t *testing.T) {
	hear, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer hear.Close()
	s, err := Dial(hear.LocalAddr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	f := display.Frame{
		State: display.Sounding, Target: display.Target{Label: "A4", String: 2, Fret: 3},
		F1Hz: 441, Cents: 3.93, SigmaCents: 0.1, BeatHz: 1, LevelDB: math.NaN(),
	}
	other := f // another string than the held one: no reading of that
	other.Standing = display.Doubted
	for _, f := range []display.Frame{other, f, f} {
		if err := s.Show(&f); err != nil {
			t.Fatal(err)
		}
	}
	chord := display.Frame{State: display.Sounding, AllStrings: true, Strings: []display.StringRow{
		{Number: 1, Label: "E4", Verdict: "silent"},
		{Number: 2, Label: "B3", Active: true, F1Hz: 247, Cents: 0.5, Sigma: 0.25, BeatHz: 0.125},
	}}
	if err := s.Show(&chord); err != nil {
		t.Fatal(err)
	}
	reading := Append(nil, "/tunerd/reading", "A4", int32(2), int32(3), float32(441), float32(3.93), float32(0.1), float32(1), float32(0))
	ofString := Append(nil, "/tunerd/reading", "B3", int32(2), int32(0), float32(247), float32(0.5), float32(0.25), float32(0.125), float32(0))
	for i, want := range [][]byte{Append(nil, "/tunerd/state", "sounding"), reading, reading, ofString} {
		buf := make([]byte, 2000)
		if err := hear.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
			t.Fatal(err)
		}
		n, _, err := hear.ReadFrom(buf)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(buf[:n], want) {
			t.Errorf("packet %d: got %q, want %q", i, buf[:n], want)
		}
	}
}

// A port where nobody listens answers with an error that comes back on a later write.
func TestNobodyListening(t *testing.T) {
	taken, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := taken.LocalAddr().String()
	taken.Close()
	s, err := Dial(address)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for range 5 {
		if err := s.Show(&display.Frame{State: display.Sounding}); err != nil {
			t.Fatal(err)
		}
	}
}
