// Package wholefile writes files whole or not at all.
package wholefile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Write makes data the content of the file at path, with those permissions: in a temporary file
// beside it first, which takes its place when it is safely on the disk. Until then, and if that
// fails, what stands at path stays. Errors name path, not the temporary file, of which nobody knows.
func Write(path string, data []byte, mode fs.FileMode) error {
	if err := write(path, data, mode); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, cause(err))
	}
	return nil
}

func write(path string, data []byte, mode fs.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // of mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // once renamed, it is gone
	_, err = f.Write(data)
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
