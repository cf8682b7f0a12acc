package engine

import (
	"testing"

	"tunerd/internal/display"
)

// A frame that nobody saw leaves its news to the one that replaces it.
func TestReplacedFrameHandsOnItsNews(t *testing.T) {
	m := newMailbox(true)
	ctx := t.Context()
	m.put(ctx, &display.Frame{TimeS: 1, NewOnset: true, AfterGap: true, Message: "sound lost", Beat: display.Beat{Fresh: true, BeatHz: 2}})
	m.put(ctx, &display.Frame{TimeS: 2})
	m.put(ctx, &display.Frame{TimeS: 3, Bands: []display.Band{{Partial: 1}}})
	m.close()
	var got display.Frame
	if !m.take(ctx, &got) {
		t.Fatal("no frame")
	}
	if got.TimeS != 3 || !got.NewOnset || !got.AfterGap || got.Message != "sound lost" || got.Beat.BeatHz != 2 || len(got.Bands) != 1 {
		t.Errorf("got %+v, want the latest frame with the news of the first", got)
	}
	if m.take(ctx, &got) {
		t.Error("a second frame came out of a closed mailbox")
	}
}

func TestFetchedFrameKeepsItsNewsToItself(t *testing.T) {
	m := newMailbox(true)
	ctx := t.Context()
	var got display.Frame
	m.put(ctx, &display.Frame{TimeS: 1, NewOnset: true})
	m.take(ctx, &got)
	m.put(ctx, &display.Frame{TimeS: 2})
	if m.take(ctx, &got); got.NewOnset {
		t.Error("the onset was told twice")
	}
}
