package targets

import (
	"fmt"
	"strings"
)

// Identity names the instrument wherever its file lies and whatever it is tuned to: its name and its open
// strings as its file gives them, in their order. It stays with another tuning, reference or plan.
func (in *Instrument) Identity() string {
	open := make([]string, len(in.Strings))
	for i := range in.Strings {
		open[i] = in.Strings[i].pitch.String()
	}
	return in.Name + ": " + strings.Join(open, " ")
}

// String writes the pitch as the file does.
func (p openPitch) String() string {
	switch p.kind {
	case byNote:
		return p.note
	case byStep:
		return fmt.Sprintf("step %d", p.step)
	case byInterval:
		return fmt.Sprintf("%+.1f cents", p.interval.Cents())
	case byHz:
		return fmt.Sprintf("%g Hz", p.hz)
	}
	return p.target.Label
}
