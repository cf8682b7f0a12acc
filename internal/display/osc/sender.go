package osc

import (
	"math"
	"net"

	"tunerd/internal/display"
)

// A Sender sends what frames say.
type Sender struct {
	conn  net.Conn
	buf   []byte
	state display.State
}

// Dial returns a sender to the UDP port at address, HOST:PORT. Nobody need listen there.
func Dial(address string) (*Sender, error) {
	conn, err := net.Dial("udp", address)
	if err != nil {
		return nil, err
	}
	return &Sender{conn: conn}, nil
}

// Show sends the reading of f, or that of each string that sounds, and keeps nothing of it. Whether anybody hears is not known, so that
// a failure is none.
func (s *Sender) Show(f *display.Frame) error {
	if f.State != s.state {
		s.state = f.State
		s.send("/tunerd/state", string(f.State))
	}
	switch {
	case f.State != display.Sounding || f.Standing == display.Doubted: // no reading of the held string
	case f.AllStrings:
		for i := range f.Strings {
			if row := &f.Strings[i]; row.Active {
				s.send("/tunerd/reading", row.Label, int32(row.Number), int32(0),
					known(row.F1Hz), known(row.Cents), known(row.Sigma), known(row.BeatHz), known(f.LevelDB))
			}
		}
	default:
		s.send("/tunerd/reading", f.Target.Label, int32(f.Target.String), int32(f.Target.Fret),
			known(f.F1Hz), known(f.Cents), known(f.SigmaCents), known(f.BeatHz), known(f.LevelDB))
	}
	return nil
}

func (s *Sender) send(address string, args ...any) {
	s.buf = Append(s.buf[:0], address, args...)
	_, _ = s.conn.Write(s.buf)
}

// Close ends sending.
func (s *Sender) Close() error { return s.conn.Close() }

func known(x float64) float32 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return float32(x)
}
