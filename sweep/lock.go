package sweep

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// LockFile is the name of the file by which a run keeps others out of its
// folder.
const LockFile = "run.lock"

// Lock is a folder held by this process. The system releases it when the
// process ends, however it ends.
type Lock struct {
	path string
	file *os.File
}

// LockedError tells that another run holds a folder.
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
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
		if err != nil {
			return nil, err
		}
		if err := lockFile(f); err != nil {
			by, _ := io.ReadAll(io.LimitReader(f, 200))
			_ = f.Close()
			if errors.Is(err, errLocked) {
				return nil, &LockedError{folder, strings.TrimSpace(string(by))}
			}
			return nil, fmt.Errorf("%s: cannot be locked: %w", path, err)
		}
		// Who held it before may have removed the file between opening and
		// locking: then others lock another one.
		opened, err := f.Stat()
		if standing, errNow := os.Stat(path); err == nil && errNow == nil && os.SameFile(opened, standing) {
			l := &Lock{path, f}
			l.say()
			return l, nil
		}
		_ = f.Close()
		if err != nil {
			return nil, err
		}
	}
}

// say leaves a word for who finds the folder locked. It is a courtesy: that it
// can't be written keeps nobody out.
func (l *Lock) say() {
	host, err := os.Hostname()
	if err != nil {
		host = "this machine"
	}
	_ = l.file.Truncate(0)
	_, _ = fmt.Fprintf(l.file, "process %d on %s, since %s,\n", os.Getpid(), host, time.Now().UTC().Format(time.RFC3339))
}

// Release gives the folder free and leaves no file. Where the folder has been
// moved meanwhile, the file went with it, and what stands in its place is another's.
func (l *Lock) Release() error {
	var err error
	opened, errOpened := l.file.Stat()
	if standing, errNow := os.Stat(l.path); errOpened == nil && errNow == nil && os.SameFile(opened, standing) {
		err = os.Remove(l.path)
	}
	return errors.Join(err, l.file.Close())
}
