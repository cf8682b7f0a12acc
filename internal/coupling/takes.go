package coupling

import (
	"cmp"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A Take is a recording of all strings, made after one of them was turned.
type Take struct {
	File   string // in its folder
	Number int    // its place in the order of time
	Turned int    // string, from 1, that was turned before it; 0: none
}

var takePattern = regexp.MustCompile(`(?i)^(\d{1,4})[ _-](?:start|turned[ _-]?(\d{1,2}))(?:[ _.-].*)?$`)

// ParseTake reads what a recording is from its name: a number for the order, then "start" where no string was
// turned before it, or "turned" and the string that was: 01-start.wav, 02-turned-3.wav.
func ParseTake(name string) (Take, bool) {
	m := takePattern.FindStringSubmatch(strings.TrimSuffix(name, path.Ext(name)))
	if m == nil {
		return Take{}, false
	}
	number, _ := strconv.Atoi(m[1]) // digits only
	turned, _ := strconv.Atoi(m[2])
	return Take{File: name, Number: number, Turned: turned}, m[2] == "" || turned > 0
}

// FindTakes lists the WAV and FLAC files of a folder in the order of time, and the names of those that do not
// say what they are. Two of one number are an error.
func FindTakes(folder fs.FS) (takes []Take, unknown []string, err error) {
	entries, err := fs.ReadDir(folder, ".")
	if err != nil {
		return nil, nil, err
	}
	for _, e := range entries {
		if e.IsDir() || !slices.Contains([]string{".wav", ".flac"}, strings.ToLower(path.Ext(e.Name()))) {
			continue
		}
		if t, ok := ParseTake(e.Name()); ok {
			takes = append(takes, t)
		} else {
			unknown = append(unknown, e.Name())
		}
	}
	slices.SortFunc(takes, func(a, b Take) int { return cmp.Compare(a.Number, b.Number) })
	for i := 1; i < len(takes); i++ {
		if takes[i].Number == takes[i-1].Number {
			return nil, nil, fmt.Errorf("%s and %s have one number", takes[i-1].File, takes[i].File)
		}
	}
	return takes, unknown, nil
}

// Take takes in what was heard in a recording.
func (l *Learner) Take(t Take, readings []Reading) error {
	if t.Turned == 0 {
		return l.Heard(readings...)
	}
	for _, r := range readings {
		if r.String == t.Turned-1 {
			return l.Turned(r, readings...)
		}
	}
	return fmt.Errorf("string %d was turned before it, and is not heard in it", t.Turned)
}
