// Package bench is what a view of tunerd can ask, without the way it asks: settings, boards, plans, comparison, beats,
// the guided check, the journal, and what the tuner hears.
//
// A [Tuner] runs the engine on one input after another and takes new settings while it runs. A [Bench] answers
// requests about it ([Bench.Ask]) and tells what it hears as it hears it ([Bench.Follow]). internal/server does so
// over HTTP; docs/server.md is the contract, and openapi/openapi.json describes every request.
//
// Nothing here computes a pitch or an interval: the figures are those of engine, targets and fretboard, in the words
// of display/text. Nothing here knows a network, a file or a device. No follower can hold up the audio: the engine
// hands over its latest frame and goes on, and every follower has one place for the newest message of each kind.
package bench
