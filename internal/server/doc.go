// Package server is the local server of tunerd: it shows a bench to web pages and other programs over HTTP.
//
// A [Server] answers with the page, the live stream (Server-Sent Events), the JSON API, which is what
// internal/bench answers, the microphone of a page (WebSocket), health and metrics. docs/server.md is the contract.
//
// It decides who is answered ([Guard]), how many are at a time and how much they may send; every write has a
// deadline, so that no client can hold up another.
package server
