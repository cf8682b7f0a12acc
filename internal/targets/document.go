package targets

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"tunerd/internal/strict"
)

// documentType marks the JSON of a tuning.
const documentType = "tuning"

// A Document is a tuning written out for exchange: every note of one period from the reference
// note, and the interval at which they repeat. ParseTuning reads it back from a .json file.
// Intervals are exact and decide; cents, hz and labels are for other programs and not read back.
type Document struct {
	Type      string         `json:"type"` // "tuning"
	Name      string         `json:"name,omitempty"`
	Spec      string         `json:"spec"` // what the tuning was made from
	Repeat    string         `json:"repeat"`
	Reference string         `json:"reference"`
	Notes     []DocumentNote `json:"notes"`
}

// A DocumentNote is one note of a Document.
type DocumentNote struct {
	Step     int     `json:"step"`
	Label    string  `json:"label"`
	Interval string  `json:"interval"` // above the reference note, as ParseInterval reads it
	Cents    float64 `json:"cents"`
	Hz       float64 `json:"hz"`
}

// Document writes the tuning out, counted from its reference note.
func (t *Tuning) Document() Document {
	d := Document{Type: documentType, Name: t.name, Spec: t.spec, Repeat: t.period.String(), Reference: t.plainReference()}
	for step := range len(t.cents) {
		d.Notes = append(d.Notes, t.documentNote(step))
	}
	return d
}

func (t *Tuning) documentNote(step int) DocumentNote {
	iv := t.interval(step)
	label := t.label(step)
	if step == 0 {
		label = t.zeroLabel // keeps the name of the reference where the notes have no letters
	}
	return DocumentNote{step, label, iv.String(), iv.Cents(), t.hz(step)}
}

// plainReference says where step 0 sounds as ParseReference reads it, or where the reference does
// if step 0 is too low or high for one.
func (t *Tuning) plainReference() string {
	if checkHz("", t.zeroHz) != nil {
		return t.reference.Label + "=" + strconv.FormatFloat(t.reference.Hz, 'f', -1, 64)
	}
	return t.zeroLabel + "=" + strconv.FormatFloat(t.zeroHz, 'f', -1, 64)
}

// readJSON reads a Document.
func (f *tuningFile) readJSON(data []byte) error {
	var d Document
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&d); err != nil {
		return errors.New(strings.TrimPrefix(strict.OneLine(err.Error()), "json: "))
	}
	if _, err := dec.Token(); err != io.EOF {
		return errors.New("something follows the tuning")
	}
	if d.Type != documentType {
		return fmt.Errorf("type %s: this is no tuning; its type is %q", quote(d.Type), documentType)
	}
	f.Name, f.Repeat, f.Reference = d.Name, d.Repeat, d.Reference
	for i := range d.Notes {
		f.Notes = append(f.Notes, noteFile{Interval: &d.Notes[i].Interval})
	}
	return nil
}

// documentColumns are the columns of the CSV. Only interval and the hz and label of step 0 are
// read back.
var documentColumns = []string{"step", "label", "interval", "cents", "hz"}

// WriteTuningCSV writes a table with the columns step, label, interval, cents and hz: the notes
// of one period from the reference note, and in the last row the note at which they repeat.
func WriteTuningCSV(w io.Writer, t *Tuning) error {
	out := csv.NewWriter(w)
	rows := [][]string{documentColumns}
	for step := range len(t.cents) + 1 {
		n := t.documentNote(step)
		rows = append(rows, []string{strconv.Itoa(n.Step), n.Label, n.Interval, plainNumber(n.Cents), plainNumber(n.Hz)})
	}
	return out.WriteAll(rows)
}

func plainNumber(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// readCSV reads what WriteTuningCSV writes. Other columns are passed over, and so may be all but
// interval.
func (f *tuningFile) readCSV(data []byte) error {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return errors.New(strict.OneLine(err.Error()))
	}
	if len(rows) == 0 {
		return errors.New("empty; write a table with a column interval")
	}
	column := slices.Index(rows[0], "interval")
	if column < 0 || len(rows) < 3 {
		return fmt.Errorf("columns %s: a tuning has a column interval, with 1/1 first and the repeat last", quote(strings.Join(rows[0], ",")))
	}
	texts := make([]string, len(rows)-1)
	for i, row := range rows[1:] {
		texts[i] = row[column]
		f.Notes = append(f.Notes, noteFile{Interval: &texts[i]})
	}
	if first, err := ParseInterval(texts[0]); err != nil || !first.Equal(Interval{}) {
		return fmt.Errorf("the first row is %s; it must be the reference note, 1/1", quote(texts[0]))
	}
	last := len(f.Notes) - 1
	f.Repeat, f.Notes = texts[last], f.Notes[:last]
	f.Reference = csvReference(rows)
	return nil
}

// csvReference returns the label and pitch of the first row, or where that is too low or high
// for a reference the step some repeats away that is not; nothing where the columns are missing.
func csvReference(rows [][]string) string {
	label, hz := slices.Index(rows[0], "label"), slices.Index(rows[0], "hz")
	if label < 0 || hz < 0 {
		return ""
	}
	notes := len(rows) - 2
	first, errFirst := parseDecimal(rows[1][hz])
	repeat, errRepeat := parseDecimal(rows[notes+1][hz])
	if errFirst == nil && errRepeat == nil && first > 0 && repeat > first {
		for k := 1; first < MinNoteHz && k < 100; k++ {
			if x := first * math.Pow(repeat/first, float64(k)); x >= MinNoteHz {
				return fmt.Sprintf("step %d=%s", k*notes, plainNumber(x))
			}
		}
	}
	return rows[1][label] + "=" + rows[1][hz]
}

// WriteTuningTOML writes the tuning as a file that ParseTuning reads.
func WriteTuningTOML(w io.Writer, t *Tuning) error {
	var b strings.Builder
	if t.name != "" {
		fmt.Fprintf(&b, "name = %s\n", strconv.Quote(t.name))
	}
	fmt.Fprintf(&b, "description = %s\nrepeat = %s\nreference = %s\n", tomlText("from "+quote(t.spec)), tomlText(t.period.String()), tomlText(t.plainReference()))
	for step := range len(t.cents) {
		n := t.documentNote(step)
		fmt.Fprintf(&b, "\n[[note]] # step %d, %s\ninterval = %s\n", step, n.Label, tomlText(n.Interval))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// tomlText quotes a text for TOML: literally where it can, so that a backslash stays one.
func tomlText(s string) string {
	if !strings.ContainsRune(s, '\'') {
		return "'" + s + "'"
	}
	return strconv.Quote(s)
}
