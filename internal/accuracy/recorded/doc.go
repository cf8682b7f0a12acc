// Package recorded measures how well internal/pitch reads recorded single notes: a folder of clips
// with a manifest goes in, tables of what was read, missed, misread and how true σ was come out,
// with a line for every failure.
//
// Start with [ReadManifest], then [Run] and [Report.WriteMarkdown]. Pitches are in Hz, errors in
// cents of the reference, positive when sharp, times in seconds from the start of a clip.
//
// Nothing is tuned here: which clips a folder holds, and where their references come from, its
// manifest says.
package recorded
