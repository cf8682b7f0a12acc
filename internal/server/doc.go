// Package server is the local server of tunerd: it shows a running engine to web pages and other
// programs, and lets them choose what it listens for.
//
// A [Tuner] runs the engine on one input after another and takes new settings while it runs. A
// [Server] is the HTTP side: the page, the live stream (Server-Sent Events), the JSON API, the
// microphone of a page (WebSocket), health and metrics. docs/server.md is the contract.
//
// Nothing here computes a pitch or an interval: the figures are those of engine, targets and
// fretboard, in the words of display/text. No client can hold up the audio: the engine hands
// over its latest frame and goes on, every client has one place for the newest message of each
// kind, and every write has a deadline.
package server
