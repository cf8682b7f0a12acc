package mts

import (
	"bytes"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tunerd/internal/targets"
	"tunerd/internal/testkit"
)

// TestMain fixes the seed of the property tests unless one is given, so that a run repeats.
func TestMain(m *testing.M) {
	flag.Parse()
	seed := flag.Lookup("rapid.seed")
	if seed != nil && seed.Value.String() == "0" {
		if err := seed.Value.Set("20741"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	fmt.Println("rapid.seed", seed.Value)
	os.Exit(m.Run())
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func encode(t testing.TB, m Message) []byte {
	t.Helper()
	b, err := Encode(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func tuning(t testing.TB, spec, reference string) *targets.Tuning {
	t.Helper()
	u, err := targets.ParseTuning(spec)
	if err != nil {
		t.Fatal(err)
	}
	r, err := targets.ParseReference(reference)
	if err != nil {
		t.Fatal(err)
	}
	if u, err = u.WithReference(r); err != nil {
		t.Fatal(err)
	}
	return u
}

const middleC = "C4=261.6255653005986"

func TestPublishedFrequencyWords(t *testing.T) {
	published := 0
	for _, r := range testkit.Table(t, "testdata/frequency_words.csv") {
		p := pitchFrom(unhex(t, r["bytes_hex"]))
		if r["hz_exact"] == "" {
			if p != NoChange {
				t.Errorf("%s is not NoChange", r["bytes_hex"])
			}
			continue
		}
		if exact := number(t, r["hz_exact"]); math.Abs(p.Hz()-exact) > 0.51e-6 {
			t.Errorf("%s is %.7f Hz, want %.6f", r["bytes_hex"], p.Hz(), exact)
		}
		if back, ok := PitchOf(HzKey(p.Hz())); back != p || !ok {
			t.Errorf("%s comes back as %06X", r["bytes_hex"], back)
		}
		if !bytes.Equal(p.append(nil), unhex(t, r["bytes_hex"])) {
			t.Errorf("%s is written as % X", r["bytes_hex"], p.append(nil))
		}
		if strings.HasPrefix(r["agrees"], "NO") { // the printed table is wrong there
			continue
		}
		_, decimals, _ := strings.Cut(r["hz_published"], ".")
		if unit := math.Pow10(-len(decimals)); math.Abs(p.Hz()-number(t, r["hz_published"])) > unit {
			t.Errorf("%s is %v Hz, published %s", r["bytes_hex"], p.Hz(), r["hz_published"])
		}
		published++
	}
	if published < 8 {
		t.Errorf("only %d rows had a usable published figure", published)
	}
}

// The layouts of messages.csv.
func TestPublishedLayouts(t *testing.T) {
	keys, err := KeysOf(tuning(t, "12edo", "A4=440"), Layout{Key: AutoKey})
	if err != nil {
		t.Fatal(err)
	}
	dump := encode(t, BulkDump{Device: AllDevices, Bank: NoBank, Name: "12-ET", Keys: keys})
	want := append(unhex(t, "F0 7E 7F 08 01 00"), "12-ET           "...)
	for key := range 128 {
		want = append(want, byte(key), 0, 0)
	}
	if want = append(want, 0x17, 0xf7); !bytes.Equal(dump, want) { // checksum 17, 408 bytes
		t.Errorf("bulk dump is\n% X, want\n% X", dump, want)
	}
	if len(dump) != 408 {
		t.Errorf("bulk dump of %d bytes, want 408", len(dump))
	}
	a, _ := PitchOf(69.5)
	for _, c := range []struct {
		m    Message
		want string
	}{
		{NoteChanges{Device: 0x10, RealTime: true, Bank: NoBank, Program: 5, Changes: []NoteChange{{60, a}, {69, NoChange}}},
			"F0 7F 10 08 02 05 02 3C 45 40 00 45 7F 7F 7F F7"},
		{NoteChanges{Device: 0x10, Bank: 3, Program: 5, Changes: []NoteChange{{60, a}}}, "F0 7E 10 08 07 03 05 01 3C 45 40 00 F7"},
		{NoteChanges{Device: 0x10, RealTime: true, Bank: 3, Program: 5, Changes: []NoteChange{{60, a}}}, "F0 7F 10 08 07 03 05 01 3C 45 40 00 F7"},
		{OctaveTuning{Device: AllDevices, RealTime: true, Channels: AllChannels, Cents: [12]float64{-64, 0, 63}},
			"F0 7F 7F 08 08 03 7F 7F 00 40 7F 40 40 40 40 40 40 40 40 40 F7"},
		{OctaveTuning{Device: AllDevices, Channels: 1 | 1<<15, TwoBytes: true, Cents: [12]float64{-100, 0, 8191.0 / 81.92}},
			"F0 7E 7F 08 09 02 00 01 00 00 40 00 7F 7F 40 00 40 00 40 00 40 00 40 00 40 00 40 00 40 00 40 00 F7"},
	} {
		if got := encode(t, c.m); !bytes.Equal(got, unhex(t, c.want)) {
			t.Errorf("% X, want %s", got, c.want)
		}
	}
	banked := encode(t, BulkDump{Device: AllDevices, Bank: 2, Program: 9, Keys: keys})
	if len(banked) != 409 || !bytes.HasPrefix(banked, unhex(t, "F0 7E 7F 08 04 02 09 20")) {
		t.Errorf("dump with a bank: %d bytes, % X…", len(banked), banked[:8])
	}
	for _, request := range []string{"F0 7E 01 08 00 10 F7", "F0 7E 01 08 03 00 10 F7", "F0 43 12 00 07 01 F7"} {
		if _, err := Decode(unhex(t, request)); !errors.Is(err, ErrOther) {
			t.Errorf("%s: %v, want ErrOther", request, err)
		}
	}
}

// The codes of two temperaments, and what comes back from them.
func TestScaleOctaveExamples(t *testing.T) {
	specs := map[string]string{"Werckmeister III": "werckmeister-3", "quarter-comma meantone (Eb..G#)": "quarter-comma-meantone"}
	place := map[string]int{}
	for i, name := range keyNames {
		place[name] = i
	}
	rows := testkit.Table(t, "testdata/scale_octave.csv")
	for name, spec := range specs {
		cents, err := OctaveOf(tuning(t, spec, middleC), Layout{Key: AutoKey})
		if err != nil {
			t.Fatal(err)
		}
		one := encode(t, OctaveTuning{Device: AllDevices, RealTime: true, Channels: AllChannels, Cents: cents})
		two := encode(t, OctaveTuning{Device: AllDevices, RealTime: true, Channels: AllChannels, TwoBytes: true, Cents: cents})
		checked := 0
		for _, r := range rows {
			if r["temperament"] != name {
				continue
			}
			key := place[r["note"]]
			if math.Abs(cents[key]-number(t, r["offset_cents"])) > 0.51e-6 {
				t.Errorf("%s %s: %.7f cents, want %s", name, r["note"], cents[key], r["offset_cents"])
			}
			if got := one[8+key : 9+key]; !bytes.Equal(got, unhex(t, r["one_byte_hex"])) {
				t.Errorf("%s %s: % X, want %s", name, r["note"], got, r["one_byte_hex"])
			}
			if got := two[8+2*key : 10+2*key]; !bytes.Equal(got, unhex(t, r["two_byte_hex"])) {
				t.Errorf("%s %s: % X, want %s", name, r["note"], got, r["two_byte_hex"])
			}
			checked++
		}
		if checked != 12 {
			t.Errorf("%s: %d keys checked", name, checked)
		}
	}
}

func somePitch() *rapid.Generator[Pitch] {
	return rapid.Map(rapid.Uint32Range(0, uint32(NoChange)), func(n uint32) Pitch { return Pitch(n) })
}

func someMessage() *rapid.Generator[Message] {
	return rapid.Custom(func(t *rapid.T) Message {
		seven := rapid.IntRange(0, 127)
		bank := rapid.IntRange(NoBank, 127).Draw(t, "bank")
		device, program := seven.Draw(t, "device"), seven.Draw(t, "program")
		switch rapid.IntRange(0, 2).Draw(t, "kind") {
		case 0:
			d := BulkDump{Device: device, Bank: bank, Program: program, Name: rapid.StringMatching(`([!-~][ -~]{0,14})?[!-~]`).Draw(t, "name")}
			copy(d.Keys[:], rapid.SliceOfN(somePitch(), 128, 128).Draw(t, "keys"))
			return d
		case 1:
			n := NoteChanges{Device: device, Bank: bank, Program: program, RealTime: bank == NoBank || rapid.Bool().Draw(t, "real")}
			for _, p := range rapid.SliceOfN(somePitch(), 1, 127).Draw(t, "pitches") {
				n.Changes = append(n.Changes, NoteChange{seven.Draw(t, "key"), p})
			}
			return n
		}
		o := OctaveTuning{Device: device, RealTime: rapid.Bool().Draw(t, "real"), TwoBytes: rapid.Bool().Draw(t, "two"),
			Channels: rapid.Uint16().Draw(t, "channels")}
		low, _, step := o.Range()
		codes := 1 << 7
		if o.TwoBytes {
			codes = 1 << 14
		}
		for key := range o.Cents {
			o.Cents[key] = low + step*float64(rapid.IntRange(0, codes-1).Draw(t, "code"))
		}
		return o
	})
}

func TestMessagesThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := someMessage().Draw(t, "message")
		b, err := Encode(m)
		if err != nil {
			t.Fatal(err)
		}
		smf := AppendSMF(nil, append([]Event{{Ticks: rapid.Uint32Range(0, 1<<28-1).Draw(t, "ticks"), Data: b}}, SelectTuning(0, 0, 0)...))
		for _, data := range [][]byte{b, smf, []byte(fmt.Sprintf("% x\n", b))} {
			back, err := ReadMessages(data)
			if err != nil || len(back) != 1 {
				t.Fatalf("%d messages, %v", len(back), err)
			}
			if fmt.Sprintf("%+v", back[0]) != fmt.Sprintf("%+v", m) {
				t.Fatalf("came back as %+v", back[0])
			}
		}
	})
}

// A tuning goes out and comes back by each kind of message.
func TestTuningsThereAndBack(t *testing.T) {
	for _, spec := range []string{"12edo", "41edo", "31edo", "72edo", "39ed3", "werckmeister-3", "harmonics 16..32"} {
		want := tuning(t, spec, "A4=442")
		pitches, err := KeysOf(want, Layout{Key: AutoKey})
		if err != nil {
			t.Fatal(err)
		}
		if slices.Contains(pitches[:], NoChange) {
			t.Fatalf("%s has keys beyond the standard", spec)
		}
		changes := AllNotes(NoteChanges{Device: AllDevices, RealTime: true, Bank: NoBank}, pitches)
		for _, messages := range [][]Message{
			{BulkDump{Bank: NoBank, Keys: pitches}},
			{changes[0], changes[1]},
		} {
			keys := EqualKeys()
			for _, m := range messages {
				keys.Apply(m)
			}
			got, err := keys.Tuning()
			if err != nil {
				t.Errorf("%s: %v", spec, err)
				continue
			}
			_, n := want.Period()
			for step := -n; step <= n; step++ {
				if off := 1200 * math.Log2(got.Note(step).Hz/want.Note(step).Hz); math.Abs(off) > sameCents {
					t.Errorf("%s: step %d is off by %v cents", spec, step, off)
				}
			}
		}
	}
	octave := EqualKeys()
	cents, err := OctaveOf(tuning(t, "vallotti", middleC), Layout{Key: AutoKey})
	if err != nil {
		t.Fatal(err)
	}
	octave.Apply(OctaveTuning{TwoBytes: true, Cents: cents})
	got, err := octave.Tuning()
	if err != nil {
		t.Fatal(err)
	}
	if _, n := got.Period(); n != 12 {
		t.Errorf("vallotti comes back with %d notes", n)
	}
}

func TestLayouts(t *testing.T) {
	u := tuning(t, "41edo", "A4=440")
	nearest, err := KeysOf(u, Layout{Nearest: true})
	if err != nil {
		t.Fatal(err)
	}
	for key, p := range nearest {
		if key == 0 && p == NoChange {
			continue // its nearest note is below the lowest pitch
		}
		if off := math.Abs(p.Key() - float64(key)); off > 6.0/41+1e-4 {
			t.Errorf("key %d plays %v", key, p.Key())
		}
	}
	from60, err := KeysOf(u, Layout{Key: 60})
	if err != nil {
		t.Fatal(err)
	}
	if from60[60].Key() != 69 || math.Abs(from60[61].Key()-69-12.0/41) > 1e-4 {
		t.Errorf("keys 60 and 61 play %v and %v", from60[60].Key(), from60[61].Key())
	}
	wide, err := KeysOf(tuning(t, "4:5:6:7", "A4=440"), Layout{Key: AutoKey})
	if err != nil {
		t.Fatal(err)
	}
	if wide[0] != NoChange || wide[127] != NoChange {
		t.Errorf("keys 0 and 127 lie beyond the standard, got %v and %v", wide[0].Key(), wide[127].Key())
	}
}

func TestErrors(t *testing.T) {
	far, err := OctaveOf(tuning(t, "12edo", "A4=490"), Layout{Key: 69})
	if err != nil {
		t.Fatal(err)
	}
	_, errFar := Encode(OctaveTuning{TwoBytes: true, Cents: far})
	_, errKind := OctaveOf(tuning(t, "13ed3", "A4=440"), Layout{Key: AutoKey})
	_, errCount := OctaveOf(tuning(t, "19edo", "A4=440"), Layout{Key: AutoKey})
	_, errKey := KeysOf(tuning(t, "12edo", "A4=440"), Layout{Key: 128})
	_, errDevice := Encode(BulkDump{Device: 128})
	_, errBank := Encode(NoteChanges{Bank: NoBank, Changes: make([]NoteChange, 1)})
	_, errNone := Encode(NoteChanges{})
	dump := encode(t, BulkDump{Bank: NoBank})
	dump[300] ^= 1
	_, errSum := Decode(dump)
	_, errShort := Decode(unhex(t, "F0 7F 7F 08 02 00 02 3C 45 40 00 F7"))
	_, errOctave := Decode(unhex(t, "F0 7F 7F 08 08 03 7F 7F 40 F7"))
	_, errHigh := Decode(unhex(t, "F0 7F 7F 08 02 00 01 3C 45 80 00 F7"))
	_, errText := ReadMessages([]byte("hello"))
	_, errTorn := ReadMessages(unhex(t, "F0 7F 7F 08"))
	_, errFile := ReadMessages([]byte("MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk\x00\x00\x00\x09\x00"))
	equal := EqualKeys()
	equal[100] = 90
	_, errRepeat := equal.Tuning()
	for want, err := range map[string]error{
		"key C is +186": errFar, "repeats at 2/1": errKind, "this tuning 19": errCount, "key 128": errKey, "device 128": errDevice,
		"need a bank": errBank, "0 changes": errNone, "checksum": errSum, "this message does not": errShort,
		"15 bytes": errOctave, "is 80": errHigh, "hexadecimal": errText, "F0 to F7": errTorn,
		"ends within": errFile, "do not repeat": errRepeat,
	} {
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("error %v, want one line with %q", err, want)
		}
	}
}

func FuzzReadMessages(f *testing.F) {
	f.Add(AppendSMF(nil, []Event{{Data: unhex(f, "F0 7F 10 08 02 05 01 3C 45 40 00 F7")}}))
	f.Add(encode(f, BulkDump{Bank: NoBank}))
	f.Add([]byte("f0 7f 7f 08 08 03 7f 7f 00 40 7f 40 40 40 40 40 40 40 40 40 f7"))
	f.Fuzz(func(t *testing.T, data []byte) {
		messages, err := ReadMessages(data)
		if err != nil {
			return
		}
		keys := EqualKeys()
		for _, m := range messages {
			keys.Apply(m)
			if _, err := Encode(m); err != nil {
				if n, ok := m.(NoteChanges); !ok || len(n.Changes) > 0 {
					t.Errorf("%+v was read and cannot be written: %v", m, err)
				}
			}
		}
		_, _ = keys.Tuning()
	})
}

// A key that lies halfway between two notes plays the lower one in every octave, in any division.
// Whole numbers say where: key k lies n·(k − 69)/12 steps above A4.
func TestNearestKeyTies(t *testing.T) {
	layout, ties := Layout{Nearest: true, Key: AutoKey}, 0
	for n := 5; n <= 120; n++ {
		tuning, err := targets.ParseTuning(fmt.Sprintf("%dedo", n))
		if err != nil {
			t.Fatal(err)
		}
		told := layout.Ties(tuning)
		for key := range 128 {
			twelfths := n * (key - 69)
			// the nearest whole number of steps, half rounded down: ⌈x − ½⌉
			want := int(math.Ceil(float64(2*twelfths-12) / 24))
			tie := ((2*twelfths)%24+24)%24 == 12
			if tie {
				ties++
			}
			if got := layout.step(tuning, key); got != want {
				t.Errorf("%dedo: key %d plays step %d, want %d", n, key, got, want)
			}
			if slices.Contains(told, key) != tie {
				t.Errorf("%dedo: key %d: told %v of a tie", n, key, !tie)
			}
		}
	}
	if ties < 1000 {
		t.Errorf("only %d ties", ties)
	}
}
