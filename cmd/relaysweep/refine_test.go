package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestRunRefines runs a job whose near misses are refined: the rows say what
// became of which, stand when they are laid out again, and are the same bytes
// on any number of workers and from parts of the point.
func TestRunRefines(t *testing.T) {
	edits := []string{
		"view_blur_arcmin = 24", "view_blur_arcmin = 13",
		`method = "none"`, "method = \"simplex\"\ncandidates = 40",
	}
	spec := newJob(t, edits...)
	if o := must(t, exitDone, "run", spec); !strings.Contains(o.stdout, "proven, at paraxial gaps") || !strings.Contains(o.stdout, "refined by exact rays: ") {
		t.Errorf("stdout is %q", o.stdout)
	}
	output := outputOf(spec)
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	counts := run.manifest.Points[0].Refined
	refined := 0
	for i := range run.designs {
		d := &run.designs[i]
		if d.Refined == d.Exact || d.Refined != (d.StartLengthMM != nil) || d.Refined != (d.Active != nil) {
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
	if counts == nil || refined == 0 || refined > counts.Passed || counts.Passed > counts.Candidates || counts.Candidates > 40 {
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
	if run, err := openRun(outputOf(parts)); err != nil || *run.manifest.Points[0].Refined != *counts {
		t.Errorf("%v, refined in one run %+v, in parts %+v", err, *counts, *run.manifest.Points[0].Refined)
	}
	must(t, exitDone, "report", output)
	for i := range run.designs {
		d := &run.designs[i]
		o := must(t, exitDone, "show", output, "--rank", fmt.Sprint(d.Rank))
		for _, line := range strings.Split(o.stdout, "\n") {
			// With a limit on vignetting the whole pupil need not pass the whole field.
			if strings.HasPrefix(line, "field_max_deg") && strings.Contains(line, ">=") {
				t.Errorf("rank %d, refined %v: %s", d.Rank, d.Refined, line)
			}
		}
		if short := strings.Contains(o.stdout, "the whole pupil is lit up to "); short != (d.FieldMaxDeg < d.FieldAskedDeg-1e-6) {
			t.Errorf("rank %d: field %v of %v deg, and the page says so: %v", d.Rank, d.FieldMaxDeg, d.FieldAskedDeg, short)
		}
		if strings.Contains(o.stdout, "refined by exact rays from ") != d.Refined {
			t.Errorf("rank %d, refined %v:\n%s", d.Rank, d.Refined, o.stdout)
		}
	}
}
