package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestRunOptimizes runs a population search: no row claims to be exact, the rows
// stand when they are laid out again, run.json tells how good they are known to be,
// and the files are the same bytes on any number of workers and in parts of whole points.
func TestRunOptimizes(t *testing.T) {
	edits := []string{"[limits]", "[search]\nmethod = \"optimize\"\nevaluations_max = 3000\n[limits]"}
	spec := newJob(t, edits...)
	must(t, exitDone, "check", spec)
	leftNothing(t, filepath.Dir(spec), func() {
		if o := must(t, exitWrong, "run", "--part", "1/2", spec); !strings.Contains(o.stderr, "--part") || !strings.Contains(o.stderr, "search.method") {
			t.Errorf("stderr is %q", o.stderr)
		}
	})
	if o := must(t, exitDone, "run", spec); !strings.Contains(o.stdout, "not exact: the shortest found has") || !strings.Contains(o.stdout, "\nproven") {
		t.Errorf("stdout is %q", o.stdout)
	}
	output := outputOf(spec)
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	p := &run.manifest.Points[0]
	if p.Optimized == nil || p.Exact || p.BestMM == nil || p.LowerBoundMM == nil || p.GapMM == nil || p.Evaluations < 200 || len(p.History) == 0 ||
		*p.LowerBoundMM > *p.BestMM || p.ProvenLengthMM == nil || *p.ProvenLengthMM != *p.LowerBoundMM {
		t.Errorf("run.json has %+v, %+v", p, p.Optimized)
	}
	for i := range run.designs {
		d := &run.designs[i]
		if d.Exact || d.Refined {
			t.Errorf("rank %d: exact %v, refined %v", d.Rank, d.Exact, d.Refined)
		}
		if i == 0 && fmt.Sprintf("%.6f", d.LengthMM) != fmt.Sprintf("%.6f", *p.BestMM) {
			t.Errorf("rank 1 has %v mm, best_mm is %v", d.LengthMM, *p.BestMM)
		}
		b, err := run.reopen(d)
		if err != nil || b.doubt != "" {
			t.Errorf("rank %d laid out again: %v %s", d.Rank, err, b.doubt)
		}
	}
	want := parquetOf(t, spec)
	for _, workers := range []string{"1", "3"} {
		other := newJob(t, append(edits, "top = 8", "top = 8\nworkers = "+workers)...)
		must(t, exitDone, "run", other)
		sameParquet(t, workers+" workers", want, parquetOf(t, other))
	}
	part := newJob(t, edits...)
	must(t, exitDone, "run", "--part", "1/1", part)
	must(t, exitDone, "merge", outputOf(part))
	sameParquet(t, "one part", want, parquetOf(t, part))
	must(t, exitDone, "report", output)
	page, err := os.ReadFile(filepath.Join(output, "report.html"))
	if err != nil || !strings.Contains(string(page), "a population search looked at a part of the designs") {
		t.Errorf("the report does not say that it is not exact: %v", err)
	}
}
