package sweep

import (
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// givenJob is a job that measures one train in place of a search.
func givenJob(s *spec.Spec, lenses []*catalog.Lens, id string) (*Job, *spec.Spec) {
	given := *s
	given.Train.Given = id
	return &Job{Spec: &given, Catalog: &catalog.Catalog{Lenses: lenses}, Points: []spec.Point{{Spec: &given}}}, &given
}

// measured measures a train.
func measured(t *testing.T, s *spec.Spec, lenses []*catalog.Lens, id string) *Outcome {
	t.Helper()
	job, given := givenJob(s, lenses, id)
	out, err := job.measureGiven(t.Context(), given, given.Problem(), job.options(given))
	if err != nil {
		t.Fatalf("%s: %v", id, err)
	}
	return out
}

// TestGivenAsRanked measures each design of rankings by itself: it comes out as in the
// ranking, to the last bit, and meets everything. Of designs that the ranking has not,
// as long as it is complete, none passes at its paraxial gaps.
func TestGivenAsRanked(t *testing.T) {
	ranked, others := 0, 0
	for c := range 7 {
		s, request, lenses, good := rayCase2(c)
		if !good {
			continue
		}
		p := s.Problem()
		lib := objective.NewLibrary(p, lenses)
		o := (&Job{Spec: s}).options(s)
		o.workers = 2
		out, err := searchPoint(t.Context(), s, lib, o)
		if err != nil {
			t.Fatal(err)
		}
		inRanking := map[string]bool{}
		for i := range out.Found {
			f := &out.Found[i]
			inRanking[f.ID] = true
			if ranked > 80 {
				continue
			}
			ranked++
			alone := measured(t, s, lenses, f.ID)
			a := &alone.Found[0]
			if fails := alone.Given.Fails(); len(fails) > 0 || alone.Proof.Passed != 1 || a.Report.FailedBy != "" {
				t.Errorf("case %d: %s, rank %d, fails %v", c, f.ID, i+1, fails)
				continue
			}
			if a.Train.Length != f.Train.Length || a.Train.EyeRelief != f.Train.EyeRelief || a.Train.Refined != f.Train.Refined ||
				!sameMetrics(&a.Report.Metrics, &f.Report.Metrics) {
				t.Errorf("case %d: %s, rank %d: measured alone %v mm, relief %v, %+v; ranked %v mm, relief %v, %+v", c, f.ID, i+1,
					a.Train.Length, a.Train.EyeRelief, a.Report.Metrics, f.Train.Length, f.Train.EyeRelief, f.Report.Metrics)
			}
			if alone.Given.TurnedAway != "" {
				t.Errorf("case %d: %s, rank %d: a search turns it away by %q", c, f.ID, i+1, alone.Given.TurnedAway)
			}
		}
		if !out.Proof.Exact || s.Refine.Method != spec.RefineNone || len(out.Found) == s.Job.Top || s.Search.OnePer != "design" {
			continue
		}
		seen := 0
		request.InnerSteps = 2
		secondmodel.Each(request, lenses, func(d secondmodel.Design) {
			if seen++; seen%17 != 0 || others > 150 {
				return
			}
			id := trainOf(lib, d).DesignID()
			job, given := givenJob(s, lenses, id)
			if inRanking[id] || job.givenFaults() != nil {
				return
			}
			others++
			alone := measured(t, given, lenses, id)
			if len(alone.Given.Fails()) == 0 || alone.Proof.Passed != 0 || alone.Found[0].Report.FailedBy != alone.Given.Fails()[0] {
				t.Errorf("case %d: %s is not in the ranking and fails %v", c, id, alone.Given.Fails())
			}
		})
	}
	if ranked < 20 || others < 20 {
		t.Errorf("%d ranked designs and %d others were measured, which tests little", ranked, others)
	}
}

// sameMetrics reports whether all metrics are the same, or not known of either.
func sameMetrics(a, b *raycheck.Metrics) bool {
	for _, m := range raycheck.MetricList {
		x, _ := a.Value(m.Name)
		y, _ := b.Value(m.Name)
		if x != y && !(math.IsNaN(x) && math.IsNaN(y)) {
			return false
		}
	}
	return true
}

// rayCase2 is rayCase, every third time with refinement.
func rayCase2(c int) (s *spec.Spec, request secondmodel.Request, lenses []*catalog.Lens, good bool) {
	if c%3 == 2 {
		return refinedCase(c)
	}
	request, _ = smallCase(c)
	s, lenses, good = rayCase(c)
	if good {
		s.Refine.Method, s.Job.Top, s.Search.ChecksMax, s.Search.OnePer = spec.RefineNone, 10_000, 0, "design"
	}
	return s, request, lenses, good
}
