package clock

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"tunerd/internal/fault"
	"tunerd/internal/wholefile"
)

// A Table keeps what was measured of the sound cards of a computer.
//
// A card has an entry for each nominal sample rate, because many have a crystal for each family
// of rates. Its file is JSON, described in docs/formats.md.
type Table struct {
	Devices []Entry `json:"devices"`
}

// An Entry is one device at one sample rate, with the newest measurement of each kind.
type Entry struct {
	Device string  `json:"device"`
	RateHz int     `json:"sample_rate_hz"`
	Tone   *Stored `json:"tone,omitempty"`
	System *Stored `json:"system,omitempty"`
	// UseSystem says that the user wants the comparison with the system clock applied.
	UseSystem bool `json:"use_system,omitempty"`
}

// A Stored is a measurement in a Table.
type Stored struct {
	PPM      float64   `json:"ppm"`
	SigmaPPM float64   `json:"sigma_ppm"`
	At       time.Time `json:"at"`
	Seconds  float64   `json:"seconds"`
	ToneHz   float64   `json:"tone_hz,omitempty"`
}

// DefaultPath is where the table of the user lies: in the configuration folder of the system.
func DefaultPath() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fault.Errorf(fault.Storage, "no place for the table of clocks: %w", err)
	}
	return filepath.Join(dir, "tunerd", "clock.json"), nil
}

// Load reads a table. One that is not there is empty.
func Load(path string) (*Table, error) {
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Table{}, nil
	case err != nil:
		return nil, fault.New(fault.Storage, err)
	}
	t := &Table{}
	if err := json.Unmarshal(data, t); err != nil {
		return nil, fault.Errorf(fault.Storage, "%s: %s; mend it or remove it", path, strings.TrimPrefix(err.Error(), "json: "))
	}
	for i := range t.Devices {
		for _, s := range []*Stored{t.Devices[i].Tone, t.Devices[i].System} {
			if s != nil && Check(s.PPM) != nil {
				return nil, fault.Errorf(fault.Storage, "%s: %q: %g ppm is more than any sound card has; mend it or remove it", path, t.Devices[i].Device, s.PPM)
			}
		}
	}
	return t, nil
}

// Save writes the table: the old one stays until the new one is whole.
func (t *Table) Save(path string) error {
	data, err := json.MarshalIndent(t, "", "  ")
	if err != nil {
		return err
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fault.New(fault.Storage, err)
	}
	if err := wholefile.Write(path, append(data, '\n'), 0o600); err != nil {
		return fault.New(fault.Storage, err)
	}
	return nil
}

// find returns the entry of a device, or nil.
func (t *Table) find(device string, rate int) *Entry {
	i := slices.IndexFunc(t.Devices, func(e Entry) bool { return e.Device == device && e.RateHz == rate })
	if i < 0 {
		return nil
	}
	return &t.Devices[i]
}

// Put keeps a measurement in place of the older one of its kind. One against a tone takes the
// place of a system clock that was applied.
func (t *Table) Put(m *Measurement) {
	e := t.find(m.Device, m.RateHz)
	if e == nil {
		t.Devices = append(t.Devices, Entry{Device: m.Device, RateHz: m.RateHz})
		e = &t.Devices[len(t.Devices)-1]
	}
	s := &Stored{m.PPM, m.SigmaPPM, m.At.UTC().Truncate(time.Second), m.Seconds, m.ToneHz}
	if m.By == ByTone {
		e.Tone, e.UseSystem = s, false
		return
	}
	e.System = s
}

// ErrNotMeasured says that the table has nothing of the kind for a device.
var ErrNotMeasured = errors.New("nothing was measured of it")

// ApplySystem makes the comparison with the system clock the correction of a device at one rate,
// or at all for 0. It is none by itself, because it cannot tell which of the two clocks is wrong.
func (t *Table) ApplySystem(device string, rate int) error {
	found := false
	for i := range t.Devices {
		e := &t.Devices[i]
		if e.Device == device && (rate == 0 || e.RateHz == rate) && e.System != nil {
			e.UseSystem, found = true, true
		}
	}
	if !found {
		return fmt.Errorf("%q against the clock of the computer: %w", device, ErrNotMeasured)
	}
	return nil
}

// Names lists the devices, each once.
func (t *Table) Names() []string {
	var names []string
	for _, e := range t.Devices {
		if !slices.Contains(names, e.Device) {
			names = append(names, e.Device)
		}
	}
	return names
}

// Forget removes all entries of a device.
func (t *Table) Forget(device string) error {
	n := len(t.Devices)
	t.Devices = slices.DeleteFunc(t.Devices, func(e Entry) bool { return e.Device == device })
	if len(t.Devices) == n {
		return fmt.Errorf("%q: %w", device, ErrNotMeasured)
	}
	return nil
}

// For returns the correction for a device: that of the tone, or that of the system clock if the
// user wants it so; the zero Correction if there is neither.
func (t *Table) For(device string, rate int) Correction {
	e := t.find(device, rate)
	if e == nil {
		return Correction{}
	}
	return e.Correction()
}

// Correction is the one that is in use.
func (e *Entry) Correction() Correction {
	switch {
	case e.UseSystem && e.System != nil:
		return Correction{e.System.PPM, e.System.SigmaPPM, BySystem}
	case e.Tone != nil:
		return Correction{e.Tone.PPM, e.Tone.SigmaPPM, ByTone}
	}
	return Correction{}
}
