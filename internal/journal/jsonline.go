package journal

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"strings"

	"tunerd/internal/display"
)

// Readings are by far the most lines of an export. They are written and read here without reflection,
// which takes a tenth of the time; encoding/json is what they are held against, and what reads all
// lines that are not of the plain form.

// appendReading appends the line of a reading, as encoding/json writes lineOfReading.
func appendReading(dst []byte, session string, seq int, r *Reading) []byte {
	dst = append(dst, `{"type":"reading","session":`...)
	dst = appendText(dst, session)
	dst = appendInt(dst, `,"seq":`, seq)
	dst = appendNumber(dst, `,"t_s":`, r.TimeS)
	dst = appendText(append(dst, `,"file":`...), r.File)
	dst = appendInt(dst, `,"string":`, r.String)
	dst = appendInt(dst, `,"fret":`, r.Fret)
	dst = appendInt(dst, `,"harmonic":`, r.Harmonic)
	dst = appendText(append(dst, `,"label":`...), r.Label)
	dst = appendNumber(dst, `,"target_hz":`, r.TargetHz)
	dst = appendNumber(dst, `,"f1_hz":`, r.F1Hz)
	dst = appendNumber(dst, `,"f1_sigma_cents":`, r.SigmaCents)
	dst = appendNumber(dst, `,"cents":`, r.Cents)
	dst = appendNumber(dst, `,"attack_f1_hz":`, r.AttackF1Hz)
	dst = appendNumber(dst, `,"partial1_hz":`, r.Partial1Hz)
	dst = appendNumber(dst, `,"inharmonicity":`, r.B)
	dst = appendNumber(dst, `,"snr_db":`, r.SNRdB)
	dst = appendNumber(dst, `,"from_s":`, r.FromS)
	dst = appendNumber(dst, `,"to_s":`, r.ToS)
	dst = appendText(append(dst, `,"mark":`...), r.Mark)
	return append(dst, "}\n"...)
}

func appendInt(dst []byte, name string, n int) []byte {
	return strconv.AppendInt(append(dst, name...), int64(n), 10)
}

// appendNumber writes x as encoding/json does: ES6 number to string, but an exponent keeps no zero.
func appendNumber(dst []byte, name string, x float64) []byte {
	dst = append(dst, name...)
	if math.IsNaN(x) {
		return append(dst, "null"...)
	}
	if abs := math.Abs(x); abs == 0 || abs >= 1e-6 && abs < 1e21 {
		return strconv.AppendFloat(dst, x, 'f', -1, 64)
	}
	b, err := json.Marshal(x)
	if err != nil { // an infinity; nothing that is kept has one
		return append(dst, "null"...)
	}
	return append(dst, b...)
}

// appendText writes s as a JSON string without hidden characters.
func appendText(dst []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			return appendQuoted(dst, s)
		}
	}
	return append(append(append(dst, '"'), s...), '"')
}

func appendQuoted(dst []byte, s string) []byte {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		return append(dst, `""`...) // a string always encodes
	}
	return append(dst, display.EscapeHidden(bytes.TrimSuffix(b.Bytes(), []byte("\n")))...)
}

// readingStart is how the line of a reading of the plain form begins.
const readingStart = `{"type":"reading",`

// A lineScanner reads lines of readings in the plain form: one flat object without escapes in its texts
// or space between its values.
type lineScanner struct {
	texts map[string]string
	rest  []byte
}

// reading reads a line into l. False: it is not of the plain form, and l is to be read by encoding/json.
func (s *lineScanner) reading(line []byte, l *readingLine) bool {
	if !bytes.HasPrefix(line, []byte(readingStart)) {
		return false
	}
	*l = unknownReading
	l.Type = "reading"
	s.rest = line[len(readingStart):]
	for {
		name, ok := s.quoted()
		if !ok || !s.skip(':') || !s.value(name, l) {
			return false
		}
		if s.skip(',') {
			continue
		}
		return len(s.rest) == 1 && s.rest[0] == '}'
	}
}

// value reads the value of a field.
func (s *lineScanner) value(name []byte, l *readingLine) bool {
	switch string(name) {
	case "session":
		return s.text(&l.Session)
	case "file":
		return s.text(&l.File)
	case "label":
		return s.text(&l.Label)
	case "mark":
		return s.text(&l.Mark)
	case "seq":
		return s.whole(&l.Seq)
	case "string":
		return s.whole(&l.String)
	case "fret":
		return s.whole(&l.Fret)
	case "harmonic":
		return s.whole(&l.Harmonic)
	case "t_s":
		return s.number(&l.TimeS)
	case "target_hz":
		return s.number(&l.TargetHz)
	case "f1_hz":
		return s.number(&l.F1Hz)
	case "f1_sigma_cents":
		return s.number(&l.SigmaCents)
	case "cents":
		return s.number(&l.Cents)
	case "attack_f1_hz":
		return s.number(&l.AttackF1Hz)
	case "partial1_hz":
		return s.number(&l.Partial1Hz)
	case "inharmonicity":
		return s.number(&l.B)
	case "snr_db":
		return s.number(&l.SNRdB)
	case "from_s":
		return s.number(&l.FromS)
	case "to_s":
		return s.number(&l.ToS)
	}
	return false
}

func (s *lineScanner) skip(c byte) bool {
	if len(s.rest) == 0 || s.rest[0] != c {
		return false
	}
	s.rest = s.rest[1:]
	return true
}

// quoted takes a text of printable ASCII without escapes.
func (s *lineScanner) quoted() ([]byte, bool) {
	if !s.skip('"') {
		return nil, false
	}
	for i, c := range s.rest {
		if c == '"' {
			text := s.rest[:i]
			s.rest = s.rest[i+1:]
			return text, true
		}
		if c < ' ' || c > '~' || c == '\\' {
			break
		}
	}
	return nil, false
}

func (s *lineScanner) text(dst *string) bool {
	b, ok := s.quoted()
	if !ok {
		return false
	}
	known, ok := s.texts[string(b)]
	if !ok {
		if s.texts == nil || len(s.texts) > mostTexts {
			s.texts = map[string]string{}
		}
		known = string(b)
		s.texts[known] = known
	}
	*dst = known
	return true
}

// literal takes what stands before the next comma or brace.
func (s *lineScanner) literal() []byte {
	i := bytes.IndexAny(s.rest, ",}")
	if i < 0 {
		return nil
	}
	b := s.rest[:i]
	s.rest = s.rest[i:]
	return b
}

func (s *lineScanner) whole(dst *int) bool {
	b := s.literal()
	n := 0
	if len(b) == 0 || len(b) > 9 || len(b) > 1 && b[0] == '0' {
		return false
	}
	for _, c := range b {
		if c < '0' || c > '9' {
			return false
		}
		n = 10*n + int(c-'0')
	}
	*dst = n
	return true
}

func (s *lineScanner) number(dst *number) bool {
	b := s.literal()
	if string(b) == "null" {
		*dst = number(Unknown)
		return true
	}
	if !isPlainNumber(b) {
		return false
	}
	x, err := strconv.ParseFloat(string(b), 64)
	*dst = number(x)
	return err == nil
}

// isPlainNumber reports whether b is a number of JSON without an exponent.
func isPlainNumber(b []byte) bool {
	b = bytes.TrimPrefix(b, []byte("-"))
	before, after, dot := strings.Cut(string(b), ".")
	return isDigits(before) && (len(before) == 1 || before[0] != '0') && (!dot || isDigits(after))
}

func isDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// unknownReading is a line whose fields have all been left out.
var unknownReading = func() (l readingLine) {
	for _, x := range l.numbers() {
		*x = number(Unknown)
	}
	return l
}()
