//go:build !windows && (!unix || solaris || aix)

package results

import (
	"errors"
	"os"
)

// holds reports whether hold marks anything on this system, and holdsRenamed
// whether a file can be renamed while it is held.
const holds, holdsRenamed = false, false

// hold marks nothing: this system has no lock on an open file that ends with its
// process.
func hold(*os.File) error { return errors.ErrUnsupported }
