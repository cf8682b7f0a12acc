package journal

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Readings are by far the most lines of an export, and sessions the longest. They are written and read
// here without reflection, which takes a tenth of the time; encoding/json is what they are held
// against, and what reads all lines that are not of the plain form.

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

// A sessionWriter writes the lines of sessions. It keeps how the strings of the last one are written, as
// most sessions are strung alike.
type sessionWriter struct {
	strings []String
	strung  []byte
}

// append appends the line of a session, as encoding/json writes lineOfSession.
func (w *sessionWriter) append(dst []byte, s *Session) ([]byte, error) {
	if w.strung == nil || !slices.Equal(s.Strings, w.strings) {
		strung, err := marshalPlain(append([]String{}, s.Strings...))
		if err != nil {
			return dst, err
		}
		w.strings, w.strung = s.Strings, strung
	}
	dst = append(dst, sessionStart...)
	dst = appendText(append(dst, `"uid":`...), s.UID)
	dst = appendText(append(dst, `,"kind":`...), s.Kind)
	dst = appendStamp(append(dst, `,"started":`...), s.Started)
	dst = append(dst, `,"ended":`...)
	if s.Ended.IsZero() {
		dst = append(dst, "null"...)
	} else {
		dst = appendStamp(dst, s.Ended)
	}
	dst = appendText(append(dst, `,"program":`...), s.Program)
	dst = appendText(append(dst, `,"input":`...), s.Input)
	dst = appendInt(dst, `,"sample_rate_hz":`, s.RateHz)
	dst = appendNumber(dst, `,"clock":{"ppm":`, s.Clock.PPM)
	dst = appendNumber(dst, `,"sigma_ppm":`, s.Clock.SigmaPPM)
	dst = appendText(append(dst, `,"by":`...), s.Clock.By)
	dst = appendText(append(dst, `},"instrument":`...), s.Instrument)
	dst = appendText(append(dst, `,"identity":`...), s.Identity)
	dst = append(append(dst, `,"strings":`...), w.strung...)
	dst = appendText(append(dst, `,"tuning":`...), s.Tuning)
	dst = appendText(append(dst, `,"reference":`...), s.Reference)
	dst = appendText(append(dst, `,"plan":`...), s.Plan)
	dst = appendText(append(dst, `,"note":`...), s.Note)
	dst = appendText(append(dst, `,"data":`...), s.Data)
	return append(dst, "}\n"...), nil
}

// appendStamp appends a time as a stamp is written.
func appendStamp(dst []byte, t time.Time) []byte {
	dst = append(dst, '"')
	dst = t.Truncate(time.Millisecond).UTC().AppendFormat(dst, stampLayout)
	return append(dst, '"')
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
	quoted, err := marshalPlain(s)
	if err != nil {
		return append(dst, `""`...) // a string always encodes
	}
	return append(dst, quoted...)
}

// marshalPlain returns v as JSON without hidden characters.
func marshalPlain(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(escaper{&b})
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

// How lines of the plain form begin.
const (
	sessionStart = `{"type":"session",`
	readingStart = `{"type":"reading",`
)

// A lineScanner reads lines of sessions and readings in the plain form: one object without space between
// its values, and without escapes in its texts, but for those that people write.
type lineScanner struct {
	texts map[string]string
	sets  map[string][]String // strings of sessions by their text
	rest  []byte
}

// session reads a line into l. False: it is not of the plain form, and l is to be read by encoding/json.
func (s *lineScanner) session(line []byte, l *sessionLine) bool {
	if !bytes.HasPrefix(line, []byte(sessionStart)) {
		return false
	}
	*l = sessionLine{Type: "session"}
	s.rest = line[len(sessionStart):]
	return s.object(func(name []byte) bool { return s.sessionValue(name, l) }) && len(s.rest) == 0
}

// object takes the names and values of an object up to its end.
func (s *lineScanner) object(value func(name []byte) bool) bool {
	for {
		name, ok := s.quoted()
		if !ok || !s.skip(':') || !value(name) {
			return false
		}
		if !s.skip(',') {
			return s.skip('}')
		}
	}
}

func (s *lineScanner) sessionValue(name []byte, l *sessionLine) bool {
	switch string(name) {
	case "uid":
		b, ok := s.quoted()
		l.UID = string(b)
		return ok
	case "kind":
		return s.text(&l.Kind)
	case "started":
		return s.stamp(&l.Started)
	case "ended":
		if s.word("null") {
			l.Ended = nil
			return true
		}
		l.Ended = new(stamp)
		return s.stamp(l.Ended)
	case "program":
		return s.text(&l.Program)
	case "input":
		return s.text(&l.Input)
	case "sample_rate_hz":
		return s.whole(&l.RateHz)
	case "clock":
		return s.skip('{') && s.object(func(name []byte) bool { return s.clockValue(name, &l.Clock) })
	case "instrument":
		return s.text(&l.Instrument)
	case "identity":
		return s.text(&l.Identity)
	case "strings":
		return s.strung(&l.Strings)
	case "tuning":
		return s.text(&l.Tuning)
	case "reference":
		return s.text(&l.Reference)
	case "plan":
		return s.text(&l.Plan)
	case "note":
		return s.ownText(&l.Note)
	case "data":
		return s.ownText(&l.Data)
	}
	return false
}

func (s *lineScanner) clockValue(name []byte, c *clockLine) bool {
	var x number
	switch string(name) {
	case "ppm":
		ok := s.number(&x)
		c.PPM = float64(x)
		return ok && !math.IsNaN(c.PPM)
	case "sigma_ppm":
		ok := s.number(&x)
		c.SigmaPPM = float64(x)
		return ok && !math.IsNaN(c.SigmaPPM)
	case "by":
		return s.text(&c.By)
	}
	return false
}

// strung takes the strings of a session. Their text is read by encoding/json, once.
func (s *lineScanner) strung(dst *[]String) bool {
	text := s.array()
	if text == nil {
		return false
	}
	set, ok := s.sets[string(text)]
	if !ok {
		if json.Unmarshal(text, &set) != nil {
			return false
		}
		if s.sets == nil || len(s.sets) > mostTexts {
			s.sets = map[string][]String{}
		}
		s.sets[string(text)] = set
	}
	*dst = set
	return true
}

// array takes a list without escapes in its texts and without a list in it; nil: it is none.
func (s *lineScanner) array() []byte {
	if len(s.rest) == 0 || s.rest[0] != '[' {
		return nil
	}
	inText := false
	for i, c := range s.rest[1:] {
		switch {
		case c == '\\' || !inText && c == '[':
			return nil
		case c == '"':
			inText = !inText
		case c == ']' && !inText:
			text := s.rest[:i+2]
			s.rest = s.rest[i+2:]
			return text
		}
	}
	return nil
}

func (s *lineScanner) stamp(dst *stamp) bool {
	b, ok := s.quoted()
	return ok && dst.UnmarshalText(b) == nil
}

// word takes w if it comes next.
func (s *lineScanner) word(w string) bool {
	rest, ok := bytes.CutPrefix(s.rest, []byte(w))
	s.rest = rest
	return ok
}

// reading reads a line into l. False: it is not of the plain form, and l is to be read by encoding/json.
func (s *lineScanner) reading(line []byte, l *readingLine) bool {
	if !bytes.HasPrefix(line, []byte(readingStart)) {
		return false
	}
	*l = unknownReading
	l.Type = "reading"
	s.rest = line[len(readingStart):]
	return s.object(func(name []byte) bool { return s.readingValue(name, l) }) && len(s.rest) == 0
}

func (s *lineScanner) readingValue(name []byte, l *readingLine) bool {
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

// quoted takes a text of UTF-8 without escapes.
func (s *lineScanner) quoted() ([]byte, bool) {
	if !s.skip('"') {
		return nil, false
	}
	isASCII := true
	for i, c := range s.rest {
		switch {
		case c == '"':
			text := s.rest[:i]
			s.rest = s.rest[i+1:]
			return text, isASCII || utf8.Valid(text)
		case c < ' ' || c == '\\':
			return nil, false
		case c > '~':
			isASCII = false
		}
	}
	return nil, false
}

// ownText takes a text that is not likely to come again, and may have escapes.
func (s *lineScanner) ownText(dst *string) bool {
	start := s.rest
	if b, ok := s.quoted(); ok {
		*dst = string(b)
		return true
	}
	s.rest = start
	if !s.skip('"') {
		return false
	}
	for i := 0; i < len(s.rest); i++ {
		switch s.rest[i] {
		case '\\':
			i++
		case '"':
			s.rest = s.rest[i+1:]
			return json.Unmarshal(start[:i+2], dst) == nil
		}
	}
	return false
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
