package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"relaysweep/sweep"
)

// wide makes of the small job one that takes minutes, to be interrupted.
var wide = []string{"lenses_per_group = 1", "lenses_per_group = 3", "view_blur_arcmin = 24", "view_blur_arcmin = 1"}

// leftNothing runs a command and reports files or folders that it left behind.
func leftNothing(t *testing.T, folder string, run func()) {
	t.Helper()
	before := listing(t, folder)
	run()
	if after := listing(t, folder); !slices.Equal(before, after) {
		t.Errorf("files before %q\nand after %q", before, after)
	}
}

func TestDone(t *testing.T) {
	spec := newJob(t)
	o := must(t, exitDone, "run", spec)
	if o.stderr != "" {
		t.Errorf("a short run says on stderr %q", o.stderr)
	}
	for _, want := range []string{"proven: no other design is shorter than", "written to " + outputOf(spec), "never point it at the sun"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("the summary does not say %q:\n%s", want, o.stdout)
		}
	}
	if strings.Count(o.stdout, cautions) != 1 {
		t.Errorf("the run does not tell the cautions in full and once:\n%s", o.stdout)
	}
	want := []string{outputOf(spec)}
	for _, name := range []string{inputsFolder, "inputs/lenses-1.csv", "inputs/spec.toml", logFile, rankedFile, manifestFile, setpointsFile} {
		want = append(want, filepath.Join(outputOf(spec), name))
	}
	if got := listing(t, outputOf(spec)); !slices.Equal(got, want) {
		t.Errorf("the run left %q, not %q", got, want)
	}
}

// TestNothingPasses runs a job with a limit on the length below any train of
// three of the lenses, and one with a blur that no train reaches.
func TestNothingPasses(t *testing.T) {
	for _, c := range []struct{ old, new, eased string }{
		{"lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 60", "train.length_max_mm"},
		{"view_blur_arcmin = 24", "view_blur_arcmin = 0.5", "limits.view_blur_arcmin"},
	} {
		spec := newJob(t, c.old, c.new)
		o := must(t, exitNothing, "run", spec)
		for _, want := range []string{"nothing meets the requirements", c.eased} {
			if !strings.Contains(o.stdout, want) {
				t.Errorf("%s: the summary does not say %q:\n%s", c.new, want, o.stdout)
			}
		}
		// What was proven is worth keeping, and can be shown again.
		if o := must(t, exitDone, "show", outputOf(spec)); !strings.Contains(o.stdout, c.eased) {
			t.Errorf("%s: show does not say what would help:\n%s", c.new, o.stdout)
		}
		if o := must(t, exitWrong, "show", outputOf(spec), "--rank", "1"); !strings.Contains(o.stderr, "no rank 1") {
			t.Errorf("%s: %s", c.new, o.stderr)
		}
	}
}

// TestSomePointPasses sweeps a limit: one point without a design is no failure.
func TestSomePointPasses(t *testing.T) {
	spec := newJob(t,
		"vignetted_pct = 20", "vignetted_pct = 20\n[sweep]\n\"train.length_max_mm\" = [60, 0]")
	o := must(t, exitDone, "run", spec)
	if !strings.Contains(o.stdout, "some sweep points have no design") {
		t.Errorf("nothing is said of the empty point:\n%s", o.stdout)
	}
}

// TestFaults gives wrong input: each fault is named with file, line, key and
// what would be right, all of a file at once, and nothing is left behind.
func TestFaults(t *testing.T) {
	for _, c := range []struct {
		name   string
		edits  []string
		lenses string
		wants  []string
	}{
		{
			"spec", []string{"width_deg = 10", "width_deg = -10", "pixel_um", "pixel_mm", "near_m = 0.25\n", "near_m = 0.25\nfar_m = 0.1\n"},
			smallLenses(manyFocals),
			[]string{"job.toml:12: field.width_deg: -10", "job.toml:26: mask.pixel_mm", "mask.pixel_um", "job.toml:20", "4 faults, nothing was run"},
		},
		{
			"no table", []string{`["lenses.csv"]`, `["lenses.csv", "more.csv"]`}, smallLenses(manyFocals),
			[]string{"more.csv: cannot read", "1 fault, nothing was run"},
		},
		{
			"table", nil, smallLenses(manyFocals) + "pc20,Invented,plano-convex,18,10,8,N-BK7,inf,5\nx,Invented,y,ten,10,3,N-BK8,inf,5\n",
			[]string{"lenses.csv:26: part", "lenses.csv:27: diameter_mm", "N-BK8", "3 faults, nothing was run"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			spec := newJobOf(t, c.lenses, c.edits...)
			for _, command := range []string{"run", "check"} {
				leftNothing(t, filepath.Dir(spec), func() {
					o := must(t, exitWrong, command, spec)
					for _, want := range c.wants {
						if !strings.Contains(o.stderr, want) {
							t.Errorf("%s does not say %q:\n%s", command, want, o.stderr)
						}
					}
					if o.stdout != "" {
						t.Errorf("%s printed results:\n%s", command, o.stdout)
					}
				})
			}
		})
	}
}

func TestWrongCommandLines(t *testing.T) {
	output := finishedJob(t)
	for _, c := range []struct {
		line string
		want string
	}{
		{"rnu job.toml", `there is no command "rnu"; run is the nearest`},
		{"optimise job.toml", `there is no command "optimise"`},
		{"--verbose", "unknown flag: --verbose"},
		{"run", "run takes one argument, the spec; found 0"},
		{"run a.toml b.toml", "run takes one argument, the spec; found 2"},
		{"run --rank 1 a.toml", "unknown flag: --rank"},
		{"check", "check takes one argument"},
		{"show", "show takes one argument, the output folder"},
		{"version", "there is no command \"version\"; relaysweep --version prints it"},
		{"show OUTPUT --rank one", `--rank takes a whole number, found "one"`},
		{"show OUTPUT --rank 99999999999999999999", `--rank takes a whole number, found "99999999999999999999"`},
		{"run job.toml --quiet=perhaps", `--quiet takes true, false or nothing, found "perhaps"`},
		{"setpoints OUTPUT --step-D 0,1", `--step-D takes a number with a decimal point, as 0.05, found "0,1"`},
		{"report OUTPUT --designs 0", "--designs is 0; it takes 1 to 100"},
		{"show OUTPUT --rank 0", "has no rank 0: it has ranks 1 to 8"},
		{"show OUTPUT --rank 9", "has no rank 9: it has ranks 1 to 8"},
		{"setpoints OUTPUT --rank 9 --depths 1", "has no rank 9: it has ranks 1 to 8"},
		{"setpoints OUTPUT --point 2 --depths 1", "there is no point 2: the run has point 0 only"},
		{"show OUTPUT --point -1", "no point -1"},
		{"show OUTPUT --point 1", "no point 1: the run has point 0 only"},
		{"show OUTPUT --point 1 --rank 1", "no point 1"},
	} {
		args := strings.Fields(strings.Replace(c.line, "OUTPUT", output, 1))
		o := must(t, exitWrong, args...)
		if !strings.Contains(o.stderr, c.want) || !strings.Contains(o.stderr, "--help") || o.stdout != "" || strings.Contains(o.stderr, "strconv") {
			t.Errorf("%s: stderr %q, stdout %q", c.line, o.stderr, o.stdout)
		}
	}
}

// TestResultsBelow shows a folder above results: these are named.
func TestResultsBelow(t *testing.T) {
	output := finishedJob(t)
	top := filepath.Dir(filepath.Dir(output))
	for _, args := range [][]string{{"show", top}, {"report", top}, {"setpoints", top, "--depths", "1"}} {
		o := must(t, exitFailed, args...)
		if want := top + ": holds no results of a run (no run.json); those below it are\n    " + output + "\n"; !strings.Contains(o.stderr, want) {
			t.Errorf("%s: %s", args[0], o.stderr)
		}
	}
	for path, want := range map[string]string{
		t.TempDir():                       "holds no results of a run (no run.json), nor does any folder below it",
		filepath.Join(output, "nowhere"):  "there is no such folder",
		filepath.Join(output, rankedFile): "is a file, and has to be the output folder",
	} {
		if o := must(t, exitFailed, "show", path); !strings.Contains(o.stderr, want) || strings.Contains(o.stderr, "open ") {
			t.Errorf("%s: %s", path, o.stderr)
		}
	}
}

// TestAnotherSpecInTheFolder runs a changed spec where complete results stand,
// which is said before the run, and the same spec, where nothing is said.
func TestAnotherSpecInTheFolder(t *testing.T) {
	spec := newJob(t)
	must(t, exitDone, "run", spec)
	if o := must(t, exitDone, "run", spec, "--restart"); strings.Contains(o.stderr, "another spec") {
		t.Errorf("the same spec: %s", o.stderr)
	}
	text := strings.Replace(string(readFile(t, spec)), "travel_mm = 15", "travel_mm = 14", 1)
	if err := os.WriteFile(spec, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	o := must(t, exitDone, "run", spec)
	if !strings.HasPrefix(o.stderr, "warning: "+outputOf(spec)+": holds the complete results of 20") || !strings.Contains(o.stderr, "job.output") {
		t.Errorf("another spec: %q", o.stderr)
	}
}

func TestHelp(t *testing.T) {
	for _, c := range []struct{ args, want string }{
		{"", "Exit codes:"},
		{"--help", "driving"},
		{"help", cautions},
		{"help run", "SPEC"},
		{"show --help", "--point"},
		{"--version", version},
	} {
		if o := must(t, exitDone, strings.Fields(c.args)...); !strings.Contains(o.stdout, c.want) {
			t.Errorf("relaysweep %s does not say %q:\n%s", c.args, c.want, o.stdout)
		}
	}
}

// TestFailed has a file where the output folder should be, and folders where
// output files should be.
func TestFailed(t *testing.T) {
	spec := newJob(t)
	if err := os.WriteFile(filepath.Join(filepath.Dir(spec), "out"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	leftNothing(t, filepath.Dir(spec), func() {
		if o := must(t, exitFailed, "run", spec); !strings.Contains(o.stderr, "out") || o.stdout != "" {
			t.Errorf("stderr %q, stdout %q", o.stderr, o.stdout)
		}
	})
	for _, name := range []string{rankedFile, setpointsFile, manifestFile} {
		spec := newJob(t)
		stands := filepath.Join(outputOf(spec), name, "folder")
		if err := os.MkdirAll(stands, 0o777); err != nil {
			t.Fatal(err)
		}
		if o := must(t, exitFailed, "run", spec); !strings.Contains(o.stderr, name) {
			t.Errorf("a folder at %s: %s", name, o.stderr)
		}
		if o := invoke(t, "show", outputOf(spec)); o.code == exitDone {
			t.Errorf("a failed run can be shown:\n%s", o.stdout)
		}
	}
}

// TestFailedKeepsNoMixture fails while a run replaces an older one: what then
// stands in the folder is not a mixture that looks like a finished run.
func TestFailedKeepsNoMixture(t *testing.T) {
	spec := newJob(t)
	must(t, exitDone, "run", spec)
	stage := filepath.Join(outputOf(spec), setpointsFile)
	if err := os.Remove(stage); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(stage, "folder"), 0o777); err != nil {
		t.Fatal(err)
	}
	must(t, exitFailed, "run", spec)
	if o := invoke(t, "show", outputOf(spec)); o.code == exitDone {
		t.Errorf("the mixture is shown:\n%s", o.stdout)
	}
}

func TestShowOfNoRun(t *testing.T) {
	if o := must(t, exitFailed, "show", t.TempDir()); !strings.Contains(o.stderr, manifestFile) {
		t.Errorf("stderr is %q", o.stderr)
	}
	output := finishedJob(t)
	if err := os.WriteFile(filepath.Join(output, rankedFile), []byte("PAR1 no more"), 0o666); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitFailed, "show", output); !strings.Contains(o.stderr, rankedFile) {
		t.Errorf("stderr is %q", o.stderr)
	}
}

// leftToGoOn reports what an interrupted run of a new job left besides what the
// next one goes on from and, all of them or none, the files of what was found.
func leftToGoOn(t *testing.T, spec string, before []string) {
	t.Helper()
	folder := outputOf(spec)
	want := append(before, filepath.Dir(folder), folder, filepath.Join(folder, logFile), filepath.Join(folder, sweep.JournalFile))
	got := listing(t, filepath.Dir(spec))
	if found := filepath.Join(folder, manifestFile); slices.Contains(got, found) {
		want = append(want, found, filepath.Join(folder, rankedFile), filepath.Join(folder, setpointsFile))
		for _, name := range []string{"", "lenses-1.csv", "spec.toml"} {
			want = append(want, filepath.Join(folder, inputsFolder, name))
		}
		if o := must(t, exitDone, "show", folder); !strings.Contains(o.stdout, "unfinished") {
			t.Errorf("show does not say that the run is unfinished:\n%s", o.stdout)
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("the interrupted run left %q, not %q", got, want)
	}
}

// TestCancelled stops runs before they begin and in their midst.
func TestCancelled(t *testing.T) {
	for _, after := range []time.Duration{0, 300 * time.Millisecond} {
		spec := newJob(t, wide...)
		before := listing(t, filepath.Dir(spec))
		ctx, cancel := context.WithCancel(t.Context())
		if after == 0 {
			cancel()
		} else {
			time.AfterFunc(after, cancel)
		}
		var stdout, stderr bytes.Buffer
		if code := run(ctx, []string{"run", spec}, &stdout, &stderr); code != exitInterrupted {
			t.Errorf("the code is %d, not %d", code, exitInterrupted)
		}
		cancel()
		wants := []string{"interrupted", "relaysweep run " + spec + " goes on"}
		if after > 0 {
			leftToGoOn(t, spec, before)
		} else {
			wants = []string{"interrupted, nothing was written", "the same command starts again"}
			if got := listing(t, filepath.Dir(spec)); !slices.Equal(got, before) {
				t.Errorf("a run that did not begin left %q, not %q", got, before)
			}
		}
		for _, want := range wants {
			if !strings.Contains(stderr.String(), want) || stdout.Len() > 0 {
				t.Errorf("%q is not in stderr %q; stdout %q", want, stderr.String(), stdout.String())
			}
		}
	}
}

// TestPipe gives a lens table that is a pipe into which nobody writes: the command
// doesn't wait for it.
func TestPipe(t *testing.T) {
	for _, command := range []string{"run", "check"} {
		spec := newJob(t, `["lenses.csv"]`, `["lenses.csv", "pipe.csv"]`)
		if err := syscall.Mkfifo(filepath.Join(filepath.Dir(spec), "pipe.csv"), 0o666); err != nil {
			t.Fatal(err)
		}
		leftNothing(t, filepath.Dir(spec), func() {
			o := ended(t, program(t, command, spec))
			if o.code != exitWrong || !strings.Contains(o.stderr, "pipe.csv: it is a device, pipe or socket") || o.stdout != "" {
				t.Errorf("%s: code %d, stderr %q, stdout %q", command, o.code, o.stderr, o.stdout)
			}
		})
	}
}

// TestInterrupt sends the signals of Ctrl-C, of a system that shuts down and of
// a terminal that is closed.
func TestInterrupt(t *testing.T) {
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
		spec := newJob(t, wide...)
		before := listing(t, filepath.Dir(spec))
		// While the test listens too, a signal that comes before the command
		// listens does not end the process.
		own := make(chan os.Signal, 1)
		signal.Notify(own, s)
		done := make(chan outcome)
		go func() { done <- invoke(t, "run", spec) }()
		// The job has begun when its log tells so.
		for !strings.Contains(string(readIfThere(outputOf(spec), logFile)), "msg=point") {
			time.Sleep(10 * time.Millisecond)
		}
		for ended := false; !ended; {
			if err := syscall.Kill(os.Getpid(), s); err != nil {
				t.Fatal(err)
			}
			select {
			case o := <-done:
				ended = true
				if o.code != exitInterrupted || !strings.Contains(o.stderr, "interrupted") {
					t.Errorf("%v: code %d, stderr %q", s, o.code, o.stderr)
				}
			case <-time.After(50 * time.Millisecond):
			}
		}
		leftToGoOn(t, spec, before)
		signal.Stop(own)
	}
}

func readIfThere(parts ...string) []byte {
	data, err := os.ReadFile(filepath.Join(parts...))
	if err != nil {
		return nil
	}
	return data
}

// TestSameAgain: complete results are shown again and not made again, unless
// that is asked for; and they stay when that is stopped.
func TestSameAgain(t *testing.T) {
	spec := newJob(t)
	first := must(t, exitDone, "run", spec)
	before := readFile(t, outputOf(spec), rankedFile)
	manifest := readFile(t, outputOf(spec), manifestFile)
	again := must(t, exitDone, "run", spec)
	if again.stdout != first.stdout || !strings.Contains(again.stderr, "complete since") || !strings.Contains(again.stderr, "--restart") {
		t.Errorf("the second run printed\n%s%s", again.stdout, again.stderr)
	}
	if !bytes.Equal(manifest, readFile(t, outputOf(spec), manifestFile)) {
		t.Error("the second run wrote another manifest")
	}
	for _, args := range [][]string{{"run", "--restart", spec}, {"run", editSpec(t, spec, "travel_mm = 15", "travel_mm = 14")}} {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		var none bytes.Buffer
		if code := run(ctx, args, &none, &none); code != exitInterrupted {
			t.Fatalf("the code is %d, not %d", code, exitInterrupted)
		}
		if !bytes.Equal(before, readFile(t, outputOf(spec), rankedFile)) || !bytes.Equal(manifest, readFile(t, outputOf(spec), manifestFile)) {
			t.Error("the result of the finished run has changed")
		}
		must(t, exitDone, "show", outputOf(spec))
	}
	// Complete results of another spec are replaced, in the end.
	must(t, exitDone, "run", spec)
	if bytes.Equal(manifest, readFile(t, outputOf(spec), manifestFile)) {
		t.Error("the results are still those of the other spec")
	}
}

// editSpec edits a job's spec where it is.
func editSpec(t testing.TB, spec string, old, new string) string {
	t.Helper()
	text := string(readFile(t, spec))
	if strings.Count(text, old) != 1 {
		t.Fatalf("the spec has %q %d times", old, strings.Count(text, old))
	}
	if err := os.WriteFile(spec, []byte(strings.Replace(text, old, new, 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	return spec
}

// TestSummary: the summary says how many of the rows it shows, which design its hint
// shows, in a sweep too, and how many of those that passed are listed. What it names
// can be shown.
func TestSummary(t *testing.T) {
	hint := func(stdout string) []string {
		for line := range strings.Lines(stdout) {
			if words, is := strings.CutPrefix(line, "relaysweep show "); is && strings.Contains(line, "--rank 1") {
				words, _, _ = strings.Cut(words, " tells")
				return strings.Fields(words)
			}
		}
		return nil
	}
	long := newJobOf(t, smallLenses(manyFocals), "top = 8", "top = 12")
	o := must(t, exitDone, "run", long)
	if want := "\n10 of 12 rows; relaysweep show " + outputOf(long) + " prints all\n"; !strings.Contains(o.stdout, want) {
		t.Errorf("no %q in\n%s", want, o.stdout)
	}
	if strings.Contains(must(t, exitDone, "show", outputOf(long)).stdout, "rows;") {
		t.Error("show says that rows are missing")
	}
	short := newJob(t)
	o = must(t, exitDone, "run", short)
	if strings.Contains(o.stdout, " rows") || strings.Contains(o.stdout, "listed") || strings.Contains(o.stdout, "--point") {
		t.Errorf("all rows are shown, and of one point:\n%s", o.stdout)
	}
	must(t, exitDone, append([]string{"show"}, hint(o.stdout)...)...)
	// The first point has no design.
	swept := newJob(t, "vignetted_pct = 20", "vignetted_pct = 20\n[sweep]\n\"train.length_max_mm\" = [60, 0]")
	o = must(t, exitDone, "run", swept)
	if got, want := hint(o.stdout), []string{outputOf(swept), "--point", "1", "--rank", "1"}; !slices.Equal(got, want) {
		t.Errorf("the hint is %q, want %q", got, want)
	}
	must(t, exitDone, append([]string{"show"}, hint(o.stdout)...)...)
	// A population search meets more that pass than are listed.
	drawn := newJobOf(t, smallLenses(manyFocals),
		"[limits]", "[search]\nmethod = \"optimize\"\nevaluations_max = 3000\n[limits]")
	o = must(t, exitDone, "run", drawn)
	passed := readManifest(t, outputOf(drawn)).Points[0].Passed
	if want := fmt.Sprintf("8 listed of %d that passed\n", passed); passed <= 8 || !strings.Contains(o.stdout, want) {
		t.Errorf("no %q in\n%s", want, o.stdout)
	}
}

// TestNothingJudged asks for less length than the space of any window: no design is
// judged by itself, and yet the run says what binds, whole and in parts.
func TestNothingJudged(t *testing.T) {
	spec := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 20")
	o := must(t, exitNothing, "run", spec)
	p := readManifest(t, outputOf(spec)).Points[0]
	if len(p.Failed) > 0 || len(p.Binds) == 0 {
		t.Errorf("failed %v, binds %v", p.Failed, p.Binds)
	}
	line := "bounds left none to judge; of 1000 drawn at random, turned away: "
	if !strings.Contains(o.stdout, line) || !strings.Contains(o.stdout, "the whole space was searched, no design passes\n") {
		t.Errorf("the summary is\n%s", o.stdout)
	}
	if err := os.RemoveAll(outputOf(spec)); err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"1/2", "2/2"} {
		must(t, exitDone, "run", "--part", part, spec)
	}
	must(t, exitNothing, "merge", outputOf(spec))
	merged := readManifest(t, outputOf(spec)).Points[0]
	if fmt.Sprint(merged.Binds) != fmt.Sprint(p.Binds) {
		t.Errorf("binds %v in one run, %v merged", p.Binds, merged.Binds)
	}
}
