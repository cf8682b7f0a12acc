// Package wholefile writes files whole or not at all.
package wholefile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Write makes data the content of the file at path, with those permissions: in a temporary file
// beside it first, which takes its place when it is safely on the disk. Until then, and if that
// fails, what stands at path stays. Errors name path, not the temporary file, of which nobody knows.
func Write(path string, data []byte, mode fs.FileMode) error {
	return WriteFrom(path, mode, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// WriteFrom is Write of what fill writes. An error of fill itself is returned as it is.
func WriteFrom(path string, mode fs.FileMode, fill func(io.Writer) error) error {
	var failed error // of fill
	err := write(path, mode, func(w *bufio.Writer) error {
		if failed = fill(w); failed != nil {
			return failed
		}
		return w.Flush()
	})
	switch {
	case err == nil:
		return nil
	case failed != nil && !isOfFile(failed):
		return failed
	}
	return fmt.Errorf("cannot write %s: %w", path, cause(err))
}

// isOfFile says whether an error is of the file written to, or of one like it.
func isOfFile(err error) bool {
	var path *fs.PathError
	return errors.As(err, &path) && path.Op == "write"
}

func write(path string, mode fs.FileMode, fill func(*bufio.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // of mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // once renamed, it is gone
	err = fill(bufio.NewWriter(f))
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if closing := f.Close(); err == nil {
		err = closing
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// cause strips the system call and the paths from an error of package os.
func cause(err error) error {
	var path *fs.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &path):
		return path.Err
	case errors.As(err, &link):
		return link.Err
	}
	return err
}
