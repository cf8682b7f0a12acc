// Package pitch measures what sounds: the pitch of one note, from samples to hertz, with its
// uncertainty.
//
// Samples are float64 with full scale at 1; frequencies are in Hz, deviations in cents (positive
// is sharp), times in sample indexes unless a name says seconds, phases in turns. A pitch is the
// frequency of partial 1 under the stiff-string law that the partials keep together, not the
// period of the waveform, which a stiff string does not have; see [Partial] for where single
// partials lie. Every reading carries σ, and means it: see [Reading].
//
// Start with [NewTracker] for a stream and with [NewWindowEstimator] for one window of samples.
// What the note should have been is left to others. docs/pitch.md shows how a pitch is found, and where.
package pitch
