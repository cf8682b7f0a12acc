package setup

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A Recording is a file, or a span of one, that holds plucks of one note.
type Recording struct {
	Note
	File       string  // path below the folder, with slashes
	FromS, ToS float64 // onsets between these belong to it; ToS is +Inf for the whole file
}

// manifestName is the file that says what the recordings of a folder are, where their names do not.
const manifestName = "manifest.csv"

// FindRecordings lists what a folder holds: what its manifest.csv says, or else every WAV and FLAC
// file whose name tells its note, as [ParseName] reads it. The names of other sound files are
// returned too, so that nobody wonders where they are.
func FindRecordings(folder fs.FS) (found []Recording, unknown []string, err error) {
	f, err := folder.Open(manifestName)
	if err == nil {
		defer f.Close()
		found, err = readManifest(f)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", manifestName, err)
		}
		return found, nil, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, err
	}
	entries, err := fs.ReadDir(folder, ".")
	if err != nil {
		return nil, nil, err
	}
	for _, e := range entries {
		if e.IsDir() || !slices.Contains([]string{".wav", ".flac"}, strings.ToLower(path.Ext(e.Name()))) {
			continue
		}
		if n, ok := ParseName(e.Name()); ok {
			found = append(found, Recording{Note: n, File: e.Name(), ToS: math.Inf(1)})
		} else {
			unknown = append(unknown, e.Name())
		}
	}
	return found, unknown, nil
}

var namePattern = regexp.MustCompile(`(?i)^(?:string|s)?[ _-]?(\d{1,2})[ _-](?:(open)|(?:harmonic|h)[ _-]?(\d{1,2})|(?:fret|f)?[ _-]?(\d{1,3}))(?:[ _.-].*)?$`)

// ParseName reads the note from the name of a recording: the string, then "open", a fret or a
// harmonic, then anything: "6-open.wav", "6-12.wav", "string6-fret12-b.flac", "6-h2.wav". Fret 0 is
// the open string.
func ParseName(name string) (Note, bool) {
	m := namePattern.FindStringSubmatch(strings.TrimSuffix(name, path.Ext(name)))
	if m == nil {
		return Note{}, false
	}
	number := func(s string) int { n, _ := strconv.Atoi(s); return n } // digits only
	return Note{String: number(m[1]), Harmonic: number(m[3]), Fret: number(m[4])}, true
}

// readManifest reads a table with the columns file and string, and where needed fret, harmonic,
// from_s and to_s.
func readManifest(r io.Reader) ([]Recording, error) {
	in := csv.NewReader(r)
	in.TrimLeadingSpace = true
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("no header line: %w", err)
	}
	if len(head) > 0 {
		head[0] = strings.TrimPrefix(head[0], "\ufeff")
	}
	for i, name := range head {
		head[i] = strings.TrimSpace(strings.ToLower(name))
		if !slices.Contains([]string{"file", "string", "fret", "harmonic", "from_s", "to_s"}, head[i]) {
			return nil, fmt.Errorf("column %q: want file, string, fret, harmonic, from_s, to_s", name)
		}
	}
	for _, need := range []string{"file", "string"} {
		if !slices.Contains(head, need) {
			return nil, fmt.Errorf("no column %q", need)
		}
	}
	var all []Recording
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, err
		}
		rec, err := manifestRow(head, record)
		if err != nil {
			line, _ := in.FieldPos(0)
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		all = append(all, rec)
	}
}

func manifestRow(head, record []string) (Recording, error) {
	rec := Recording{ToS: math.Inf(1)}
	for i, name := range head {
		cell := strings.TrimSpace(record[i])
		if name == "file" {
			rec.File = cell
			continue
		}
		if cell == "" {
			if name == "string" {
				return rec, errors.New("no string")
			}
			continue
		}
		x, err := strconv.ParseFloat(cell, 64)
		whole := x == math.Trunc(x) && x >= 0 && x < 1000
		times := name == "from_s" || name == "to_s"
		if err != nil || !times && !whole || times && !(x >= 0) {
			return rec, fmt.Errorf("%s %q is no number that can stand there", name, cell)
		}
		switch name {
		case "string":
			rec.String = int(x)
		case "fret":
			rec.Fret = int(x)
		case "harmonic":
			rec.Harmonic = int(x)
		case "from_s":
			rec.FromS = x
		case "to_s":
			rec.ToS = x
		}
	}
	if !fs.ValidPath(rec.File) || rec.File == "." {
		return rec, fmt.Errorf("file %q is not a name below the folder", rec.File)
	}
	return rec, nil
}

// Files lists the files of recordings, each once.
func Files(all []Recording) []string {
	var files []string
	for _, r := range all {
		if !slices.Contains(files, r.File) {
			files = append(files, r.File)
		}
	}
	return files
}

// ExpectIn returns what may sound in a file: the lowest pitch worth looking for, and its notes.
func (b *Board) ExpectIn(all []Recording, file string) (lowest float64, hz []float64) {
	lowest = math.Inf(1)
	for _, r := range all {
		if r.File == file && b.checkNote(r.Note) == nil {
			hz = append(hz, b.Hz(r.Note))
			lowest = min(lowest, b.Hz(r.Note)/2)
		}
	}
	if len(hz) == 0 {
		return 0, nil
	}
	return lowest, hz
}

// PutRecordings files takes under the notes that the recordings say they are. Takes come with their
// file as Source. It returns a check of what was recorded, in the order of strings and frets, and
// what could not be used and why.
func PutRecordings(b *Board, recordings []Recording, takes []Pluck, s Settings) (*Check, []string, error) {
	var wrong []string
	for _, r := range recordings {
		if err := b.checkNote(r.Note); err != nil {
			return nil, nil, fmt.Errorf("%s: %w", r.File, err)
		}
	}
	c := NewCheck(b, &Plan{}, s)
	order := slices.Clone(recordings)
	// Open strings first: what else is expected depends on them.
	rank := func(n Note) int {
		if n.Fret > 0 {
			return n.String*10000 + 100 + n.Fret
		}
		return n.String*10000 + n.Harmonic
	}
	slices.SortStableFunc(order, func(x, y Recording) int {
		if x.Open() != y.Open() {
			if x.Open() {
				return -1
			}
			return 1
		}
		return rank(x.Note) - rank(y.Note)
	})
	for _, r := range order {
		used := 0
		for _, t := range takes {
			if t.Source != r.File || t.AtS < r.FromS || t.AtS >= r.ToS {
				continue
			}
			if err := c.Put(r.Note, t); err != nil {
				wrong = append(wrong, fmt.Sprintf("%s at %.1f s: %v; left out", t.Source, t.AtS, err))
				continue
			}
			used++
		}
		if used == 0 {
			wrong = append(wrong, fmt.Sprintf("%s: nothing in it for %s", r.File, r.Text()))
		}
	}
	slices.SortStableFunc(c.Entries, func(x, y Entry) int {
		return rank(x.Note) - rank(y.Note)
	})
	c.At = len(c.Entries)
	c.Confirmed = true
	return c, wrong, nil
}
