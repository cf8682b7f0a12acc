package journal

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var (
	drawnNumber = rapid.OneOf(rapid.Map(rapid.Uint64(), math.Float64frombits), rapid.Float64Range(-1e4, 1e4), rapid.Just(0.0),
		rapid.SampledFrom([]float64{1e-6, 9.9e-7, 1e21, 9.9e20, 440, math.NaN()}))
	drawnText = rapid.OneOf(rapid.String(), rapid.StringMatching("[ -~]*"),
		rapid.SampledFrom([]string{"", "A4", "B♭3 +1", "a\u202eb", `q"\\`, "<&>", "\u2028", "[x]", "]", "\xff\xfe", "\x7f"}))
)

// written is v as encoding/json writes it into an export.
func written(t *rapid.T, v any) string {
	var b bytes.Buffer
	enc := json.NewEncoder(escaper{&b})
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestSessionsAreWrittenAsJSON holds the line writer against encoding/json, and the line scanner against both.
func TestSessionsAreWrittenAsJSON(t *testing.T) {
	var writer sessionWriter // from session to session, as in an export
	var scan lineScanner
	scanned := 0
	rapid.Check(t, func(rt *rapid.T) {
		kind := drawnText
		if rapid.Bool().Draw(rt, "plain") {
			kind = rapid.OneOf(rapid.StringMatching(`[ -!#-\[\]-~]*`), rapid.SampledFrom([]string{"", "B♭3 +1", "[x]", "]"}))
		}
		text := func(name string) string { return kind.Draw(rt, name) }
		ms := rapid.Int64Range(-62135596800000, 253402300799999) // the years that RFC 3339 can write
		s := Session{
			UID: text("uid"), Kind: text("kind"), Started: time.UnixMilli(ms.Draw(rt, "started")), Program: text("program"), Input: text("input"),
			RateHz:     rapid.IntRange(0, 192000).Draw(rt, "rate"),
			Clock:      Clock{PPM: drawnNumber.Draw(rt, "ppm"), SigmaPPM: drawnNumber.Draw(rt, "sigma"), By: text("by")},
			Instrument: text("instrument"), Identity: text("identity"), Tuning: text("tuning"), Reference: text("reference"),
			Plan: text("plan"), Note: text("note"), Data: text("data"),
		}
		if rapid.Bool().Draw(rt, "has ended") {
			s.Ended = time.UnixMilli(ms.Draw(rt, "ended"))
		}
		for i := range rapid.IntRange(0, 3).Draw(rt, "strings") {
			s.Strings = append(s.Strings, String{Number: i + 1, Label: text("label"), TargetHz: drawnNumber.Draw(rt, "hz"), Material: text("material")})
		}
		s = s.sanitized()
		got, err := writer.append(nil, &s)
		if err != nil {
			rt.Fatal(err)
		}
		if want := written(rt, lineOfSession(&s)); string(got) != want {
			rt.Fatalf("written\n%swant\n%s", got, want)
		}
		var line, slow sessionLine
		if scan.session(bytes.TrimSpace(got), &line) {
			scanned++
			if err := json.Unmarshal(got, &slow); err != nil {
				rt.Fatal(err)
			}
			if a, b := line.session(), slow.session(); !reflect.DeepEqual(a, b) {
				rt.Fatalf("%s is read as\n%+v, want\n%+v", got, a, b)
			}
		}
	})
	if !testing.Short() && scanned < 10 { // of a hundred, half of them plain; rapid draws a fifth as many where it is short
		t.Errorf("%d lines were scanned", scanned)
	}
}

// TestReadingsAreWrittenAsJSON holds the line writer against encoding/json, and the line scanner against
// both.
func TestReadingsAreWrittenAsJSON(t *testing.T) {
	number, text := drawnNumber, drawnText
	rapid.Check(t, func(rt *rapid.T) {
		r := Reading{
			String: rapid.IntRange(0, 99).Draw(rt, "string"), Fret: rapid.Int().Draw(rt, "fret"), Harmonic: rapid.IntRange(0, 12).Draw(rt, "harmonic"),
			File: text.Draw(rt, "file"), Label: text.Draw(rt, "label"), Mark: text.Draw(rt, "mark"),
		}
		for _, x := range r.numbers() {
			*x = number.Draw(rt, "number")
		}
		r = r.sanitized()
		uid, seq := text.Draw(rt, "uid"), rapid.IntRange(1, 1e9).Draw(rt, "seq")
		got := appendReading(nil, uid, seq, &r)
		if want := written(rt, lineOfReading(uid, seq, &r)); string(got) != want {
			rt.Fatalf("written\n%swant\n%s", got, want)
		}
		var scan lineScanner
		var line, slow readingLine
		if scan.reading(bytes.TrimSpace(got), &line) {
			slow = unknownReading
			if err := json.Unmarshal(got, &slow); err != nil {
				rt.Fatal(err)
			}
			a, b := line.reading(), slow.reading()
			if string(appendReading(nil, line.Session, line.Seq, &a)) != string(appendReading(nil, slow.Session, slow.Seq, &b)) {
				rt.Fatalf("%s is read as %+v, want %+v", got, line, slow)
			}
		}
	})
}

// TestPlainLinesAreScanned: the usual line is not left to encoding/json, and a crooked one never scanned.
func TestPlainLinesAreScanned(t *testing.T) {
	r := Reading{TimeS: 1.5, String: 1, Label: "A4", F1Hz: 440.25, SigmaCents: Unknown, Cents: -1}
	line := bytes.TrimSpace(appendReading(nil, "abc", 7, &r))
	var scan lineScanner
	var l readingLine
	if !scan.reading(line, &l) || l.Session != "abc" || l.Seq != 7 || l.F1Hz != 440.25 || l.Cents != -1 || !math.IsNaN(float64(l.SigmaCents)) {
		t.Errorf("%s is read as %+v", line, l)
	}
	for _, crooked := range []string{
		`{"type":"reading","seq":01}`, `{"type":"reading","seq":1.5}`, `{"type":"reading","seq":"1"}`, `{"type":"reading","f1_hz":+1}`,
		`{"type":"reading","f1_hz":0x10}`, `{"type":"reading","f1_hz":1_0}`, `{"type":"reading","f1_hz":.5}`, `{"type":"reading","f1_hz":5.}`,
		`{"type":"reading","f1_hz":Inf}`, `{"type":"reading","f1_hz":}`, `{"type":"reading","label":"\u0041"}`, `{"type":"reading","more":1}`,
		`{"type":"reading","seq":1`, `{"type":"reading","seq":1}}`, `{"type":"reading","seq":1,}`, `{"type":"reading",}`, `{"type":"reading"}`,
	} {
		if scan.reading([]byte(crooked), &l) {
			t.Errorf("%s was scanned", crooked)
		}
	}
}

// TestPlainSessionsAreScanned: as TestPlainLinesAreScanned.
func TestPlainSessionsAreScanned(t *testing.T) {
	s := Session{UID: "abc", Kind: "listen", Started: time.UnixMilli(1.7e12), Clock: Clock{PPM: -1.5, By: "tone"}, Note: "new, wound [1]\n\"settling\"", Data: `{"a":"\\"}`,
		Strings: []String{{Number: 1, Label: "B♭3 [1]", TargetHz: 233.25, GaugeMM: 0.33, Material: "steel"}}}.sanitized()
	var writer sessionWriter
	line, err := writer.append(nil, &s)
	if err != nil {
		t.Fatal(err)
	}
	line = bytes.TrimSpace(line)
	var scan lineScanner
	for range 2 { // the second time the strings are known
		var l sessionLine
		if !scan.session(line, &l) || !reflect.DeepEqual(l.session(), s) {
			t.Errorf("%s is read as %+v", line, l)
		}
	}
	for _, crooked := range []string{
		`{"type":"session","uid":"a","strings":[{"number":1},]}`, `{"type":"session","strings":[[]]}`, `{"type":"session","strings":[{"label":"\u0041"}]}`,
		`{"type":"session","strings":{}}`, `{"type":"session","strings":[`, `{"type":"session","strings":[{"label":"]}`, `{"type":"session","started":"noon"}`,
		`{"type":"session","ended":nul}`, `{"type":"session","clock":{"ppm":null}}`, `{"type":"session","clock":{"ppm":1}`, `{"type":"session","clock":1}`,
		`{"type":"session","uid":"a","more":1}`, `{"type":"session","uid":"\ud800"}`, `{"type":"session","note":"\x"}`, `{"type":"session","note":"a\`, "{\"type\":\"session\",\"note\":\"\\n\n\"}", "{\"type\":\"session\",\"uid\":\"\xff\"}", `{"type":"session"}`,
		"{\"type\":\"session\",\"uid\":\"\n\"}",
	} {
		var l sessionLine
		if scan.session([]byte(crooked), &l) {
			t.Errorf("%s was scanned", crooked)
		}
	}
}

// TestBatchesTellDamage flips every bit of a written batch in turn.
func TestBatchesTellDamage(t *testing.T) {
	b := Batch{3, []Reading{{Label: "A4", F1Hz: 440, B: Unknown}, {File: "x.wav", String: 2, F1Hz: math.Copysign(0, 1)}}}
	data := AppendBatch(nil, "abc", b)
	var reader BatchReader
	uid, back, _, err := reader.Read(data, nil)
	if err != nil || uid != "abc" || back.First != 3 || len(back.Readings) != 2 || back.Readings[0].Label != "A4" || !math.IsNaN(back.Readings[0].B) {
		t.Fatalf("%q, %+v, %v", uid, back, err)
	}
	if CountOf(data) != 2 || SizeOf(append(data, "more"...)) != len(data) || SizeOf(data[:len(data)-1]) != 0 {
		t.Errorf("count %d, size %d of %d", CountOf(data), SizeOf(data), len(data))
	}
	for bit := range 8 * len(data) {
		data[bit/8] ^= 1 << (bit % 8)
		if _, _, _, err := reader.Read(data, nil); err == nil {
			t.Errorf("bit %d was flipped, and nobody noticed", bit)
		}
		data[bit/8] ^= 1 << (bit % 8)
	}
}

// FuzzBatch: whatever a file holds, reading it ends with readings or an error.
func FuzzBatch(f *testing.F) {
	f.Add(AppendBatch(nil, "abc", Batch{1, []Reading{{Label: "A4"}}}))
	f.Fuzz(func(t *testing.T, data []byte) {
		if SizeOf(append([]byte(BatchMark), data...)) > 0 {
			var reader BatchReader
			_, _, _, _ = reader.Read(data, nil)
		}
	})
}
