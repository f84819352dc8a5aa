package results

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
)

// WriteWhole makes the file at path from what write writes, whole or not at
// all: into a new file in the same folder, which is synced to the disk and
// only then takes the place of whatever stood at path. When anything fails,
// the error names the path, the old file stays as it was, and nothing is left
// behind.
func WriteWhole(path string, write func(io.Writer) error) (err error) {
	f, err := createBeside(path)
	if err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	renamed := false
	defer func() {
		if !renamed {
			// After a failed or a panicking write: the first fault is the one
			// to report.
			_ = f.Close()
			_ = os.Remove(f.Name())
		}
	}()

	buffered := bufio.NewWriterSize(f, 1<<18)
	if err := write(buffered); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := buffered.Flush(); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	renamed = true
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return fmt.Errorf("%s: written, but its folder cannot be synced to the disk: %w", path, causeOf(err))
	}
	return nil
}

// createBeside makes a new file in the folder of path, with the permissions
// that a file made there would have.
func createBeside(path string) (*os.File, error) {
	dir, base := filepath.Split(path)
	for attempt := 0; ; attempt++ {
		name := fmt.Sprintf("%s.%s.%08x.tmp", dir, base, rand.Uint32())
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if attempt < 100 && errors.Is(err, fs.ErrExist) {
			continue
		}
		return f, err
	}
}

// syncFolder makes a rename in the folder last. File systems without such a
// thing say EINVAL or ENOTSUP, and Windows cannot open a folder for it.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, syscall.ENOTSUP) {
		return err
	}
	return nil
}

// causeOf is the cause of a file error without the file's name, which is said
// elsewhere or is the one of a file that nobody knows of.
func causeOf(err error) error {
	var p *os.PathError
	var l *os.LinkError
	switch {
	case errors.As(err, &p):
		return p.Err
	case errors.As(err, &l):
		return l.Err
	}
	return err
}
