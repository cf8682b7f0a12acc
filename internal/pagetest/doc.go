// Package pagetest drives the page of tunerd serve in a real browser and looks at what it draws.
// It holds tests only.
//
// A test starts the program with a recording of known pitch, opens the page in a headless
// Chromium, and reads words, pixels and accessibility from there. Without Chromium the tests are
// skipped; with TUNERD_CI=1 in the environment they fail instead.
package pagetest
