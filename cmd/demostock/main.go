// Command demostock writes the lens table of the demo: a catalog of stock
// lenses in which every vendor, part and price is invented.
//
//	go run ./cmd/demostock > testdata/demo/stock.csv
//
// With an argument it writes to that file instead of standard output. The
// lenses are designed by rule from the built-in glasses, without random
// numbers: the table is the same in every run.
package main

import (
	"bytes"
	"fmt"
	"io"
	"os"

	"relaysweep/results"
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintf(os.Stderr, "demostock: %v\n", err)
		os.Exit(1)
	}
}

// run writes the table to the file that args names, or to stdout.
func run(args []string, stdout io.Writer) error {
	if len(args) > 1 {
		return fmt.Errorf("found %d arguments\n    expected at most one, the file to write", len(args))
	}
	parts, err := stock()
	if err != nil {
		return err
	}
	var table bytes.Buffer
	if err := writeTable(&table, parts); err != nil {
		return err
	}
	if len(args) == 0 {
		_, err = table.WriteTo(stdout)
		return err
	}
	return results.WriteWhole(args[0], func(w io.Writer) error {
		_, err := table.WriteTo(w)
		return err
	})
}
