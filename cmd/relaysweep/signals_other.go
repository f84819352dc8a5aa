//go:build !unix

package main

import "os"

// endSignals is Ctrl-C.
var endSignals = []os.Signal{os.Interrupt}

// ignoreFileLimit has nothing to do where no signal tells of that limit.
func ignoreFileLimit() {}
