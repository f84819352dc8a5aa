//go:build unix && !solaris && !aix

package results

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// holds reports whether hold marks anything on this system, and holdsRenamed
// whether a file can be renamed while it is held.
const holds, holdsRenamed = true, true

// hold marks an open file as one that this process is at, until it closes the
// file or ends: flock(2). The error is errHeld when another one is, and any other
// where the file system has no such marks.
func hold(f *os.File) error {
	for {
		err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case errors.Is(err, unix.EWOULDBLOCK):
			return errHeld
		}
		return err
	}
}
