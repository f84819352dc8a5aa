// Command gen writes the vector code of package lanes and its declarations, to the
// folder that is given or else to that of the package.
package main

import (
	"bytes"
	"log"
	"os"
	"path/filepath"

	"github.com/mmcloughlin/avo/build"
	"github.com/mmcloughlin/avo/pass"
	"github.com/mmcloughlin/avo/printer"
)

func main() {
	log.SetFlags(0)
	out := ".."
	if len(os.Args) > 1 {
		out = os.Args[1]
	}
	w := newWriter()
	for _, kernel := range []func(*writer){flat, sphere, tilted, conic, asphere, facets, launch, plate, cross, mix, between, overfill, crossingSums, slopeSums} {
		kernel(w)
	}
	by := printer.Config{Name: "gen", Pkg: "lanes"}
	code, stubs := output{&bytes.Buffer{}}, output{&bytes.Buffer{}}
	passes := []pass.Interface{
		pass.Compile,
		&pass.Output{Writer: code, Printer: printer.NewGoAsm(by)},
		&pass.Output{Writer: stubs, Printer: printer.NewStubs(by)},
	}
	if failed := build.Main(&build.Config{ErrOut: os.Stderr, Passes: passes}, w.Context); failed != 0 {
		os.Exit(failed)
	}
	for name, o := range map[string]output{"kernels_amd64.s": code, "kernels_amd64.go": stubs} {
		if err := os.WriteFile(filepath.Join(out, name), o.Bytes(), 0o644); err != nil {
			log.Fatal(err)
		}
	}
}

// output is a buffer that can be closed.
type output struct{ *bytes.Buffer }

// Close does nothing.
func (output) Close() error { return nil }
