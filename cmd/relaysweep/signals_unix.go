//go:build unix

package main

import (
	"os"
	"os/signal"
	"syscall"
)

// endSignals are Ctrl-C, the polite request to end, and the loss of the
// terminal.
var endSignals = []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP}

// ignoreFileLimit makes a write beyond the limit on the size of files fail,
// where it would otherwise end the program.
func ignoreFileLimit() { signal.Ignore(syscall.SIGXFSZ) }
