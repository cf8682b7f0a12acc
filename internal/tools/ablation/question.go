package main

// What the program asks itself, built with the tag ablation.
const (
	askNames    = "names"    // of what may be left out
	askAccuracy = "accuracy" // figures
	askLive     = "live"     // reads the same sounds again and again, live
	askWhole    = "whole"    // the same, as whole notes
)
