package results

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
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
	if !holdsRenamed {
		if err := f.Close(); err != nil {
			return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
		}
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	renamed = true
	if holdsRenamed {
		if err := f.Close(); err != nil {
			return fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
		}
	}
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return fmt.Errorf("%s: written, but its folder cannot be synced to the disk: %w", path, causeOf(err))
	}
	return nil
}

// temporaryName matches what [TemporaryName] makes: a dot, the base name, a
// random number and the digest that proves it to be ours.
var temporaryName = regexp.MustCompile(`^\.(.+)\.([0-9a-f]{8})([0-9a-f]{16})\.tmp$`)

// TemporaryName is a name beside the one given that nobody else uses, for what is
// not whole yet. It proves by itself that this program has made it.
func TemporaryName(base string) string {
	nonce := fmt.Sprintf("%08x", rand.Uint32())
	return "." + base + "." + nonce + temporaryProof(base, nonce) + ".tmp"
}

func temporaryProof(base, nonce string) string {
	sum := sha256.Sum256([]byte("relaysweep temporary\n" + base + "\n" + nonce))
	return hex.EncodeToString(sum[:8])
}

// TemporaryBase is the name beside which [TemporaryName] made a name; false where
// it did not.
func TemporaryBase(name string) (base string, ok bool) {
	m := temporaryName.FindStringSubmatch(name)
	if m == nil || m[3] != temporaryProof(m[1], m[2]) {
		return "", false
	}
	return m[1], true
}

// IsTemporary reports whether [TemporaryName] made a name beside the base name.
func IsTemporary(name, base string) bool {
	of, ok := TemporaryBase(name)
	return ok && of == base
}

// createBeside makes a new file in the folder of path, with the permissions
// that a file made there would have. It is held, see hold, and those that
// killed processes have left are removed.
func createBeside(path string) (*os.File, error) {
	dir, base := filepath.Split(path)
	if err := clearTemporary(cmp.Or(dir, "."), base); err != nil {
		return nil, err
	}
	for attempt := 0; ; attempt++ {
		f, err := os.OpenFile(dir+TemporaryName(base), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if attempt < 100 && errors.Is(err, fs.ErrExist) {
			continue
		}
		// Before it was held, another process may have taken it for left behind.
		if err == nil && attempt < 100 && (errors.Is(hold(f), errHeld) || !stands(f)) {
			_ = f.Close()
			_ = os.Remove(f.Name())
			continue
		}
		return f, err
	}
}

// clearTemporary removes the temporary files of a name whose process has ended.
func clearTemporary(dir, base string) error {
	if !holds {
		return nil // which those are can't be told
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !IsTemporary(e.Name(), base) || !e.Type().IsRegular() {
			continue
		}
		f, err := os.OpenFile(filepath.Join(dir, e.Name()), os.O_RDWR, 0)
		if err != nil {
			continue // gone meanwhile, or another user's
		}
		left := hold(f) == nil
		if left && holdsRenamed {
			// Where that fails it is left to the next one.
			_ = os.Remove(f.Name())
		}
		_ = f.Close()
		if left && !holdsRenamed {
			_ = os.Remove(f.Name())
		}
	}
	return nil
}

// errHeld tells that another process is at a file.
var errHeld = errors.New("another process is at it")

// stands reports whether an open file is still the one under its name.
func stands(f *os.File) bool {
	opened, err := f.Stat()
	standing, errNow := os.Stat(f.Name())
	return err == nil && errNow == nil && os.SameFile(opened, standing)
}

// openRegular opens a file to read it, and tells its size. What is no file of
// bytes is an error: a pipe would be waited for, and a device has no end.
func openRegular(path string) (*os.File, int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, 0, causeOf(err)
	}
	switch {
	case info.IsDir():
		return nil, 0, errors.New("is a folder, not a file")
	case !info.Mode().IsRegular():
		return nil, 0, errors.New("is not a regular file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, causeOf(err)
	}
	return f, info.Size(), nil
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
