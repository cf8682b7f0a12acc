// Package text writes notes and live readings as text: tables and plain lines for people, CSV
// and JSON Lines for programs.
//
// Notes of recordings are [Note] values given to a [NoteWriter]; see [NewNoteJSON],
// [NewNoteCSV] and [NewNoteTable]. Live frames go to [Readings] (JSON Lines) or [Lines].
//
// # JSON Lines
//
// Every line is one JSON object (RFC 8259) in UTF-8, and ends with a line feed. Numbers have
// full precision. Fields are never left out, except where this is said; what is not known is
// null, and NaN or an infinity is written as null too. Fields may be added in later versions;
// those here keep their names and meanings. Cents are positive when sharp.
//
// A note of a recording:
//
//	type            "note"
//	file            string, as it was given
//	channel         integer, 0: the mean of all channels
//	start_s         number, onset in s from the start of the recording
//	end_s           number, s
//	f1_hz           number, partial 1 under the fitted stiff-string law, settled
//	f1_sigma_cents  number or null, its standard uncertainty
//	sigma_terms     object, what that is made of, in cents: noise, scatter, stiffness, glide, movement,
//	                vibrato, unmodelled. Their squares add up to that of f1_sigma_cents; terms that
//	                are 0 are left out, and the object where nothing is known of them
//	attack_f1_hz    number or null, the same over the first 150 ms
//	partial1_hz     number or null, the lowest partial as measured
//	inharmonicity   number or null, B of f_k = k·f0·√(1 + B·k²)
//	snr_db          number or null, partials over what is left, dB
//	clock           object, correction of the sound card's clock that the frequencies have; left out
//	                if there is none
//	  ppm           number, by which the card is fast
//	  sigma_ppm     number or null, its standard uncertainty
//	  by            "tone", "system clock" or "given": how it was found
//	target          object or null
//	  label         string
//	  hz            number
//	  step          integer, steps of the tuning from its reference note
//	  string        integer from 1; left out without an instrument
//	  fret          integer, 0: open
//	cents           number or null, f1 against the target
//	cents_sigma     number or null, its standard uncertainty
//	beat_hz         number or null, f1_hz − target.hz
//	state           "flat", "sharp" or "in tune"; null without a target
//	partials        array of objects, only if asked for
//	  number        integer from 1
//	  hz            number
//	  off_cents     number or null, against the fitted law
//	  sigma_cents   number or null, standard uncertainty of hz
//	  level_db      number or null, dB re full scale
//
// A live reading has "type":"reading" and the fields of a note from start_s to partials, except
// end_s, and besides
//
//	t_s             number, s of the stream; it follows type
//	level_db        number or null, level of the input, dB re full scale; it follows snr_db
//
// Its partials are those of the strobe; their off_cents and sigma_cents are null.
//
// What happens between readings is an event:
//
//	type            "event"
//	t_s             number, s of the stream
//	event           "gap" (samples were lost; measuring began afresh), "silence" (nothing
//	                sounds any more), "ringing" (what sounds has partials that belong to no
//	                single string; message lists them), "input lost", "input back" or "end"
//	state           string: "silent", "listening", "sounding", "input lost", "input ended"
//	gaps            integer, gaps since the start
//	message         string, a sentence for people; may be empty
package text
