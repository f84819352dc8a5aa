package journal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"github.com/gofrs/flock"
)

// LockFile is the name of the file by which a run keeps others out of its
// folder.
const LockFile = "run.lock"

// Lock is a folder held by this process. The system releases it when the
// process ends, however it ends.
type Lock struct{ file *flock.Flock }

// LockedError says that another run holds a folder.
type LockedError struct {
	Folder string
	By     string // what the other has said of itself
}

func (e *LockedError) Error() string {
	by := e.By
	if by == "" {
		by = "another run"
	}
	return fmt.Sprintf("%s: %s is writing there\n    wait for it, or stop it by one Ctrl-C", e.Folder, by)
}

// LockFolder takes a folder, or returns a [LockedError] at once.
func LockFolder(folder string) (*Lock, error) {
	path := filepath.Join(folder, LockFile)
	for {
		l := &Lock{flock.New(path, flock.SetFlag(os.O_RDWR|os.O_CREATE), flock.SetPermissions(0o666))}
		taken, err := l.file.TryLock()
		var opening *fs.PathError
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.As(err, &opening):
			return nil, err
		case err != nil:
			return nil, fmt.Errorf("%s: cannot be locked: %w", path, err)
		}
		if !taken {
			return nil, &LockedError{folder, holder(path)}
		}
		// Who held it before may have removed the file between opening and
		// locking: then others lock another one.
		if l.stands() {
			l.say()
			return l, nil
		}
		if err := l.file.Unlock(); err != nil {
			return nil, fmt.Errorf("%s: cannot be unlocked: %w", path, err)
		}
	}
}

// stands reports whether the file that is locked is the one that others find.
func (l *Lock) stands() bool {
	opened, err := l.file.Stat()
	standing, errNow := os.Stat(l.file.Path())
	return err == nil && errNow == nil && os.SameFile(opened, standing)
}

// holder is what who holds the lock has said of itself, empty where that can't be read.
func holder(path string) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	by, _ := io.ReadAll(io.LimitReader(f, 200))
	return strings.TrimSpace(string(by))
}

// say leaves a word for who finds the folder locked. It is a courtesy: that it
// can't be written keeps nobody out.
func (l *Lock) say() {
	// Here a process that closes a file gives up all its locks on it.
	if runtime.GOOS == "aix" || runtime.GOOS == "solaris" {
		return
	}
	host, err := os.Hostname()
	if err != nil {
		host = "this machine"
	}
	f, err := os.OpenFile(l.file.Path(), os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return
	}
	_, _ = fmt.Fprintf(f, "process %d on %s, since %s,\n", os.Getpid(), host, time.Now().UTC().Format(time.RFC3339))
	_ = f.Close()
}

// Release gives the folder free and leaves no file. Where the folder has been
// moved meanwhile, the file went with it, and what stands in its place is another's.
func (l *Lock) Release() error {
	ours := l.stands()
	if ours && runtime.GOOS != "windows" {
		// Before it is unlocked: afterwards it may be another's.
		err := os.Remove(l.file.Path())
		return errors.Join(err, l.file.Unlock())
	}
	err := l.file.Unlock()
	if ours && err == nil {
		// Nobody can remove an open file here: that fails when another has taken it.
		_ = os.Remove(l.file.Path())
	}
	return err
}
