package detune

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"tunerd/internal/stiffstring"
	"tunerd/internal/strict"
	"tunerd/internal/targets"
)

// ParseLimits reads how far strings may be moved: "30" cents both ways, "-20..5", or with the
// number of a string, "2=-20..5". Later ones replace earlier ones; what is not said is DefaultLimit.
func ParseLimits(in *targets.Instrument, texts []string) ([]Limit, error) {
	all := make([]Limit, len(in.Strings))
	for i := range all {
		all[i] = Limit{DefaultLimit, DefaultLimit}
	}
	err := perString(texts, len(all), func(text string) error {
		_, err := parseLimit(text)
		return err
	}, func(i int, text string) { all[i], _ = parseLimit(text) })
	if err != nil {
		return nil, fmt.Errorf("limit %w", err)
	}
	return all, nil
}

func parseLimit(text string) (Limit, error) {
	down, up, both := strings.Cut(text, "..")
	if !both {
		down, up = "-"+text, text
	}
	d, errDown := strconv.ParseFloat(down, 64)
	u, errUp := strconv.ParseFloat(up, 64)
	l := Limit{-d, u}
	if errDown != nil || errUp != nil || !(l.Down >= 0 && l.Down <= 1200 && l.Up >= 0 && l.Up <= 1200) {
		return l, fmt.Errorf("%q: write cents up to 1200, like 30, or down and up, like -20..5", text)
	}
	return l, nil
}

// ParseLoads reads what strings may bear: "85N" of tension or "60%" of the breaking limit, or with
// the number of a string, "1=60%".
func ParseLoads(in *targets.Instrument, texts []string) ([]LoadLimit, error) {
	all := make([]LoadLimit, len(in.Strings))
	err := perString(texts, len(all), func(text string) error {
		return new(LoadLimit).set(text)
	}, func(i int, text string) { _ = all[i].set(text) })
	if err != nil {
		return nil, fmt.Errorf("tension %w", err)
	}
	return all, nil
}

// set sets one of the two limits and leaves the other.
func (l *LoadLimit) set(text string) error {
	number, unit := text, ""
	if n := len(text) - 1; n >= 0 {
		number, unit = text[:n], text[n:]
	}
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || !(x > 0 && x <= 1e5) || unit != "N" && unit != "%" {
		return fmt.Errorf("%q: write newtons, like 85N, or part of the breaking limit, like 60%%", text)
	}
	if unit == "N" {
		l.Newtons = x
	} else {
		l.Part = x / 100
	}
	return nil
}

// perString reads texts of the form "VALUE" or "N=VALUE", checks each and sets it for the strings it
// is for.
func perString(texts []string, n int, check func(string) error, set func(i int, value string)) error {
	for _, text := range texts {
		from, to, value := 0, n, text
		if number, rest, ok := strings.Cut(text, "="); ok {
			s, err := strconv.Atoi(strings.TrimSpace(number))
			if err != nil || s < 1 || s > n {
				return fmt.Errorf("%q: the instrument has strings 1 to %d", text, n)
			}
			from, to, value = s-1, s, rest
		}
		if err := check(strings.TrimSpace(value)); err != nil {
			return err
		}
		for i := from; i < to; i++ {
			set(i, strings.TrimSpace(value))
		}
	}
	return nil
}

// farOff is how far a measured open string may be from the instrument's pitch to be that string,
// in cents.
const farOff = 600

// ReadMeasured reads what tunerd measure --json --instrument printed of open strings; of several
// notes of a string the last counts.
func ReadMeasured(in *targets.Instrument, r io.Reader) ([]Measured, error) {
	all := make([]Measured, len(in.Strings))
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, strict.MaxBytes)
	for number := 1; lines.Scan(); number++ {
		if strings.TrimSpace(lines.Text()) == "" {
			continue
		}
		var note struct {
			Type          string
			F1Hz          float64 `json:"f1_hz"`
			Inharmonicity float64
			Target        struct{ String, Fret int }
		}
		if err := json.Unmarshal(lines.Bytes(), &note); err != nil {
			return nil, fmt.Errorf("line %d is not JSON as measure --json prints it", number)
		}
		n := note.Target.String
		if note.Type != "note" || n == 0 || note.Target.Fret != 0 {
			continue
		}
		if n < 1 || n > len(all) {
			return nil, fmt.Errorf("line %d: string %d: %s has strings 1 to %d", number, n, in.Name, len(all))
		}
		open := in.Strings[n-1].Open
		if !(math.Abs(stiffstring.Cents(note.F1Hz, open.Hz)) <= farOff) {
			return nil, fmt.Errorf("line %d: %g Hz is too far from string %d, %s at %.2f Hz", number, note.F1Hz, n, open.Label, open.Hz)
		}
		all[n-1] = Measured{note.F1Hz, math.Max(note.Inharmonicity, 0)}
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	for _, m := range all {
		if m.Hz > 0 {
			return all, nil
		}
	}
	return nil, fmt.Errorf("no open string of %s is in it; write what measure --json --instrument prints", in.Name)
}
