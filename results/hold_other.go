//go:build !unix || solaris || aix

package results

import (
	"errors"
	"os"
)

// holds reports whether hold tells anything on this system.
const holds = false

// hold marks nothing: the standard library has no lock for this system that ends
// with its process.
func hold(*os.File) error { return errors.ErrUnsupported }
