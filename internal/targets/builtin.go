package targets

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"sync"
)

//go:embed instruments/*.toml
var instrumentFiles embed.FS

// builtins reads the embedded files once. They are part of the program, so one that does not
// read is a programming slip.
var builtins = sync.OnceValue(func() []*Instrument {
	names, err := fs.Glob(instrumentFiles, "instruments/*.toml")
	if err != nil {
		panic(err)
	}
	all := make([]*Instrument, len(names)) // Glob sorts
	for i, name := range names {
		data, err := instrumentFiles.ReadFile(name)
		if err != nil {
			panic(err)
		}
		if all[i], err = ParseInstrument(strings.TrimSuffix(path.Base(name), ".toml"), data); err != nil {
			panic("targets: built-in instrument " + err.Error())
		}
	}
	return all
})

// Builtins returns the instruments that come with the program, by name.
func Builtins() []*Instrument { return append([]*Instrument(nil), builtins()...) }

// LoadInstrument returns the built-in instrument of that name, or else reads a file: anything
// with a path separator or ending in .toml is a path.
func LoadInstrument(nameOrPath string) (*Instrument, error) {
	in, err := builtin(nameOrPath)
	if err != nil && IsInstrumentFile(nameOrPath) {
		return readInstrumentFile(nameOrPath)
	}
	return in, err
}

// builtin finds a built-in instrument; its error says which there are.
func builtin(name string) (*Instrument, error) {
	var names []string
	for _, in := range builtins() {
		if in.ID == name {
			return in, nil
		}
		names = append(names, in.ID)
	}
	return nil, fmt.Errorf("no instrument %s; write the path of a .toml file or one of %s", quote(name), strings.Join(names, ", "))
}
