package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"relaysweep/sweep"
	"relaysweep/sweep/journal"
)

// TestKilledBytes kills processes at random instants, on changing numbers
// of cores, and lets the same command go on until the job is done, again and
// again: the bytes are always those of a job that ran through.
func TestKilledBytes(t *testing.T) {
	t.Parallel() // processes of their own, which wait for the disk most of the time
	kills := effort(50, 200)
	if testing.Short() {
		kills = 8
	}
	spec := longJob(t)
	start := time.Now()
	if o := ended(t, program(t, "run", "--quiet", spec)); o.code != exitDone {
		t.Fatalf("code %d: %s", o.code, o.stderr)
	}
	lasts := time.Since(start)
	want := parquetOf(t, spec)
	if err := os.RemoveAll(outputOf(spec)); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(5, 6))
	killed, done, resumed := 0, 0, 0
	for killed < kills {
		c := program(t, "run", "--quiet", spec)
		c.Env = append(c.Env, fmt.Sprintf("GOMAXPROCS=%d", []int{1, 2, 8}[r.IntN(3)]))
		after := time.Duration(r.Int64N(int64(lasts)))
		var timer *time.Timer
		o := endedOnce(t, c, func() {
			timer = time.AfterFunc(after, func() { _ = c.Process.Signal(syscall.SIGKILL) })
		})
		timer.Stop()
		if strings.Contains(string(readIfThere(outputOf(spec), logFile)), "msg=resume") {
			resumed++
		}
		switch o.code {
		case -1:
			killed++
		case exitDone:
			done++
			sameParquet(t, fmt.Sprintf("after %d kills", killed), want, parquetOf(t, spec))
			onlyResults(t, spec)
			if err := os.RemoveAll(outputOf(spec)); err != nil {
				t.Fatal(err)
			}
		default:
			t.Fatalf("killed after %v: code %d: %s", after, o.code, o.stderr)
		}
	}
	if o := ended(t, program(t, "run", "--quiet", spec)); o.code != exitDone {
		t.Fatalf("code %d: %s", o.code, o.stderr)
	}
	sameParquet(t, "in the end", want, parquetOf(t, spec))
	t.Logf("%d kills of a job of %v, which was done %d times in between; %d attempts were not the first", killed, lasts, done, resumed)
	if resumed == 0 {
		t.Error("no attempt went on from a journal")
	}
}

// TestKilledMerge kills merges at random instants, and TestKilledReport reports: the
// same command then does what one that ran through does, and leaves nothing.
func TestKilledMerge(t *testing.T) {
	t.Parallel()
	spec := newJob(t)
	must(t, exitDone, "run", "--quiet", spec)
	want := parquetOf(t, spec)
	if err := os.RemoveAll(outputOf(spec)); err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"1/2", "2/2"} {
		must(t, exitDone, "run", "--quiet", "--part", part, spec)
	}
	parts := contents(t, outputOf(spec))
	stopAtRandom(t, effort(12, 200), []os.Signal{syscall.SIGKILL, os.Interrupt}, []string{"merge", outputOf(spec)}, func() {
		sameParquet(t, "merged", want, parquetOf(t, spec))
		onlyResults(t, spec)
		restore(t, outputOf(spec), parts)
	})
}

func TestKilledReport(t *testing.T) {
	t.Parallel()
	output := finishedJob(t)
	must(t, exitDone, "report", output)
	want, before := readFile(t, output, reportFile), listing(t, output)
	stopAtRandom(t, effort(12, 200), []os.Signal{syscall.SIGKILL, os.Interrupt}, []string{"report", output}, func() {
		if !bytes.Equal(want, readFile(t, output, reportFile)) {
			t.Error("the page differs")
		}
		if after := listing(t, output); !slices.Equal(before, after) {
			t.Errorf("files before %q\nand after %q", before, after)
		}
	})
}

// TestInterruptedAnywhere interrupts a run at random instants, whatever it is at: it ends
// in good order or is done, and the same command goes on.
func TestInterruptedAnywhere(t *testing.T) {
	t.Parallel()
	spec := longJob(t)
	must(t, exitDone, "run", "--quiet", spec)
	want := parquetOf(t, spec)
	if err := os.RemoveAll(outputOf(spec)); err != nil {
		t.Fatal(err)
	}
	stopAtRandom(t, effort(12, 200), []os.Signal{os.Interrupt, syscall.SIGTERM}, []string{"run", "--quiet", spec}, func() {
		sameParquet(t, "run", want, parquetOf(t, spec))
		onlyResults(t, spec)
		if err := os.RemoveAll(outputOf(spec)); err != nil {
			t.Fatal(err)
		}
	})
}

// stopAtRandom sends the signals in turn to a command, a process of its own, at
// random instants, and lets the same command go on; check is called each time that
// it is done.
func stopAtRandom(t *testing.T, times int, signals []os.Signal, args []string, check func()) {
	t.Helper()
	start := time.Now()
	if o := ended(t, program(t, args...)); o.code != exitDone {
		t.Fatalf("code %d: %s", o.code, o.stderr)
	}
	lasts := time.Since(start)
	check()
	r := rand.New(rand.NewPCG(7, 8))
	stopped, done := 0, 0
	for sent := 0; sent < times || done == 0; sent++ {
		c := program(t, args...)
		var timer *time.Timer
		o := endedOnce(t, c, func() {
			timer = time.AfterFunc(time.Duration(r.Int64N(int64(lasts))), func() { _ = c.Process.Signal(signals[sent%len(signals)]) })
		})
		timer.Stop()
		switch o.code {
		case -1, exitInterrupted:
			stopped++
		case exitDone:
			done++
			check()
		default:
			t.Fatalf("code %d: %s", o.code, o.stderr)
		}
	}
	t.Logf("%s: %d signals, %d processes stopped, %d done", args[0], times, stopped, done)
}

// TestInterruptedTwice stops a process by one signal and by two, and starts it
// again.
func TestInterruptedTwice(t *testing.T) {
	spec := longJob(t)
	for range 2 {
		c := program(t, "run", spec)
		var stderr bytes.Buffer
		c.Stderr = &stderr
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() { _ = c.Wait(); close(done) }()
		if !whenLogged(t.Context(), c, done, spec, "msg=\"point done\"") {
			t.Fatal("the job was done before it could be stopped")
		}
		_ = c.Process.Signal(os.Interrupt)
		_ = c.Process.Signal(syscall.SIGTERM)
		<-done
		if code := c.ProcessState.ExitCode(); code != exitInterrupted {
			t.Errorf("the code is %d, not %d: %s", code, exitInterrupted, stderr.String())
		}
	}
	o := must(t, exitDone, "run", spec)
	if !strings.Contains(o.stderr, "goes on where it stopped: ") || !strings.Contains(o.stderr, "of 3 sweep points done") {
		t.Errorf("stderr is %q", o.stderr)
	}
	onlyResults(t, spec)
}

// TestInterruptedReading: what looks at a finished run ends at the first signal,
// and writes no file.
func TestInterruptedReading(t *testing.T) {
	output := finishedJob(t)
	before := listing(t, output)
	for _, args := range [][]string{
		{"show", output}, {"show", output, "--rank", "1"}, {"show", output, "--rank", "1", "--rays"},
		{"show", output, "--rank", "1", "--aberrations"},
		{"setpoints", output, "--depths", "1"}, {"report", output}, {"report", output, "--drawing", filepath.Join(output, "x.svg")},
	} {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		var stdout, stderr bytes.Buffer
		if code := run(ctx, args, &stdout, &stderr); code != exitInterrupted || stdout.Len() > 0 || !strings.Contains(stderr.String(), "interrupted") {
			t.Errorf("%q: code %d, stdout %q, stderr %q", args, code, stdout.String(), stderr.String())
		}
		if now := listing(t, output); !slices.Equal(now, before) {
			t.Errorf("%q left %q", args, now)
		}
	}
	// A read that never comes back is not waited for.
	ctx, cancel := context.WithCancel(t.Context())
	began := make(chan struct{})
	go func() { <-began; cancel() }()
	_, err := untilInterrupted(ctx, func() (int, error) {
		close(began)
		select {}
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("the error is %v", err)
	}
}

// TestInterruptedTable stops a table of setpoints while it is printed: more rows
// than a pipe holds, so that it can't have come to its end.
func TestInterruptedTable(t *testing.T) {
	c := program(t, "setpoints", finishedJob(t), "--step-D", "0.0001")
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var stderr bytes.Buffer
	c.Stderr = &stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	first := make([]byte, 1)
	if _, err := io.ReadFull(out, first); err != nil {
		t.Fatal(err)
	}
	if err := c.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	rest, err := io.ReadAll(out)
	if err != nil {
		t.Fatal(err)
	}
	_ = c.Wait()
	rows := bytes.Count(rest, []byte("\n")) - 1
	if code := c.ProcessState.ExitCode(); code != exitInterrupted || rows >= 40001 || !bytes.HasSuffix(rest, []byte("\n")) {
		t.Errorf("code %d after %d rows: %s", code, rows, stderr.String())
	}
	if want := fmt.Sprintf("interrupted: the table ends after %d of 40001 depths", rows); !strings.Contains(stderr.String(), want) {
		t.Errorf("stderr is %q, without %q", stderr.String(), want)
	}
}

// TestSecondRun starts a job that another process is at, and a merge of it.
func TestSecondRun(t *testing.T) {
	spec := newJob(t, wide...)
	c := program(t, "run", spec)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { _ = c.Wait(); close(done) }()
	if !whenLogged(t.Context(), c, done, spec, "msg=point") {
		t.Fatal("the job has ended by itself")
	}
	for _, args := range [][]string{{"run", spec}, {"run", "--restart", spec}, {"merge", outputOf(spec)}} {
		o := must(t, exitFailed, args...)
		if !strings.Contains(o.stderr, fmt.Sprintf("process %d on ", c.Process.Pid)) || !strings.Contains(o.stderr, outputOf(spec)) {
			t.Errorf("%v: stderr is %q", args, o.stderr)
		}
	}
	// The lock goes with the process, however that ends.
	_ = c.Process.Kill()
	<-done
	lock, err := journal.LockFolder(outputOf(spec))
	if err != nil {
		t.Fatal(err)
	}
	if err := lock.Release(); err != nil {
		t.Error(err)
	}
}

// TestChanged edits spec and table of an interrupted job: it is refused, with
// what changed, and goes on when that is put back.
func TestChanged(t *testing.T) {
	spec := longJob(t)
	want := func() [2][]byte {
		must(t, exitDone, "run", spec)
		defer os.RemoveAll(outputOf(spec))
		return parquetOf(t, spec)
	}()
	c := program(t, "run", spec)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { _ = c.Wait(); close(done) }()
	if !whenLogged(t.Context(), c, done, spec, `msg="point done"`) {
		t.Fatal("the job was done before it could be stopped")
	}
	_ = c.Process.Kill()
	<-done
	refused := func(wants ...string) {
		t.Helper()
		// The program is another one than the killed process for the test, too:
		// it is the same file.
		o := must(t, exitWrong, "run", spec)
		for _, want := range append(wants, "--restart", outputOf(spec)) {
			if !strings.Contains(o.stderr, want) {
				t.Errorf("%q is not in %q", want, o.stderr)
			}
		}
	}
	editSpec(t, spec, "pixel_arcmin = 2.5", "pixel_arcmin = 2.4")
	refused("spec: limits.pixel_arcmin: 2.5 then, 2.4 now")
	editSpec(t, spec, "pixel_arcmin = 2.4", "pixel_arcmin = 2.5")
	table := filepath.Join(filepath.Dir(spec), "lenses.csv")
	lenses := readFile(t, table)
	if err := os.WriteFile(table, append([]byte("# sold out soon\n"), lenses...), 0o666); err != nil {
		t.Fatal(err)
	}
	refused("catalog: lenses.csv has changed")
	if err := os.WriteFile(table, lenses, 0o666); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitDone, "run", spec); !strings.Contains(o.stderr, "goes on") {
		t.Errorf("stderr is %q", o.stderr)
	}
	sameParquet(t, "put back", want, parquetOf(t, spec))
}

// TestFilesTooLarge limits the size of a process's files, as a disk that fills
// does: one message, and what the journal holds is gone on from when there is
// room again.
func TestFilesTooLarge(t *testing.T) {
	if _, err := exec.LookPath("bash"); err != nil {
		t.Fatal("there is no bash to set the limit with: ", err)
	}
	spec := longJob(t)
	want := func() [2][]byte {
		must(t, exitDone, "run", spec)
		defer os.RemoveAll(outputOf(spec))
		return parquetOf(t, spec)
	}()
	kept := 0
	for _, kilobytes := range []int{0, 1, 4, 16, 24, 64} {
		c := program(t)
		c.Args = append([]string{"bash", "-c", fmt.Sprintf(`ulimit -f %d && exec "$0" "$@"`, kilobytes)}, c.Path, "run", "--quiet", spec)
		bash, err := exec.LookPath("bash")
		if err != nil {
			t.Fatal(err)
		}
		c.Path = bash
		o := ended(t, c)
		lines := strings.Split(strings.TrimSpace(o.stderr), "\n")
		if o.code != exitFailed || !strings.Contains(o.stderr, "too large") || len(lines) > 2 || o.stdout != "" {
			t.Errorf("%d kB: code %d, stderr %q, stdout %q", kilobytes, o.code, o.stderr, o.stdout)
		}
		if size := len(readIfThere(outputOf(spec), sweep.JournalFile)); size < kept {
			t.Errorf("%d kB: the journal fell from %d to %d bytes", kilobytes, kept, size)
		} else {
			kept = size
		}
	}
	if o := must(t, exitDone, "run", spec); kept == 0 || !strings.Contains(o.stderr, "goes on") {
		t.Errorf("%d bytes kept, stderr is %q", kept, o.stderr)
	}
	sameParquet(t, "after all", want, parquetOf(t, spec))
}

// TestFolderGone moves the output folder of a running job away: the run says so
// and ends, and goes on when the folder is back.
func TestFolderGone(t *testing.T) {
	spec := newJob(t, wide...)
	c := program(t, "run", "--quiet", spec)
	var stderr bytes.Buffer
	c.Stderr = &stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { _ = c.Wait(); close(done) }()
	if !whenLogged(t.Context(), c, done, spec, "msg=point") {
		t.Fatal("the job has ended by itself")
	}
	away := outputOf(spec) + "-away"
	if err := os.Rename(outputOf(spec), away); err != nil {
		t.Fatal(err)
	}
	select {
	case <-done:
	case <-time.After(time.Minute):
		_ = c.Process.Kill()
		t.Fatal("the run does not notice")
	}
	if c.ProcessState.ExitCode() != exitFailed || strings.Count(stderr.String(), "has gone") != 1 {
		t.Errorf("code %d, stderr %q", c.ProcessState.ExitCode(), stderr.String())
	}
	if _, err := os.Stat(outputOf(spec)); err == nil {
		t.Error("the run made the folder anew")
	}
	if len(readIfThere(away, sweep.JournalFile)) == 0 {
		t.Error("the journal has not gone with the folder")
	}
}
