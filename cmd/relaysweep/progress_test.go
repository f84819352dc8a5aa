package main

import (
	"bytes"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"relaysweep/sweep"
)

// TestProgressPhase drives the lines of progress by a clock of its own: the phase is
// named where nothing can be counted, and where nothing has been for more than 10 s.
func TestProgressPhase(t *testing.T) {
	var out bytes.Buffer
	start := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	p := &progress{w: &out, started: start, shown: start}
	at := func(seconds int) time.Time { return start.Add(time.Duration(seconds) * time.Second) }
	for _, c := range []struct {
		seconds int
		status  *sweep.Status // taken a moment before
		want    string
	}{
		{10, &sweep.Status{Stage: "stacks", Points: 1}, "10s  making groups of lenses"},
		{20, &sweep.Status{Stage: "search", Points: 1, Examined: 500, Wanted: 20}, "examined 500 (50/s)  checked 0 (0/s)  passed 0 of 20"},
		{30, &sweep.Status{Stage: "search", Points: 1, Examined: 500, Wanted: 20}, "passed 0 of 20  searching for 11s"},
		{40, nil, "passed 0 of 20  searching for 21s"},
		{50, &sweep.Status{Stage: "check", Points: 1, Examined: 500, Checked: 64, Wanted: 20}, "checked 64 (6/s)  passed 0 of 20"},
		{65, nil, "passed 0 of 20  checking by rays for 16s"},
		{75, &sweep.Status{Stage: "would_fit", Easing: "travel", Points: 1, Examined: 500, Checked: 64}, "finding what would fit: travel eased"},
		{85, &sweep.Status{Stage: "ideal", Points: 3, Point: 2}, "point 3 of 3  finding the ideal limit"},
		{95, &sweep.Status{Stage: "merge", Points: 3}, "point 1 of 3  joining the parts"},
		{105, &sweep.Status{Stage: "stacks", Points: 1, Replayed: true}, "going through the journal"},
	} {
		if c.status != nil {
			p.take(*c.status, at(c.seconds-1))
		}
		out.Reset()
		p.draw(at(c.seconds))
		if line := strings.TrimSpace(out.String()); !strings.HasSuffix(line, c.want) {
			t.Errorf("after %d s %q, want %q at its end", c.seconds, line, c.want)
		}
	}
}

// TestProgressRefined: a run that refines shows both ends, what is found and what is
// screened, and what lies between.
func TestProgressRefined(t *testing.T) {
	start := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		status sweep.Status
		want   string
	}{
		{sweep.Status{ProvenMM: 150, BestMM: math.Inf(1)}, "refined 12  screened to 150.0 mm"},
		{sweep.Status{BestMM: 200}, "refined 12  best 200.0 mm"},
		{sweep.Status{ProvenMM: 190, BestMM: 200}, "refined 12  best 200.0 mm  screened to 190.0 mm, 10.0 mm (5.0 %) to go"},
		{sweep.Status{ProvenMM: 201, BestMM: 200}, "refined 12  best 200.0 mm  screened to 201.0 mm"},
	} {
		var out bytes.Buffer
		p := &progress{w: &out, started: start, shown: start}
		c.status.Stage, c.status.Points, c.status.Refined, c.status.Wanted = "refine", 1, 12, 20
		p.take(c.status, start.Add(9*time.Second))
		p.draw(start.Add(10 * time.Second))
		if line := strings.TrimSpace(out.String()); !strings.HasSuffix(line, c.want) {
			t.Errorf("%q, want %q at its end", line, c.want)
		}
	}
}

// TestProgressStages: a run that finds nothing tells of each of its stages, those in which
// nothing is counted among them, and begins with the groups, not with a journal.
func TestProgressStages(t *testing.T) {
	spec := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 60")
	job, err := sweep.Open(t.Context(), spec)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(outputOf(spec), 0o777); err != nil {
		t.Fatal(err)
	}
	journal, err := job.OpenJournal(outputOf(spec), sweep.Part{}, origin(), false)
	if err != nil {
		t.Fatal(err)
	}
	defer journal.Close()
	var stages, eased []string
	_, err = job.Run(t.Context(), sweep.Attempt{Journal: journal, Progress: func(s sweep.Status) {
		if s.Replayed {
			t.Errorf("a new run goes through a journal: %+v", s)
		}
		if len(stages) == 0 || stages[len(stages)-1] != s.Stage {
			stages = append(stages, s.Stage)
		}
		if s.Easing != "" {
			eased = append(eased, s.Easing)
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"stacks", "search", "would_fit", "ideal"}; !slices.Equal(stages, want) {
		t.Errorf("stages %q, want %q", stages, want)
	}
	for _, name := range []string{"length", "travel", "relief_max_mm"} {
		if !slices.Contains(eased, name) {
			t.Errorf("nothing is told of easing %s: %q", name, eased)
		}
	}
}
