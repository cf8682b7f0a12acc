package targets

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"tunerd/internal/strict"
)

// A Draft is what a builder says of a new instrument. TOML writes the file that it comes to.
type Draft struct {
	Name      string
	Tuning    string // as ParseTuning reads it
	Reference string // as ParseReference reads it; empty: the tuning's own
	Courses   []DraftCourse
	// ScaleMM are scale lengths, mm: one for all strings, or those of the first and the last course,
	// between which they change evenly.
	ScaleMM       []float64
	Perpendicular int // fret that stands square to the neck where scale lengths differ; 0: the nut
	Frets         int
	Every         int // steps from fret to fret; 0 is 1
}

// A DraftCourse is one string, or several tuned alike.
type DraftCourse struct {
	pitch openPitch
	Count int // of strings, from 1
}

// DraftHelp says what ParseDraftCourses accepts.
const DraftHelp = "notes such as E4 or B3-13.7c, steps such as step-5, ratios such as 3/2 or pitches such as 110Hz; E5x2 is a pair"

// ParseDraftCourses reads the open strings of a draft, string 1 first, separated by commas or else by blanks:
// notes, steps ("step 5", "5"), intervals above the reference note, and pitches in Hz; each with "x2" for a
// pair of strings.
func ParseDraftCourses(text string) ([]DraftCourse, error) {
	words := strings.Fields(text)
	if strings.Contains(text, ",") {
		words = strings.Split(text, ",")
	}
	var all []DraftCourse
	for _, word := range words {
		c, err := parseDraftCourse(strings.TrimSpace(word))
		if err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	if n := DraftStrings(all); n < 1 || n > maxStrings {
		return nil, fmt.Errorf("%d strings; an instrument has 1 to %d", n, maxStrings)
	}
	return all, nil
}

// DraftStrings counts the strings of courses.
func DraftStrings(all []DraftCourse) int {
	n := 0
	for _, c := range all {
		n += c.Count
	}
	return n
}

func parseDraftCourse(word string) (DraftCourse, error) {
	c := DraftCourse{Count: 1}
	pitch := word
	if at := strings.LastIndexAny(word, "xX"); at > 0 {
		if n, err := strconv.Atoi(word[at+1:]); err == nil {
			if n < 1 || n > maxCourse {
				return c, fmt.Errorf("%s: a course has 1 to %d strings", quote(word), maxCourse)
			}
			c.Count, pitch = n, strings.TrimSpace(word[:at])
		}
	}
	var ok bool
	if c.pitch, ok = parseOpenPitch(pitch); !ok {
		return c, fmt.Errorf("open string %s is none of %s", quote(word), DraftHelp)
	}
	return c, nil
}

func parseOpenPitch(text string) (openPitch, bool) {
	if number, ok := cutSuffixFold(text, "hz"); ok {
		hz, err := parseDecimal(strings.TrimSpace(number))
		return openPitch{kind: byHz, hz: hz}, err == nil && checkHz("", hz) == nil
	}
	if step, ok := parseStepLabel(strings.Replace(strings.ToLower(text), "step", "step ", 1)); ok {
		return openPitch{kind: byStep, step: step}, true
	}
	note, cents := CutCents(text)
	if _, err := parseNoteName(note); err == nil {
		return openPitch{kind: byNote, note: note, cents: cents}, math.Abs(cents) <= maxDetune
	}
	iv, err := ParseInterval(text)
	return openPitch{kind: byInterval, interval: iv}, err == nil
}

func cutSuffixFold(text, suffix string) (string, bool) {
	if n := len(text) - len(suffix); n >= 0 && strings.EqualFold(text[n:], suffix) {
		return text[:n], true
	}
	return text, false
}

// UsualDraft returns what players usually tune so many strings to, string 1 first, in a tuning whose notes
// have letters; nothing where there is no usual way. Common practice, no source: bass of four and five
// strings, guitars of six, seven and eight.
func UsualDraft(count int, t *Tuning) string {
	if !t.lettered {
		return ""
	}
	return map[int]string{
		4: "G2 D2 A1 E1", 5: "G2 D2 A1 E1 B0",
		6: "E4 B3 G3 D3 A2 E2", 7: "E4 B3 G3 D3 A2 E2 B1", 8: "E4 B3 G3 D3 A2 E2 B1 F#1",
	}[count]
}

// TOML writes the draft as a commented instrument file, and reads it to see that it is one. The error says
// what is wrong with the draft.
func (d *Draft) TOML() (string, *Instrument, error) {
	if len(d.Courses) == 0 {
		return "", nil, errors.New("no strings")
	}
	if len(d.ScaleMM) < 1 || len(d.ScaleMM) > 2 {
		return "", nil, fmt.Errorf("%d scale lengths; write one, or those of the first and the last string", len(d.ScaleMM))
	}
	var b strings.Builder
	d.writeHead(&b)
	d.writeFrets(&b)
	number := 1
	for i := range d.Courses {
		d.writeCourse(&b, i, number)
		number += d.Courses[i].Count
	}
	text := b.String()
	in, err := ParseInstrument(draftID, []byte(text))
	if err != nil { // at a place of a file that nobody has seen
		return "", nil, errors.New(draftPlace.ReplaceAllString(err.Error(), ""))
	}
	return text, in, nil
}

const draftID = "draft"

var draftPlace = regexp.MustCompile("^" + draftID + `(:\d+:\d+)?: `)

func (d *Draft) writeHead(b *strings.Builder) {
	fmt.Fprintf(b, "# An instrument of tunerd. What follows a # is for people.\nname = %s\n\n", strconv.Quote(d.Name))
	fmt.Fprintf(b, "# 31edo, 13ed3, \"1/1 9/8 5/4 4/3 3/2 5/3 15/8\", werckmeister-3, or a tuning file.\ntuning = %s\n", tomlText(d.Tuning))
	if d.Reference != "" {
		fmt.Fprintf(b, "# The note that the tuning starts from, and its pitch.\nreference = %s\n", tomlText(d.Reference))
	} else {
		b.WriteString("# The note that the tuning starts from, and its pitch, if not the usual one:\n# reference = \"A4=440\"\n")
	}
}

func (d *Draft) writeFrets(b *strings.Builder) {
	if len(d.ScaleMM) == 1 {
		fmt.Fprintf(b, "\n# Nut to saddle.\nscale_length_mm = %s\n", plainMM(d.ScaleMM[0]))
	} else {
		fmt.Fprintf(b, "\n# The fret that stands square to the neck; 0 is the nut.\nperpendicular_fret = %d\n", d.Perpendicular)
	}
	b.WriteString("# Between the outer strings, for drawings:\n# nut_spread_mm = 36\n# saddle_spread_mm = 52.5\n")
	switch {
	case d.Frets == 0:
		b.WriteString("\n# No frets. With them: frets = { count = 24 }\n")
	case d.Every > 1:
		fmt.Fprintf(b, "\n# So many frets, each that many steps of the tuning above the one before.\nfrets = { count = %d, every = %d }\n", d.Frets, d.Every)
	default:
		fmt.Fprintf(b, "\n# A fret at every step; every = 2 is every second, steps = [2, 4, 5] a list of your own.\nfrets = { count = %d }\n", d.Frets)
	}
}

func (d *Draft) writeCourse(b *strings.Builder, i, number int) {
	c := &d.Courses[i]
	fmt.Fprintf(b, "\n[[strings]] # %d", number)
	if c.Count > 1 {
		fmt.Fprintf(b, " to %d, tuned alike", number+c.Count-1)
	}
	fmt.Fprintf(b, "\n%s\n", c.pitch.toml())
	if c.Count > 1 {
		fmt.Fprintf(b, "count = %d\n", c.Count)
	}
	if len(d.ScaleMM) == 2 {
		part := 0.0
		if len(d.Courses) > 1 {
			part = float64(i) / float64(len(d.Courses)-1)
		}
		fmt.Fprintf(b, "scale_length_mm = %s\n", plainMM(d.ScaleMM[0]*(1-part)+d.ScaleMM[1]*part))
	}
	if i == 0 {
		b.WriteString("# Fill in what you know; \"tunerd instrument strings\" proposes gauges for a tension.\n" +
			"# gauge_mm = 0.254\n# material = \"plain steel\"   # or \"nickel wound steel\", \"nylon\" ...\n" +
			"# core_mm = 0.406            # of a wound string\n# linear_density_kg_m = 0.0043\n# cents = -13.7              # moves the open string\n")
	}
}

func plainMM(x float64) string { return plainNumber(math.Round(x*1000) / 1000) }

// toml writes the pitch as the keys of a string.
func (p openPitch) toml() string {
	var line string
	switch p.kind {
	case byNote:
		line = "note = " + strconv.Quote(p.note)
	case byStep:
		line = "step = " + strconv.Itoa(p.step)
	case byInterval:
		line = "interval = " + strconv.Quote(p.interval.String())
	case byHz:
		line = "hz = " + plainNumber(p.hz)
	}
	if p.cents != 0 {
		line += "\ncents = " + plainNumber(p.cents)
	}
	return line
}

// BuiltinFile returns the file of a built-in instrument, with its comments.
func BuiltinFile(name string) ([]byte, error) {
	in, err := builtin(name)
	if err != nil {
		return nil, err
	}
	return instrumentFiles.ReadFile("instruments/" + in.ID + ".toml")
}

// IsInstrumentFile says whether the name of an instrument is the path of a file.
func IsInstrumentFile(name string) bool {
	return strings.ContainsAny(name, `/\`) || strings.HasSuffix(name, ".toml")
}

// ReadInstrumentBytes returns the content of an instrument: the file of a built-in one, or that at a path
// that can be read as one.
func ReadInstrumentBytes(nameOrPath string) ([]byte, error) {
	if !IsInstrumentFile(nameOrPath) {
		return BuiltinFile(nameOrPath)
	}
	data, err := strict.Read("instrument", nameOrPath)
	if err == nil {
		_, err = ParseInstrument(nameOrPath, data)
	}
	return data, err
}
