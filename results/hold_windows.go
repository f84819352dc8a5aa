package results

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// holds reports whether hold marks anything on this system, and holdsRenamed
// whether a file can be renamed while it is held.
const (
	holds        = true
	holdsRenamed = false // os.OpenFile does not let others delete or rename it
)

// hold marks an open file as one that this process is at, until it closes the
// file or ends. The error is errHeld when another one is. The lock is on a byte
// far beyond the end, as it would keep others from reading what it covers
// (LockFileEx in the Windows API).
func hold(f *os.File) error {
	at := windows.Overlapped{OffsetHigh: 1 << 30}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errHeld
	}
	return err
}
