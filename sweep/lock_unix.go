//go:build unix && !solaris && !aix

package sweep

import (
	"errors"
	"os"
	"syscall"
)

// errLocked tells that another process holds the lock.
var errLocked = errors.New("locked")

// lockFile locks a file until it is closed: flock(2), which Linux carries over
// NFS as well.
func lockFile(f *os.File) error {
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return errLocked
		}
		return err
	}
}
