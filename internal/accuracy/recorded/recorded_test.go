package recorded

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

const header = "file,instrument,class,attack_s,end_s,coarse_hz,ref_f1_hz,ref_sigma_cents,flags\n"

// folder writes a folder of two synthetic clips: a string of 196 Hz, and noise called a string.
func folder(t *testing.T) string {
	t.Helper()
	const rate, seconds = 48000, 1.5
	dir := t.TempDir()
	tone := make([]float64, int(seconds*rate))
	hiss := make([]float64, len(tone))
	rng := seeded(Clip{Path: "hiss"})
	for i := range tone {
		at := float64(i)/rate - 0.1
		hiss[i] = 0.1 * rng.NormFloat64()
		tone[i] = 1e-5 * rng.NormFloat64()
		for k := 1.0; k <= 12 && at > 0; k++ {
			tone[i] += 0.2 / k * math.Exp(-2*at) * math.Sin(2*math.Pi*196*k*at)
		}
	}
	for name, samples := range map[string][]float64{"tone.wav": tone, "hiss.wav": hiss} {
		var wav bytes.Buffer
		if err := sound.WriteWAV(&wav, samples, rate, sound.Float32); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, name), wav.String())
	}
	write(t, filepath.Join(dir, ManifestName), header+
		"tone.wav,string,plucked,0.1,1.5,196.5,196.0,0.01,\n"+
		"hiss.wav,hiss,plucked,0.1,1.5,300,,,noise\n")
	return dir
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestRun(t *testing.T) {
	clips, err := ReadManifest(folder(t))
	if err != nil {
		t.Fatal(err)
	}
	outcomes, err := Run(context.Background(), clips, []Variant{Clean})
	if err != nil {
		t.Fatal(err)
	}
	tone, hiss := &outcomes[0], &outcomes[1]
	if off, sigma, ok := tone.ErrorCents(); !ok || math.Abs(off) > 4*sigma || sigma > 0.1 {
		t.Errorf("a tone of 196 Hz: %+.3f cents, σ %.3f, read %v", off, sigma, ok)
	}
	if _, verdict := hiss.Main(); verdict != Missing || hiss.Right+hiss.Wrong > 0 || !math.IsInf(hiss.FirstS, 1) {
		t.Errorf("noise: verdict %v, %d right and %d wrong frames, first at %g s", verdict, hiss.Right, hiss.Wrong, hiss.FirstS)
	}
	s := Report(outcomes).Summaries()[0]
	if s.Clips != 2 || s.Missing != 1 || s.NeverRead != 1 || s.Misread != 0 || s.Compared != 1 {
		t.Errorf("summary %+v", s)
	}
	var text bytes.Buffer
	if err := Report(outcomes).WriteMarkdown(&text); err != nil || !strings.Contains(text.String(), "- hiss.wav (hiss, 300.0 Hz): no note; never read live\n") {
		t.Errorf("%v\n%s", err, &text)
	}
}

// TestVerdicts judges notes by hand: which of several is the main one, and from where on it is another.
func TestVerdicts(t *testing.T) {
	clip := Clip{Onset: 0.1, End: 2.1, NominalHz: 440}
	for _, c := range []struct {
		name  string
		notes []Note
		want  Verdict
		split bool
	}{
		{"none", nil, Missing, false},
		{"after the sound", []Note{{Hz: 440, FromS: 2.2, ToS: 3}}, Missing, false},
		{"right", []Note{{Hz: 441, FromS: 0.1, ToS: 2}}, Read, false},
		{"octave", []Note{{Hz: 220, FromS: 0.1, ToS: 2}}, Misread, false},
		{"49 cents", []Note{{Hz: 440 * math.Exp2(49.0/1200), FromS: 0.1, ToS: 2}}, Read, false},
		{"51 cents", []Note{{Hz: 440 * math.Exp2(51.0/1200), FromS: 0.1, ToS: 2}}, Misread, false},
		{"short wrong one first", []Note{{Hz: 220, FromS: 0.1, ToS: 0.3}, {Hz: 440, FromS: 0.3, ToS: 2}}, Read, true},
	} {
		o := Outcome{Clip: clip, Notes: c.notes}
		if _, got := o.Main(); got != c.want || o.Split() != c.split {
			t.Errorf("%s: verdict %v, split %v", c.name, got, o.Split())
		}
	}
}

// TestVariants checks what each way of spoiling does to a sine whose power is known.
func TestVariants(t *testing.T) {
	testkit.NeedTool(t, "sox", "sox")
	testkit.NeedTool(t, "espeak-ng", "espeak-ng")
	dir := folder(t)
	clips, err := ReadManifest(dir)
	if err != nil {
		t.Fatal(err)
	}
	const rate = 48000
	c := Clip{Path: "sine", Onset: 0, End: 1, NominalHz: 1000}
	sine := Sound{rate, make([]float64, rate)}
	for i := range sine.Samples {
		sine.Samples[i] = 0.5 * math.Sin(2*math.Pi*1000*float64(i)/rate)
	}
	// What is left after the sine is taken out, dB re the sine; the rate; what the sine lost, dB.
	wants := map[string]struct {
		rest, restWithin float64
		rate             int
	}{
		"noise 20 dB": {-20, 0.3, rate}, "noise 10 dB": {-10, 0.3, rate}, "hum -20 dB": {-20, 0.3, rate},
		"speech -15 dB":       {-15, 6, rate}, // a pause or a loud word may fall into the second
		"other string -20 dB": {-20, 3, rate},
		"clipped 12 dB":       {-10, 4, rate}, "300-3400 Hz": {-60, 30, rate}, "lossy": {-40, 25, rate},
		"8 kHz": {-60, 30, 8000}, "96 kHz": {-60, 30, 96000}, "8 bit": {-45, 8, rate},
		"offset 0.3": {-7.4, 0.2, rate}, // 0.3·0.5 against 0.5/√2
	}
	for _, v := range Variants(clips) {
		if v.Name == "-50 dB" || v.Name == "room 0.6 s" { // TestLevelAndRoom
			continue
		}
		want, known := wants[v.Name]
		if !known {
			t.Errorf("%s: nothing is expected of it", v.Name)
			continue
		}
		got, err := v.disturb(context.Background(), c, sine)
		if err != nil {
			t.Errorf("%s: %v", v.Name, err)
			continue
		}
		if rest := restDB(got); got.Rate != want.rate || math.Abs(rest-want.rest) > want.restWithin {
			t.Errorf("%s: %d Hz, %.1f dB beside the sine; want %d Hz, %.1f ± %.1f dB", v.Name, got.Rate, rest, want.rate, want.rest, want.restWithin)
		}
	}
}

func TestLevelAndRoom(t *testing.T) {
	click := Sound{48000, make([]float64, 48000)}
	click.Samples[0] = 0.5
	quiet, err := quieter(context.Background(), Clip{}, click)
	if err != nil || math.Abs(20*math.Log10(peak(quiet.Samples))+50) > 1e-9 {
		t.Errorf("peak %g, %v, want -50 dB re full scale", peak(quiet.Samples), err)
	}
	wet, err := room(context.Background(), Clip{}, click)
	if err != nil {
		t.Fatal(err)
	}
	power := func(from, to float64) (sum float64) {
		for _, x := range wet.Samples[max(1, int(from*48000)):int(to*48000)] {
			sum += x * x
		}
		return sum / (0.5 * 0.5)
	}
	// A quarter of the click's energy in all; the second half of the fall, 30 dB on, has a thousandth of it.
	if all, late := power(0, 1), power(0.3, 1); math.Abs(10*math.Log10(all)+6) > 0.5 || math.Abs(10*math.Log10(late/all)+30) > 2 {
		t.Errorf("tail of %.2f dB, its second half %.2f dB below, want -6 and -30", 10*math.Log10(all), 10*math.Log10(late/all))
	}
}

// restDB fits a sine of 1000 Hz to the sound and returns the level of all else, dB re that sine.
func restDB(s Sound) float64 {
	var a, b, total float64
	for i, x := range s.Samples {
		sin, cos := math.Sincos(2 * math.Pi * 1000 * float64(i) / float64(s.Rate))
		a, b, total = a+x*sin, b+x*cos, total+x*x
	}
	n := float64(len(s.Samples))
	sine := 2 * (a*a + b*b) / n
	return 10 * math.Log10(max(total-sine, 1e-12*sine)/sine)
}

func TestManifestErrors(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":       {"", "manifest.csv: EOF"},
		"no column":   {"file,class\n", `no column "instrument"`},
		"no rows":     {header, "no clips"},
		"no number":   {header + "a.wav,x,plucked,zero,1,440,,,\n", `manifest.csv:2: attack_s: "zero" is no number`},
		"infinite":    {header + "a.wav,x,plucked,0,1,Inf,,,\n", `coarse_hz: "Inf" is no number`},
		"no pitch":    {header + "a.wav,x,plucked,0,1,0,,,\n", "not above 0 Hz"},
		"no length":   {header + "a.wav,x,plucked,1,1,440,,,\n", "an end before the onset"},
		"short row":   {header + "a.wav,x\n", "wrong number of fields"},
		"half a ref.": {header + "a.wav,x,plucked,0,1,440,441,,\n", `ref_sigma_cents: "" is no number`},
	} {
		dir := t.TempDir()
		write(t, filepath.Join(dir, ManifestName), c.text)
		if _, err := ReadManifest(dir); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", name, err, c.want)
		}
	}
}
