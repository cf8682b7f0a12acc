package evidence

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"tunerd/internal/accuracy/recorded"
)

// Clips of testdata/wav/wide that are not read as they should be, and why. README names them among the limits. An entry
// that is no longer needed fails the test.
var (
	// wideUnread are those of which a whole recording shows no note, or that are never read live.
	wideUnread = map[string]string{
		"egtr-btb-C4.flac": "plucked behind the bridge: other strings ring louder than the note",
		"oldpiano-G7.flac": "three strings of a worn piano beat, over the knock of the key",
		"choir-ah-C3.flac": "many voices: only their period is heard, and that must last",
	}
	// wideMisread are those that are told as another note, or as several.
	wideMisread = map[string]string{
		"egtr-btb-C4.flac":         "another string is read",
		"egtr-stac-black-As4.flac": "what rings on after the stopped note is read",
		"ebass-round-A1-f.flac":    "the string buzzes on a fret: an onset",
		"choir-ah-C5.flac":         "the voices beat: onsets",
	}
	// wideLate are those first read later than lateS after the onset.
	wideLate = map[string]string{
		"dbass2-arco-Fs2-vl5.flac": "too much sounds beside it at first",
		"dbass2-arco-A4-vl1.flac":  "not looked into yet",
		"banjo-B2.flac":            "not looked into yet",
		"dbass-pizz-C1-pb.flac":    "a low note whose lowest partials are not heard",
		"dbass-pizz-Ds1-fa.flac":   "the same, over a thump",
		"choir-ah-Ds3.flac":        "many voices: only their period is heard, and that must last",
		"choir-ah-Ds4.flac":        "the same",
		"bagpipe-A3.flac":          "too much sounds beside it at first",
		"tj-violin-E5.flac":        "not looked into yet",
		"tj-violin-C7.flac":        "not looked into yet",
	}
	// wideFlickering are those of which less than steadyPart of the live readings, from 0.15 s on, are right.
	wideFlickering = map[string]string{
		"fviolin-D7.flac":       "a vibrato of half a semitone either way",
		"abass-Fs3.flac":        "not looked into yet",
		"banjo-B2.flac":         "read late",
		"tj-violin-C7.flac":     "read late",
		"ebass-round-A1-f.flac": "a fret buzz is taken for an onset",
		"egrand-Cs7-PP.flac":    "what is left of it is fainter than the rest of the sound",
		"choir-ah-Ds3.flac":     "read late",
		"choir-ah-Ds4.flac":     "read late",
		"choir-ah-C5.flac":      "the voices beat: onsets",
		"choir-ah-Ds5.flac":     "the same",
		"tj-violin-E5.flac":     "read late",
		"banjo-Fs3-7.flac":      "not looked into yet",
	}
	// wideMisled are those of which more than misledPart of the live readings, from 0.15 s on, are of another pitch.
	wideMisled = map[string]string{
		"fviolin-D5.flac":   "a vibrato of a quarter of a tone, of which a reading may be an end",
		"fviolin-D7.flac":   "the same",
		"tj-violin-G6.flac": "the same",
		"egtr-btb-C4.flac":  "another string is read",
	}
	// wideOff are those further from their reference than wideCents and σ allow.
	wideOff = map[string]string{
		"classical-G1.flac": "its partials 2 and 4 lie 1 to 2 cents below the law of the others; which are right is not known",
		"oldpiano-D5.flac":  "three strings of a worn piano, that beat",
		"ukulele-D6-1.flac": "not looked into yet",
	}
)

const (
	lateS      = 0.25 // s after the onset: twice what a tenth of all clips may take
	steadyPart = 0.9
	misledPart = 0.02
	wideCents  = 1.0 // c, or three standard uncertainties of the difference if that is more
	worstCents = 5.0 // c, that no σ excuses
	wideSigma  = 0.5 // c, that half of the σ may exceed: a worse one covers more
)

// TestWideRecordings reads recordings of many instruments, none of them cut for a tuner, whole and live.
func TestWideRecordings(t *testing.T) {
	clips, err := recorded.ReadManifest(filepath.Join(wavDir, "wide"))
	if err != nil {
		t.Fatal(err)
	}
	outcomes, err := recorded.Run(context.Background(), clips, []recorded.Variant{recorded.Clean})
	if err != nil {
		t.Fatal(err)
	}
	var sigmas []float64
	covered := 0
	for i := range outcomes {
		o := &outcomes[i]
		if o.Err != nil {
			t.Fatal(o.Err)
		}
		if o.Clip.Class == "bell" {
			continue
		}
		file := o.Clip.File()
		note, verdict := o.Main()
		part := func(n int) float64 { return float64(n) / float64(max(1, o.Frames)) }
		never := math.IsInf(o.FirstS, 1)
		expect(t, "unread", wideUnread, file, verdict == recorded.Missing || never)
		expect(t, "misread", wideMisread, file, verdict == recorded.Misread || o.Split())
		expect(t, "late", wideLate, file, !never && o.FirstS > lateS)
		expect(t, "flickering", wideFlickering, file, !never && part(o.Right) < steadyPart)
		expect(t, "misled", wideMisled, file, part(o.Wrong) > misledPart)
		off, sigma, ok := o.ErrorCents()
		expect(t, "off", wideOff, file, ok && math.Abs(off) > min(worstCents, max(wideCents, 3*sigma)))
		if ok {
			sigmas = append(sigmas, note.SigmaCents)
			if math.Abs(off) <= 1.96*sigma {
				covered++
			}
		}
	}
	slices.Sort(sigmas)
	share, median := float64(covered)/float64(len(sigmas)), sigmas[len(sigmas)/2]
	t.Logf("%d clips with a reference: ±1.96σ, with the reference's σ, covers %.0f %%; median σ %.2f cents", len(sigmas), 100*share, median)
	// One clip more or less is chance.
	one := 1 / float64(len(sigmas))
	if share < 0.93-one || share > 0.97+one {
		t.Errorf("±1.96σ covers %.1f %%, want 93 to 97", 100*share)
	}
	if median > wideSigma {
		t.Errorf("half of the σ are above %.2f cents, want at most %.2f", median, wideSigma)
	}
}

// expect fails if a clip has a fault that is not listed, or is listed and has it not.
func expect(t *testing.T, what string, listed map[string]string, file string, has bool) {
	t.Helper()
	why, known := listed[file]
	switch {
	case has && !known:
		t.Errorf("%s: %s", file, what)
	case known && !has:
		t.Errorf("%s is no longer %s (%s): take it off the list", file, what, why)
	}
}
