package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// asProgram is a variable of the environment under which the test binary is the
// program itself: a process of its own, to be killed.
const asProgram = "RELAYSWEEP_TEST_AS_PROGRAM"

// killedAt is a variable with the number of a change of an output folder, from
// 1, before which the program kills itself.
const killedAt = "RELAYSWEEP_TEST_KILLED_AT"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		if left, err := strconv.Atoi(os.Getenv(killedAt)); err == nil {
			beforeChange = func(string) error {
				if left--; left == 0 {
					if self, err := os.FindProcess(os.Getpid()); err == nil {
						_ = self.Kill()
					}
					select {}
				}
				return nil
			}
		}
		main()
	}
	os.Exit(m.Run())
}

// effort is how often a test does what it does at random: some seconds' worth of
// it, or as often as .ci/torture asks for.
func effort(usual, long int) int {
	if os.Getenv("RELAYSWEEP_TORTURE") != "" {
		return long
	}
	return usual
}

// program is a command of a process of its own.
func program(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), self, args...)
	c.Env = append(os.Environ(), asProgram+"=1")
	return c
}

// ended runs a command to its end, which is waited for no longer than a minute.
func ended(t testing.TB, c *exec.Cmd) outcome {
	t.Helper()
	return endedOnce(t, c, func() {})
}

// endedOnce runs a program to its end; started is called as soon as it runs.
func endedOnce(t testing.TB, c *exec.Cmd, started func()) outcome {
	t.Helper()
	var stdout, stderr bytes.Buffer
	c.Stdout, c.Stderr = &stdout, &stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	started()
	timer := time.AfterFunc(time.Minute, func() { _ = c.Process.Kill() })
	err := c.Wait()
	if !timer.Stop() {
		t.Fatalf("%q does not end\n%s", c.Args, stderr.String())
	}
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return outcome{c.ProcessState.ExitCode(), stdout.String(), stderr.String()}
}

// longJob is a small job that takes a second or two: a sweep of three points with
// many designs to check.
func longJob(t testing.TB) string {
	t.Helper()
	return newJobOf(t, smallLenses(manyFocals), "top = 8", "top = 40",
		"view_blur_arcmin = 24", "view_blur_arcmin = 12",
		"vignetted_pct = 20", `vignetted_pct = 20

[sweep]
"stage.travel_mm" = [15.0, 14.0, 12.0]`)
}

// parquetOf are the bytes of a finished job's Parquet files.
func parquetOf(t testing.TB, spec string) [2][]byte {
	t.Helper()
	if m := readManifest(t, outputOf(spec)); !m.Complete {
		t.Error("run.json says that the job is not complete")
	}
	return [2][]byte{readFile(t, outputOf(spec), rankedFile), readFile(t, outputOf(spec), setpointsFile)}
}

// sameParquet reports bytes that differ.
func sameParquet(t testing.TB, what string, want, got [2][]byte) {
	t.Helper()
	for i, name := range []string{rankedFile, setpointsFile} {
		if !bytes.Equal(want[i], got[i]) {
			t.Errorf("%s: %s differs", what, name)
		}
	}
}

// onlyResults reports what a finished job left besides its results.
func onlyResults(t testing.TB, spec string) {
	t.Helper()
	for _, path := range listing(t, outputOf(spec))[1:] {
		switch filepath.Base(path) {
		case rankedFile, setpointsFile, manifestFile, logFile, inputsFolder, "lenses-1.csv", "spec.toml":
		default:
			t.Errorf("the finished job left %s", path)
		}
	}
}

// whenLogged waits until a process has logged an event; false if it ended before.
func whenLogged(ctx context.Context, c *exec.Cmd, done <-chan struct{}, spec, event string) bool {
	text := fmt.Sprintf("%s pid=%d ", event, c.Process.Pid)
	for {
		if strings.Contains(string(readIfThere(outputOf(spec), logFile)), text) {
			return true
		}
		select {
		case <-done:
			return false
		case <-ctx.Done():
			return false
		case <-time.After(2 * time.Millisecond):
		}
	}
}
