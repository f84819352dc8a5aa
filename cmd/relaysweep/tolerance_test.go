package main

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"relaysweep/results"
)

// fewTolerances is a job whose designs are built quickly: two kinds of errors.
var fewTolerances = []string{`method = "none"`, `method = "none"

[tolerance]
thickness_mm = 0
index = 0
abbe_pct = 0
lens_tilt_arcmin = 0
group_decentre_mm = 0
group_tilt_arcmin = 0
gap_mm = 0
mask_roll_arcmin = 0
stage_zero_mm = 0`}

func readYields(t *testing.T, output string) []results.Yield {
	t.Helper()
	rows, ranked, err := results.ReadYields(filepath.Join(output, yieldFile))
	if err != nil {
		t.Fatal(err)
	}
	if want := readManifest(t, output).RankedSHA256; ranked != want {
		t.Errorf("the yields are of %s, not of %s", ranked, want)
	}
	return rows
}

// TestTolerance: builds without errors are the ranked design, counts and shares agree, the
// same bytes come again on any number of cores, and the report tells of them.
func TestTolerance(t *testing.T) {
	output := finishedJob(t, fewTolerances...)
	o := must(t, exitDone, "tolerance", output, "--designs", "2", "--builds", "40")
	if !strings.Contains(o.stdout, "tighten first") || !strings.Contains(o.stdout, yieldFile) {
		t.Errorf("the table:\n%s", o.stdout)
	}
	if _, err := os.Stat(filepath.Join(output, toleranceJournal)); err == nil {
		t.Error("the journal stays")
	}
	rows := readYields(t, output)
	if len(rows) != 2 {
		t.Fatalf("%d yields", len(rows))
	}
	checkColumns(t, filepath.Join(output, yieldFile), yieldFileColumns)
	checkColumns(t, filepath.Join(output, buildsFile), buildsFileColumns)
	passed := map[string]int{}
	var heights [2][]float64
	for _, row := range rowsOf(readTable(t, filepath.Join(output, buildsFile))) {
		if row["failed_by"] == "" {
			passed[row["design_id"].(string)]++
		}
		rank := row["rank"].(int32) - 1
		heights[rank] = append(heights[rank], row["pointing_up_arcmin"].(float64))
	}
	designs := readRanked(t, output)
	for i, y := range rows {
		d := designs[i]
		if passed[y.DesignID] != y.Passed {
			t.Errorf("rank %d: %d builds pass in %s, %d in %s", y.Rank, y.Passed, yieldFile, passed[y.DesignID], buildsFile)
		}
		var apart []float64
		for k := 0; k < len(heights[i]); k += 2 {
			apart = append(apart, math.Abs(heights[i][k]-heights[i][k+1]))
		}
		slices.Sort(apart)
		if len(apart) != 20 || apart[18] != y.EyesHeightArcmin {
			t.Errorf("rank %d: %v arcmin between two eyes, of %v", y.Rank, y.EyesHeightArcmin, apart)
		}
		failed := 0
		for _, f := range y.Failed {
			failed += f.Builds
		}
		if y.Builds != 40 || y.Passed+failed != 40 || y.YieldPct != 100*float64(y.Passed)/40 || y.YieldLoPct > y.YieldPct || y.YieldHiPct < y.YieldPct {
			t.Errorf("rank %d: %d of %d pass, %d fail, %v %% (%v to %v)", y.Rank, y.Passed, y.Builds, failed, y.YieldPct, y.YieldLoPct, y.YieldHiPct)
		}
		for _, f := range y.Figures {
			want, _, known := d.Number(f.Figure)
			tolerance := 1e-6 * (1 + math.Abs(want))
			if f.Figure == "vignetted_pct" {
				tolerance = 0.5 // chords lie elsewhere
			}
			if known && !(math.Abs(f.Nominal-math.Abs(want)) <= tolerance) {
				t.Errorf("rank %d: %s is %v without errors, %v in %s", y.Rank, f.Figure, f.Nominal, want, rankedFile)
			}
			if f.P5 > f.P50 || f.P50 > f.P95 || f.P95 > f.P99 {
				t.Errorf("rank %d: %s: percentiles %v", y.Rank, f.Figure, f)
			}
			if (f.Figure == "view_blur_arcmin") != (f.Limit != nil && *f.Limit == 24) {
				t.Errorf("%s has the limit %v", f.Figure, f.Limit)
			}
		}
		kinds := map[string]bool{}
		for _, c := range y.Contributions {
			kinds[c.Tolerance] = true
		}
		if diff := cmp.Diff(map[string]bool{"focal_pct": true, "lens_decentre_mm": true}, kinds); diff != "" {
			t.Errorf("contributions (-want +got):\n%s", diff)
		}
	}
	first := [2]string{string(readFile(t, output, yieldFile)), string(readFile(t, output, buildsFile))}
	again := finishedJob(t, append([]string{"top = 8", "top = 8\nworkers = 3"}, fewTolerances...)...)
	must(t, exitDone, "tolerance", again, "--designs", "2", "--builds", "40", "--quiet")
	if first != [2]string{string(readFile(t, again, yieldFile)), string(readFile(t, again, buildsFile))} {
		t.Error("other bytes on another number of cores")
	}
	must(t, exitDone, "report", output, "--designs", "1")
	if text := pageText(t, output); !strings.Contains(text, "As it is really built") || !strings.Contains(text, "Of 40 builds drawn") {
		t.Error("the report does not tell of the builds")
	}
	must(t, exitDone, "report", output, "--designs", "1", "--eyes", "2")
	if text := pageText(t, output); !strings.Contains(text, "Two of them side by side") || !strings.Contains(text, "where 3.4 arcmin is comfortable") {
		t.Error("the report does not tell how two eyes differ")
	}
	one := must(t, exitDone, "tolerance", output, "--rank", "1", "--build", "7").stdout
	if lines := strings.Count(one, "\n"); lines != 1+3+6 || !strings.Contains(one, "focal_pct,rear.1,") || !strings.Contains(one, "lens_decentre_mm,front.1 y,") {
		t.Errorf("one build:\n%s", one)
	}
	if one != must(t, exitDone, "tolerance", output, "--rank", "1", "--build", "7").stdout {
		t.Error("the same build is another one")
	}
}

// TestBuildsProgress: the progress tells what all the builds are for, which are many more than were
// asked for.
func TestBuildsProgress(t *testing.T) {
	var out strings.Builder
	p := &buildsProgress{w: &out, started: time.Now().Add(-time.Hour), steps: 3528, yields: 200}
	p.add(250, 1, 5)
	if want := "design 1 of 5  250 of 3528 builds (200 for yields, with and without compensators, 3328 for what to tighten)\n"; !strings.HasSuffix(out.String(), want) {
		t.Errorf("%q, want %q", out.String(), want)
	}
}

// TestRunBuilds: a run makes the builds that its spec asks for; done again it keeps them; a
// run of another spec in the same folder takes their place, or removes them. What stands in
// the way and is none of ours is kept.
func TestRunBuilds(t *testing.T) {
	spec := newJob(t, append([]string{"top = 8", "top = 1"}, fewTolerances...)...)
	text := strings.Replace(string(readFile(t, spec)), "gap_mm = 0", "gap_mm = 0\nbuilds = 20\ndesigns = 1", 1)
	if err := os.WriteFile(spec, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	output := outputOf(spec)
	if err := os.MkdirAll(output, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(output, yieldFile), []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	o := must(t, exitDone, "run", "--quiet", spec)
	if !strings.Contains(o.stdout, "tighten first") || !strings.Contains(o.stderr, "kept as "+yieldFile+".old-1") {
		t.Errorf("%s%s", o.stdout, o.stderr)
	}
	if string(readFile(t, output, yieldFile+".old-1")) != "mine" {
		t.Error("another's file is gone")
	}
	if rows := readYields(t, output); len(rows) != 1 || rows[0].Builds != 20 {
		t.Errorf("%v", rows)
	}
	before, err := os.Stat(filepath.Join(output, yieldFile))
	if err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, "run", "--quiet", spec)
	after, err := os.Stat(filepath.Join(output, yieldFile))
	if err != nil || !os.SameFile(before, after) {
		t.Errorf("the same run builds again: %v", err)
	}
	other := strings.Replace(strings.Replace(text, "builds = 20\n", "", 1), "view_blur_arcmin = 24", "view_blur_arcmin = 23", 1)
	if err := os.WriteFile(spec, []byte(strings.Replace(other, "top = 1", "top = 2", 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, "run", "--quiet", spec)
	for _, name := range []string{yieldFile, buildsFile} {
		if _, err := os.Stat(filepath.Join(output, name)); err == nil {
			t.Errorf("%s of other results stays", name)
		}
	}
}

// TestToleranceWrong: wrong flags are told with exit code 2, and nothing is written.
func TestToleranceWrong(t *testing.T) {
	output := finishedJob(t)
	for _, args := range [][]string{
		{"--designs", "0"}, {"--builds", "0"}, {"--builds", "1000000"}, {"--build", "3"}, {"--rank", "1"}, {"--rank", "1", "--build", "-1"},
		{"--rank", "99", "--build", "1"}, {"--point", "7"},
	} {
		leftNothing(t, output, func() { must(t, exitWrong, append([]string{"tolerance", output}, args...)...) })
	}
	must(t, exitFailed, "tolerance", filepath.Join(output, "nowhere"))
}

// TestToleranceStopped: a study that is interrupted, or killed, goes on by the same command,
// and what it writes is what one without a stop writes.
func TestToleranceStopped(t *testing.T) {
	output := finishedJob(t, fewTolerances...)
	args := []string{"tolerance", output, "--designs", "2", "--builds", "300", "--quiet"}
	must(t, exitDone, args...)
	want := [2]string{string(readFile(t, output, yieldFile)), string(readFile(t, output, buildsFile))}
	path := filepath.Join(output, toleranceJournal)
	for _, how := range []os.Signal{os.Interrupt, os.Kill} {
		for _, name := range []string{yieldFile, buildsFile} {
			if err := os.Remove(filepath.Join(output, name)); err != nil {
				t.Fatal(err)
			}
		}
		c := program(t, args...)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() { _ = c.Wait(); close(done) }()
		// A unit of builds takes tens of kilobytes.
		for begun := false; !begun; {
			select {
			case <-done:
				t.Fatal("the study was done before it could be stopped")
			case <-time.After(time.Millisecond):
				info, err := os.Stat(path)
				begun = err == nil && info.Size() > 20_000
			}
		}
		if err := c.Process.Signal(how); err != nil {
			t.Fatal(err)
		}
		<-done
		if code := c.ProcessState.ExitCode(); how == os.Interrupt && code != exitInterrupted {
			t.Errorf("interrupted, it ended with %d", code)
		}
		if _, err := os.Stat(path); err != nil {
			t.Error(err)
		}
		if o := ended(t, program(t, args...)); o.code != exitDone {
			t.Fatalf("%+v", o)
		}
		if want != [2]string{string(readFile(t, output, yieldFile)), string(readFile(t, output, buildsFile))} {
			t.Errorf("stopped by %v it wrote something else", how)
		}
	}
}
