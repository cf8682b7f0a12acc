package command

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/figure"
	"tunerd/internal/wholefile"
)

// forceFlag lets a command write over files.
const forceFlag = "force"

// An outFile is the value of a flag that names a file to write. What is there already is not written
// over without --force: it may be the only one there is.
type outFile struct {
	path  string
	flags *pflag.FlagSet
	later bool // whether the file is written over is decided by the command, not before it
}

// addOutFile adds a flag for a file that the command writes, and --force if there is none yet.
func addOutFile(flags *pflag.FlagSet, f *outFile, name, shorthand, usage string) {
	f.flags = flags
	flags.VarP(f, name, shorthand, usage)
	if flags.Lookup(forceFlag) == nil {
		flags.Bool(forceFlag, false, "write over files that are there already")
	}
}

// Set, String and Type make it a flag.
func (f *outFile) Set(path string) error { f.path = path; return nil }
func (f *outFile) String() string        { return f.path }
func (f *outFile) Type() string          { return "FILE" }

func (f *outFile) given() bool { return f.path != "" }

// at is the same flag for a file of another name.
func (f *outFile) at(path string) *outFile {
	other := *f
	other.path = path
	return &other
}

func (f *outFile) forced() bool {
	forced, err := f.flags.GetBool(forceFlag)
	return err == nil && forced
}

// mayWrite refuses a file that is there already, unless it is forced, and what is no file at all.
func (f *outFile) mayWrite() error {
	if !f.given() {
		return nil
	}
	info, err := os.Stat(f.path)
	switch {
	case isNotExist(err):
		return nil
	case err != nil:
		var path *fs.PathError
		if errors.As(err, &path) {
			err = path.Err
		}
		return fmt.Errorf("cannot write %s: %w", f.path, err)
	case !info.Mode().IsRegular():
		return fmt.Errorf("cannot write %s: it is there already, and is no file", f.path)
	case f.forced():
		return nil
	}
	return hintf(fmt.Errorf("%s is there already", f.path), "--%s writes over it, or name another file", forceFlag)
}

// writeFrom writes what fill writes, whole or not at all, and says so.
func (f *outFile) writeFrom(chat io.Writer, fill func(io.Writer) error) error {
	if err := f.mayWrite(); err != nil {
		return err
	}
	if err := wholefile.WriteFrom(f.path, 0o644, fill); err != nil {
		return err
	}
	tellWrote(chat, f.path)
	return nil
}

// write writes data, as writeFrom does.
func (f *outFile) write(chat io.Writer, data []byte) error {
	return f.writeFrom(chat, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

func (f *outFile) writeSVG(chat io.Writer, c *figure.Canvas) error {
	return f.write(chat, []byte(c.SVG()))
}

// writePages writes one file, or with several pages one each: board.svg as board-1.svg, board-2.svg.
// All are written, or if one may not be, none.
func (f *outFile) writePages(chat io.Writer, pages []*figure.Canvas) error {
	files := []*outFile{f}
	if extension := filepath.Ext(f.path); len(pages) > 1 {
		files = nil
		for i := range pages {
			files = append(files, f.at(strings.TrimSuffix(f.path, extension)+"-"+strconv.Itoa(i+1)+extension))
		}
	}
	for _, file := range files {
		if err := file.mayWrite(); err != nil {
			return err
		}
	}
	for i, file := range files {
		if err := file.writeSVG(chat, pages[i]); err != nil {
			return err
		}
	}
	return nil
}

func tellWrote(chat io.Writer, path string) { fmt.Fprintf(chat, "tunerd: wrote %s\n", path) }

// guardFiles makes every command below root refuse files that may not be written before it does
// anything else.
func guardFiles(root *cobra.Command) {
	for _, cmd := range root.Commands() {
		guardFiles(cmd)
	}
	var files []*outFile
	root.Flags().VisitAll(func(flag *pflag.Flag) {
		if f, ok := flag.Value.(*outFile); ok && !f.later {
			files = append(files, f)
		}
	})
	if len(files) == 0 {
		return
	}
	root.PreRunE = func(*cobra.Command, []string) error {
		for _, f := range files {
			if err := f.mayWrite(); err != nil {
				return err
			}
		}
		return nil
	}
}
