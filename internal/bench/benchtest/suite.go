// Package benchtest asks a bench everything that the API description lists, good, bad and hostile, and follows it. It
// speaks only Ask and Follow, so that a bench is asked the same directly and by whatever carries requests to it.
package benchtest

import (
	"strings"
	"testing"

	"tunerd/internal/bench"
)

// Connect returns a way to a bench that stays until the test ends.
type Connect func(*testing.T, *bench.Bench, *bench.Tuner) Client

// shell are the requests that are none for a bench: they are about what carries them.
var shell = map[string]bool{"GET /api/openapi.json": true, "DELETE /api/access": true}

// Run runs the suite.
func Run(t *testing.T, connect Connect) {
	w := &workshop{connect: connect, answered: map[string]bool{}}
	all := []struct {
		name string
		test func(*testing.T, *workshop)
	}{
		{"Session", testSession},
		{"PatchOfInstrument", testPatchOfInstrument},
		{"PlanMovesTargets", testPlanMovesTargets},
		{"AllStrings", testAllStrings},
		{"SettingsChangeWhileSounding", testSettingsChangeWhileSounding},
		{"ConfirmTheHeldString", testConfirmTheHeldString},
		{"ClearForgetsReadings", testClearForgetsReadings},
		{"Refusals", testRefusals},
		{"RefusalsHaveCodes", testRefusalsHaveCodes},
		{"Instruments", testInstruments},
		{"Board", testBoard},
		{"FretsAreLaidAnewIfAsked", testFretsAreLaidAnewIfAsked},
		{"Shapes", testShapes},
		{"Tunings", testTunings},
		{"Comparisons", testComparisons},
		{"Detune", testDetune},
		{"DetuneRefusesWhatStartsFarOff", testDetuneRefusesWhatStartsFarOff},
		{"DetuneRefusesNoLessThanTheSession", testDetuneRefusesNoLessThanTheSession},
		{"Beats", testBeats},
		{"PlanInForce", testPlanInForce},
		{"BoundsAreThoseOfTheRequests", testBoundsAreThoseOfTheRequests},
		{"Coupling", testCoupling},
		{"TargetsAboveTheirOwnPitchAreCautioned", testTargetsAboveTheirOwnPitchAreCautioned},
		{"TargetsBeyondTheLimitAreRefused", testTargetsBeyondTheLimitAreRefused},
		{"GuidedCheck", testGuidedCheck},
		{"CheckObeys", testCheckObeys},
		{"CheckIsRefused", testCheckIsRefused},
		{"InstrumentIsNotChangedUnderACheck", testInstrumentIsNotChangedUnderACheck},
		{"Journal", testJournal},
		{"NoJournal", testNoJournal},
		{"ReadingsAreKeptByChoice", testReadingsAreKeptByChoice},
		{"FollowBegins", testFollowBegins},
		{"IDsRise", testIDsRise},
		{"FollowersSeeTheSame", testFollowersSeeTheSame},
		{"FollowersAreLimited", testFollowersAreLimited},
		{"SlowFollowerHasTheNewest", testSlowFollowerHasTheNewest},
		{"SettingsCross", testSettingsCross},
		{"LostInputIsTold", testLostInputIsTold},
		{"AliveWithoutInput", testAliveWithoutInput},
		{"HostileQueries", testHostileQueries},
		{"HostileBodies", testHostileBodies},
		{"HostilePaths", testHostilePaths},
	}
	ran := 0
	for _, c := range all {
		t.Run(c.name, func(t *testing.T) {
			ran++
			c.test(t, w)
		})
	}
	if t.Failed() || ran < len(all) { // a part was asked for
		return
	}
	for path, methods := range readDescription(t).Paths {
		for method := range methods {
			if name := strings.ToUpper(method) + " " + path; !w.answered[name] && !shell[name] {
				t.Errorf("%s is described, and nobody has asked for it", name)
			}
		}
	}
}
