package main

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"relaysweep/objective"
	"relaysweep/sweep"
)

// refinedJob is a small job whose designs are refined, sharper than any is at its
// paraxial gaps; the audit is small.
var refinedJob = []string{
	"view_blur_arcmin = 24", "view_blur_arcmin = 13",
	`method = "none"`, "method = \"simplex\"\naudit = 6",
}

// TestRunRefines runs a job whose designs are refined: the rows say what
// became of which, stand when they are laid out again, and are the same bytes
// on any number of workers and from parts of the point.
func TestRunRefines(t *testing.T) {
	edits := refinedJob
	spec := newJob(t, edits...)
	o := must(t, exitDone, "run", spec)
	for _, want := range []string{"proven, at paraxial gaps: no other", "screened: no other", "audit: of the designs"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("no %q in %q", want, o.stdout)
		}
	}
	output := outputOf(spec)
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	p := &run.manifest.Points[0]
	counts := p.Refined
	if p.Exact || !p.Ended || p.ScreenedMM == nil || p.ProvenLengthMM == nil || p.Audit == nil || p.Audit.Drawn == 0 || p.Audit.Drawn > 6 ||
		p.Found == nil || p.Found.ShortestMM != math.Round(run.designs[0].LengthMM*1e6)/1e6 {
		t.Errorf("run.json has %+v, audit %+v, found %+v", p, p.Audit, p.Found)
	}
	refined := 0
	for i := range run.designs {
		d := &run.designs[i]
		if d.Exact == d.Refined || !d.Screened || d.Refined != (d.StartLengthMM != nil) || d.Refined != (d.Active != nil) {
			t.Errorf("rank %d: refined %v, exact %v, start %v, active %v", d.Rank, d.Refined, d.Exact, d.StartLengthMM, d.Active)
		}
		if i > 0 && d.LengthMM < run.designs[i-1].LengthMM-1e-6 {
			t.Errorf("rank %d is shorter than the one before", d.Rank)
		}
		if !d.Refined {
			continue
		}
		refined++
		if *d.StartLengthMM == d.LengthMM || math.Abs(d.AngularMagnification-1) > 0.01+1e-9 || math.Abs(d.AxisVergenceD) > 0.25 {
			t.Errorf("rank %d: from %v to %v mm, magnification %v, %v D on the axis", d.Rank, *d.StartLengthMM, d.LengthMM, d.AngularMagnification, d.AxisVergenceD)
		}
		b, err := run.reopen(d)
		if err != nil || b.doubt != "" {
			t.Errorf("rank %d laid out again: %v %s", d.Rank, err, b.doubt)
		}
	}
	if counts == nil || refined == 0 || refined > counts.Passed || counts.Passed > counts.Candidates {
		t.Errorf("%d refined designs, %+v", refined, counts)
	}
	want := parquetOf(t, spec)
	for _, workers := range []string{"1", "2", "8"} {
		other := newJob(t, append(edits, "top = 8", "top = 8\nworkers = "+workers)...)
		must(t, exitDone, "run", other)
		sameParquet(t, workers+" workers", want, parquetOf(t, other))
	}
	parts := newJob(t, edits...)
	for _, part := range []string{"2/2", "1/2"} {
		must(t, exitDone, "run", "--part", part, parts)
	}
	must(t, exitDone, "merge", outputOf(parts))
	sameParquet(t, "parts", want, parquetOf(t, parts))
	// Each part refines until nothing comes into a ranking of its own: more than one run.
	if run, err := openRun(outputOf(parts)); err != nil || run.manifest.Points[0].Refined.Passed < counts.Passed {
		t.Errorf("%v, refined in one run %+v, in parts %+v", err, *counts, *run.manifest.Points[0].Refined)
	}
	must(t, exitDone, "report", output)
	checkWords(t, "report", pageText(t, output), "≥ 0.9900", "≤ 1.0100", "≤ 0.250")
	for i := range run.designs {
		d := &run.designs[i]
		o := must(t, exitDone, "show", output, "--rank", fmt.Sprint(d.Rank))
		for _, line := range strings.Split(o.stdout, "\n") {
			// With a limit on vignetting the whole pupil need not pass the whole field.
			if strings.HasPrefix(line, "field_max_deg") && strings.Contains(line, ">=") {
				t.Errorf("rank %d, refined %v: %s", d.Rank, d.Refined, line)
			}
		}
		// What a refined design may just meet is told with what was asked of it, here by defaults:
		// 1 % of the magnification, 0.25 D on the axis.
		size, axis := lineOf(o.stdout, "angular_magnification"), lineOf(o.stdout, "axis_vergence_D")
		if d.Refined != strings.Contains(strings.Join(size, " "), ">= 0.990") || d.Refined != strings.Contains(strings.Join(axis, " "), "<= 0.250") ||
			d.Refined != strings.Contains(o.stdout, "<= 1.010") {
			t.Errorf("rank %d, refined %v: %q and %q", d.Rank, d.Refined, size, axis)
		}
		if short := strings.Contains(o.stdout, "the whole pupil is lit up to "); short != (d.FieldMaxDeg < d.FieldAskedDeg-1e-6) {
			t.Errorf("rank %d: field %v of %v deg, and the page says so: %v", d.Rank, d.FieldMaxDeg, d.FieldAskedDeg, short)
		}
		if strings.Contains(o.stdout, "refined by exact rays from ") != d.Refined {
			t.Errorf("rank %d, refined %v:\n%s", d.Rank, d.Refined, o.stdout)
		}
	}
}

// TestKilledRefined kills a job that refines at random instants, on changing numbers of
// cores, and lets the same command go on: the bytes are those of a job that ran through.
func TestKilledRefined(t *testing.T) {
	t.Parallel()
	spec := newJob(t, refinedJob...)
	start := time.Now()
	if o := ended(t, program(t, "run", "--quiet", spec)); o.code != exitDone {
		t.Fatalf("code %d: %s", o.code, o.stderr)
	}
	lasts := time.Since(start)
	want := parquetOf(t, spec)
	if err := os.RemoveAll(outputOf(spec)); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(15, 16))
	resumed := 0
	for killed := 0; killed < effort(8, 60); {
		c := program(t, "run", "--quiet", spec)
		c.Env = append(c.Env, fmt.Sprintf("GOMAXPROCS=%d", []int{1, 2, 8}[r.IntN(3)]))
		var timer *time.Timer
		o := endedOnce(t, c, func() {
			timer = time.AfterFunc(time.Duration(r.Int64N(int64(lasts))), func() { _ = c.Process.Signal(syscall.SIGKILL) })
		})
		timer.Stop()
		if strings.Contains(string(readIfThere(outputOf(spec), logFile)), "msg=resume") {
			resumed++
		}
		switch o.code {
		case -1:
			killed++
		case exitDone:
			sameParquet(t, fmt.Sprintf("after %d kills", killed), want, parquetOf(t, spec))
			if err := os.RemoveAll(outputOf(spec)); err != nil {
				t.Fatal(err)
			}
		default:
			t.Fatalf("code %d: %s", o.code, o.stderr)
		}
	}
	if o := ended(t, program(t, "run", "--quiet", spec)); o.code != exitDone {
		t.Fatalf("code %d: %s", o.code, o.stderr)
	}
	sameParquet(t, "in the end", want, parquetOf(t, spec))
	if resumed == 0 {
		t.Error("no attempt went on from a journal")
	}
}

// TestRefinedCut ends a job that refines by checks_max: what was found is written all
// the same, each row with what is known of its place.
func TestRefinedCut(t *testing.T) {
	// At these blurs some designs pass as they are, and stay so where refinement makes
	// them no shorter.
	edits := []string{
		"top = 8", "top = 60", "view_blur_arcmin = 24", "view_blur_arcmin = 60", "mask_blur_arcmin = 12", "mask_blur_arcmin = 60",
		`method = "none"`, "method = \"simplex\"\naudit = 0\n[search]\nchecks_max = 64",
	}
	spec := newJob(t, edits...)
	o := must(t, exitDone, "run", spec)
	for _, want := range []string{"shortest found: ", "not complete: the search ended before the ranking was certain"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("no %q in %q", want, o.stdout)
		}
	}
	p := readManifest(t, outputOf(spec)).Points[0]
	designs := readRanked(t, outputOf(spec))
	if p.Exact || p.Ended || p.ScreenedMM == nil || p.Found == nil || len(designs) == 0 || p.Found.ShortestMM != math.Round(designs[0].LengthMM*1e6)/1e6 {
		t.Fatalf("%d designs, %+v, found %+v", len(designs), p, p.Found)
	}
	beyond := 0
	for i := range designs {
		d := &designs[i]
		ranked := math.Round(d.LengthMM*1e6) / 1e6
		if below := ranked <= *p.ScreenedMM; d.Screened != below {
			t.Errorf("rank %d of %v mm, screened to %v mm: %v", d.Rank, ranked, *p.ScreenedMM, d.Screened)
		}
		if want := !d.Refined && ranked <= *p.ProvenLengthMM; d.Exact != want {
			t.Errorf("rank %d of %v mm, refined %v, proven to %v mm: exact %v", d.Rank, ranked, d.Refined, *p.ProvenLengthMM, d.Exact)
		}
		if ranked > *p.ProvenLengthMM {
			beyond++
		}
	}
	if beyond == 0 {
		t.Error("no design is longer than the proven length")
	}
}

// TestCappedParts: what a capped job refines is known to no part of a point alone.
func TestCappedParts(t *testing.T) {
	for _, edits := range [][]string{
		{`method = "none"`, "method = \"simplex\"\ncandidates = 5"},
		{`method = "none"`, "method = \"simplex\"\n[search]\nchecks_max = 50"},
	} {
		spec := newJob(t, edits...)
		leftNothing(t, filepath.Dir(spec), func() {
			o := must(t, exitWrong, "run", "--part", "1/2", spec)
			for _, want := range []string{"part 1/2 would divide a sweep point", "search.checks_max or refine.candidates", "refine.method = \"none\""} {
				if !strings.Contains(o.stderr, want) {
					t.Errorf("%q does not say %q", o.stderr, want)
				}
			}
		})
	}
}

// TestAuditListed: of the designs that pass an audit those are counted that the ranking
// would lack: no longer than the screen has come to, and certain by nothing else.
func TestAuditListed(t *testing.T) {
	job, err := sweep.Open(t.Context(), newJob(t, refinedJob...))
	if err != nil {
		t.Fatal(err)
	}
	o := &sweep.PointOutcome{Point: job.Points[0], Problem: job.Points[0].Spec.Problem()}
	o.Proof.Space = big.NewInt(1000)
	o.Refined, o.ScreenedMM, o.Audit = &sweep.Refined{}, 200, &sweep.Audit{Drawn: 50, Passed: 4}
	for _, f := range []sweep.Found{{Ranked: 180, Screened: true}, {Ranked: 190}, {Ranked: 200}, {Ranked: 201}} {
		f.Train = &objective.Train{Refined: true}
		o.Found = append(o.Found, f)
	}
	if a := manifestPoint(o, nil).Audit; a == nil || a.Drawn != 50 || a.Passed != 4 || a.Listed != 2 {
		t.Errorf("the audit is %+v", a)
	}
}
