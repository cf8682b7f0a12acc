package coupling

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"

	"tunerd/internal/targets"
)

// A File is what is kept of one instrument.
type File struct {
	Format     string  `json:"format"` // fileFormat
	Instrument string  `json:"instrument"`
	Identity   string  `json:"identity"` // as targets.Instrument.Identity has it
	BehindMM   float64 `json:"behind_mm"`
	Learned    string  `json:"learned"` // when, RFC 3339
	Known      *Known  `json:"known"`
	LastPass   *Record `json:"last_pass,omitempty"` // that was tuned while it was listened to
}

const fileFormat = "tunerd coupling 1"

// Encode writes the file, as JSON.
func (f File) Encode() ([]byte, error) {
	f.Format = fileFormat
	data, err := json.MarshalIndent(f, "", " ")
	return append(data, '\n'), err
}

// DecodeFile reads one.
func DecodeFile(data []byte) (*File, error) {
	var f File
	if err := json.Unmarshal(data, &f); err != nil {
		return nil, fmt.Errorf("no file of coupling: %w", err)
	}
	switch {
	case f.Format != fileFormat:
		return nil, fmt.Errorf("its format is %q; %q is read", f.Format, fileFormat)
	case f.Known == nil:
		return nil, errors.New("nothing that is known stands in it")
	}
	return &f, nil
}

// FileName is what the file of an instrument is called.
func FileName(in *targets.Instrument) string {
	sum := sha256.Sum256([]byte(in.Identity()))
	return fmt.Sprintf("%x.json", sum[:8])
}

// IsOf refuses an instrument that the file is not of.
func (f *File) IsOf(in *targets.Instrument) error {
	if f.Identity != in.Identity() {
		return fmt.Errorf("it is of %s, not of %s", f.Identity, in.Identity())
	}
	return nil
}
