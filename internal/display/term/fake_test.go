package term

import (
	"math"

	"tunerd/internal/display"
)

// All figures here are invented; they only have to agree with each other.

// fakeFrame is a plucked string 5 of a six-string instrument, cents off its target A2, t seconds
// after the phase of all partials was 0.
func fakeFrame(cents, t float64) display.Frame {
	f := display.Frame{
		TimeS: 100 + t, State: display.Sounding,
		Input: "bench microphone", Tuning: "19edo", Instrument: "six strings", Reference: "A4=440 Hz",
		SigmaCents: 0.021, AttackF1Hz: 110.31, Partial1Hz: 109.95, Inharmonicity: 0.000121,
		SNRdB: 41, LevelDB: -23,
		Target: display.Target{Label: "A2", Hz: 110, Step: -38, String: 5},
		Cents:  cents, Verdict: "in tune",
	}
	f.F1Hz = f.Target.Hz * math.Exp2(cents/1200)
	f.BeatHz = f.F1Hz - f.Target.Hz
	switch {
	case cents > 0.5:
		f.Verdict = "sharp"
	case cents < -0.5:
		f.Verdict = "flat"
	}
	for i, k := range []int{1, 2, 3, 4, 5, 7} {
		drift := f.BeatHz * float64(k)
		f.Bands = append(f.Bands, display.Band{
			Partial: k, DriftHz: drift, PhaseTurns: drift*t - math.Floor(drift*t),
			LevelDB: -20 - 7*float64(i), Clear: k != 7,
		})
	}
	f.Strings = fakeStrings("E4", "B3", "G3", "D3", "A2", "E2")
	f.Strings[4].Active = true
	return f
}

// fakeStrings has a row for each label; all but the first two have been read.
func fakeStrings(labels ...string) []display.StringRow {
	var rows []display.StringRow
	for i, label := range labels {
		rows = append(rows, display.StringRow{
			Number: i + 1, Label: label, TargetHz: 330 - 40*float64(i), Read: i > 1,
			Cents: 0.7*float64(i) - 1.4, Sigma: 0.1, AtS: 100 - math.Exp2(2*float64(i)),
		})
	}
	return rows
}

// fakeChord is a strum of six strings, one of which is silent and one hidden.
func fakeChord() display.Frame {
	f := fakeFrame(0, 0.3)
	f.AllStrings, f.WindowS, f.Bands = true, 1, nil
	f.Strings = fakeStrings("E4", "B3", "G3", "D3", "A2", "E2")
	cents := []float64{0.12, -3.4, 0, 18.2, 0, -41}
	for i := range f.Strings {
		row := &f.Strings[i]
		row.Active, row.Read, row.Cents, row.AtS = true, true, cents[i], f.TimeS
		switch {
		case row.Cents > 0.5:
			row.Verdict = "sharp"
		case row.Cents < -0.5:
			row.Verdict = "flat"
		default:
			row.Verdict = "in tune"
		}
	}
	f.Strings[2] = display.StringRow{Number: 3, Label: "G3", Verdict: "silent"}
	f.Strings[4] = display.StringRow{Number: 5, Label: "A2", Verdict: "hidden", Hidden: true}
	f.Strings[5].Sigma = 6
	return f
}

// fakeCoupled has advice for strings that pull on each other: string 5 is the next.
func fakeCoupled(f display.Frame) display.Frame {
	f.Pass = display.Pass{Number: 4, Phase: "turn", Next: 5, Left: 4,
		Words: "tune string 5 (A2) to +11.8 cents now; after this pass all strings should be within 1 cent"}
	for i, cents := range []float64{8.4, -2.1, 0, -31.5, 11.8, 0.4} {
		row := &f.Strings[i]
		row.Now = display.Now{Hz: row.TargetHz * math.Exp2(cents/1200), Cents: cents}
		row.Turn, row.ForecastCents, row.ForecastSigma = []int{2, 3, 0, 4, 1, 0}[i], 0.1, 0.4
	}
	if !f.AllStrings {
		f.Now = f.Strings[4].Now
		f.Now.Hz = f.Target.Hz * math.Exp2(f.Now.Cents/1200)
		f.NowOff, f.NowBeatHz, f.NowVerdict = f.Cents-f.Now.Cents, f.F1Hz-f.Now.Hz, "flat"
		compareWithNow(&f)
	}
	return f
}

// fakeDoubt is A2 that sounds while E4 is held.
func fakeDoubt() display.Frame {
	f := fakeFrame(0, 0.3)
	f.Target = display.Target{Label: "E4", Hz: 329.63, Step: -9, String: 1}
	f.Cents, f.Verdict, f.Standing = -1897.3, "other string", display.Doubted
	f.Seems, f.SeemsCents = display.Target{Label: "A2", Hz: 110, String: 5}, 2.7
	f.Bands = nil
	f.Strings[4].Active, f.Strings[0].Held = false, true
	return f
}

// fakePair is a fifth that is narrow by 2 cents, of which only the upper string is heard apart.
func fakePair() display.Frame {
	f := fakeFrame(0, 0.3)
	f.State, f.Bands, f.Target = display.Several, nil, display.Target{}
	f.Pair = display.Pair{Lower: "A2", Upper: "E3"}
	f.Beat = display.Beat{
		Fresh: true, Lower: "A2", Upper: "E3", Ratio: "3/2", NearHz: 330, BeatHz: 0.381, SigmaHz: 0.004,
		Cents: -2, CentsSigma: 0.021, Side: "narrow", Turn: "E3 up", LowerCents: math.NaN(), UpperCents: -3.9,
	}
	return f
}

// pairScene shows a pair, and what was measured of it last.
func pairScene(f display.Frame) *scene {
	s := fakeScene(f)
	s.beat = f.Beat
	return s
}

// fakeScene shows a frame fresh from the tuner.
func fakeScene(f display.Frame) *scene {
	return &scene{frame: f, shutter: frameTime.Seconds()}
}

// afterDeath is a scene some time after the string of f has died away.
func afterDeath(f display.Frame, state display.State) *scene {
	s := fakeScene(f)
	s.last, s.heard = f, true
	s.frame.State, s.frame.Bands = state, nil
	s.frame.TimeS += 12
	s.frame.LevelDB = -71
	return s
}
