//go:build unix && !solaris && !aix

package results

import (
	"errors"
	"os"
	"syscall"
)

// holds reports whether hold tells anything on this system.
const holds = true

// hold marks an open file as one that this process is at, until it closes the
// file or ends. The error is errHeld when another one is, and any other where the
// file system has no such marks.
func hold(f *os.File) error {
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return errHeld
		}
		return err
	}
}
