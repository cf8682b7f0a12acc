package capture

import (
	"bytes"
	"encoding/binary"
	"io"
	"os"
	"strings"
	"time"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/meta"
)

// RecordedAt tells when a recording was made: by the file itself, a bext chunk of a WAV file (EBU Tech
// 3285) or its ICRD (RIFF, Microsoft and IBM 1991), the DATE of a FLAC file (RFC 9639, section 8.6), or
// else when the file was last changed. What a file says without a zone is in that of the user. False:
// there is no such file.
func RecordedAt(path string) (time.Time, bool) {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return time.Time{}, false
	}
	if f, err := os.Open(path); err == nil {
		defer f.Close()
		if at, ok := saysItself(f); ok {
			return at, true
		}
	}
	return info.ModTime(), true
}

func saysItself(f io.ReadSeeker) (at time.Time, ok bool) {
	head := make([]byte, 12)
	if _, err := io.ReadFull(f, head); err != nil {
		return at, false
	}
	switch {
	case isWAV(head):
		return wavDate(f)
	case isFLAC(head):
		if _, err := f.Seek(0, io.SeekStart); err == nil {
			return flacDate(f)
		}
	}
	return at, false
}

// Of a bext chunk, in bytes.
const (
	bextDate  = 320 // where the date begins: after description, originator and its reference
	bextDated = bextDate + 10 + 8
)

// maxInfo is how much of a list of texts is looked at, in bytes.
const maxInfo = 1 << 16

// wavDate looks through the chunks of a WAV file, also those after the sound.
func wavDate(f io.ReadSeeker) (at time.Time, ok bool) {
	for {
		var chunk [8]byte
		if _, err := io.ReadFull(f, chunk[:]); err != nil {
			return at, ok
		}
		size := int64(binary.LittleEndian.Uint32(chunk[4:]))
		read := int64(0)
		switch id := string(chunk[:4]); {
		case id == "bext" && size >= bextDated:
			b := make([]byte, bextDated)
			if _, err := io.ReadFull(f, b); err != nil {
				return at, ok
			}
			read = bextDated
			// The parts may be divided by any of - _ : space and full stop.
			if t, is := dateOf(digits(b[bextDate:bextDate+10]), digits(b[bextDate+10:])); is {
				return t, true // to the second, more than a list tells
			}
		case id == "LIST" && size >= 4 && size <= maxInfo:
			b := make([]byte, size)
			if _, err := io.ReadFull(f, b); err != nil {
				return at, ok
			}
			read = size
			if t, is := infoDate(b); is {
				at, ok = t, true
			}
		}
		if _, err := f.Seek(size-read+size%2, io.SeekCurrent); err != nil {
			return at, ok
		}
	}
}

// infoDate reads the ICRD of a LIST chunk of type INFO.
func infoDate(b []byte) (time.Time, bool) {
	if string(b[:4]) != "INFO" {
		return time.Time{}, false
	}
	for b = b[4:]; len(b) >= 8; {
		size := int(binary.LittleEndian.Uint32(b[4:]))
		if size < 0 || size > len(b)-8 {
			break
		}
		if string(b[:4]) == "ICRD" {
			return dateOf(digits(bytes.TrimRight(b[8:8+size], "\x00")), "")
		}
		b = b[min(len(b), 8+size+size%2):]
	}
	return time.Time{}, false
}

func flacDate(f io.Reader) (at time.Time, ok bool) {
	stream, err := flac.Parse(f)
	if err != nil {
		return at, false
	}
	for _, block := range stream.Blocks {
		comment, is := block.Body.(*meta.VorbisComment)
		if !is {
			continue
		}
		for _, tag := range comment.Tags {
			if strings.EqualFold(tag[0], "DATE") {
				return dateOf(digits([]byte(tag[1])), "")
			}
		}
	}
	return at, false
}

// digits are those of a date or a time.
func digits(b []byte) string {
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, string(b))
}

// dateOf is a day, and if date or clock have it the time of it. A year alone is no day.
func dateOf(date, clock string) (time.Time, bool) {
	for _, layout := range []string{"20060102150405", "20060102"} {
		if t, err := time.ParseInLocation(layout, date+clock, time.Local); err == nil && t.Year() >= firstYear {
			return t, true
		}
	}
	return time.Time{}, false
}

// firstYear is before any recording of a computer.
const firstYear = 1950
