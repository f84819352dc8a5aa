// Command relaysweep finds the shortest trains of stock lenses for a
// see-through viewer with a movable mask: a job's spec and lens tables in,
// proven and ray-checked designs out.
package main

import (
	"context"
	"os"
)

func main() {
	exitOnSecondSignal()
	os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
}
