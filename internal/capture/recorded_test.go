package capture

import (
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// TestRecordedAt has files that say when they were made, and some that do not. FLAC files are made by the
// reference encoder, where it is installed.
func TestRecordedAt(t *testing.T) {
	chunk := func(id string, body []byte) []byte {
		b := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(body)))
		b = append(b, body...)
		return append(b, make([]byte, len(body)%2)...)
	}
	file := func(chunks ...[]byte) string {
		body := []byte("WAVE")
		for _, c := range chunks {
			body = append(body, c...)
		}
		return writeFile(t, "x.wav", append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...))
	}
	bext := make([]byte, 602)
	copy(bext[320:], "2024-03-0109:15:30")
	empty := make([]byte, 602)
	icrd := chunk("LIST", append([]byte("INFO"), append(chunk("INAM", []byte("odd")), chunk("ICRD", []byte("2023-12-24\x00"))...)...))
	sound := chunk("data", make([]byte, 4801))
	changed := time.Date(2022, 5, 6, 7, 8, 9, 0, time.Local)
	second, day := time.Date(2024, 3, 1, 9, 15, 30, 0, time.Local), time.Date(2023, 12, 24, 0, 0, 0, 0, time.Local)
	cases := map[string]struct {
		path string
		want time.Time
	}{
		"bext":               {file(chunk("bext", bext), sound), second},
		"bext after":         {file(sound, icrd, chunk("bext", bext)), second},
		"list":               {file(icrd, sound), day},
		"list after":         {file(sound, icrd), day},
		"empty bext":         {file(chunk("bext", empty), sound), changed},
		"year alone":         {file(chunk("LIST", append([]byte("INFO"), chunk("ICRD", []byte("2024"))...)), sound), changed},
		"nothing":            {file(sound), changed},
		"cut":                {file(chunk("bext", bext)[:100]), changed},
		"no recording":       {writeFile(t, "x.txt", []byte("text")), changed},
		"list of great size": {file(append([]byte("LIST"), 0xff, 0xff, 0xff, 0xff)), changed},
	}
	if encoder, err := exec.LookPath("flac"); err == nil {
		w := wavFile{tag: 1, channels: 1, rate: 44100, bits: 16, data: make([]byte, 2*44100)}
		out := filepath.Join(t.TempDir(), "x.flac")
		if b, err := exec.Command(encoder, "-s", "-T", "DATE=2023-12-24", "-o", out, writeFile(t, "y.wav", w.bytes())).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, b)
		}
		cases["flac"] = struct {
			path string
			want time.Time
		}{out, day}
	}
	for name, c := range cases {
		if err := os.Chtimes(c.path, changed, changed); err != nil {
			t.Fatal(err)
		}
		if at, ok := RecordedAt(c.path); !ok || !at.Equal(c.want) {
			t.Errorf("%s: %v, %v; want %v", name, at, ok, c.want)
		}
	}
	if _, ok := RecordedAt(filepath.Join(t.TempDir(), "none")); ok {
		t.Error("a file that is not there has a time")
	}
}
