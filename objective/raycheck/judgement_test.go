package raycheck

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// TestJudge holds the judgements of trains against an evaluation that traces paraxial
// rays on its own, and against the verdict of the ray check: what is judged kept is
// kept there, and the first that fails is the one that is named.
func TestJudge(t *testing.T) {
	failed := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawTraced(t)
		measured := NewChecker(p).Measure(train).Clone()
		around := func(label string, x float64) float64 { return math.Abs(x) * testlens.Between(t, label, 0.5, 3) }
		if testlens.OneIn(t, "limits", 2) {
			p.Limits.Max = map[string]float64{}
			for _, name := range []string{"mask_blur_arcmin", "view_blur_arcmin", "distortion_pct", "vignetted_pct", "axis_vergence_D"} {
				x, _ := measured.Metrics.Value(name)
				if math.IsInf(x, 0) {
					x = 1
				}
				p.Limits.Max[name] = around(name, x)
			}
			p.Limits.Max["viewpoint_shift_mm"] = around("shift", p.ViewpointShift(train))
			p.Limits.Max["pixel_arcmin"] = testlens.Between(t, "pixel", 0.5, 6)
			p.Limits.Max["depth_step_D"] = testlens.Between(t, "step", 0.001, 0.05)
		}
		p.Travel = testlens.Between(t, "travel", 2, 30)
		p.LengthMax = around("length", train.Length)
		p.TanMax *= testlens.Between(t, "field", 0.1, 1)
		train.Refined = testlens.OneIn(t, "refined", 3)

		report, all := Judge(p, train)
		fails := map[string]bool{}
		least := map[string]float64{}
		first := ""
		for i := range all {
			j := &all[i]
			if j.Fails {
				failed[j.Name]++
				fails[j.Name] = true
				if first == "" {
					first = j.Name
				}
			}
			if m := j.Margin(); !(m > math.Abs(j.Asked)*1e-6+1e-6) != j.Fails && math.Abs(m) > math.Abs(j.Asked)*1e-6+1e-6 {
				t.Fatalf("%s %s: reached %v, asked %v, and fails %v", j.Name, j.Of, j.Reached, j.Asked, j.Fails)
			}
			if old, ok := least[j.Name]; !ok || !(j.Margin() >= old) {
				least[j.Name] = j.Margin()
			}
		}
		if report.FailedBy != first {
			t.Fatalf("the report says %q, first is %q", report.FailedBy, first)
		}
		of := testtrain.Margins(p, train)
		for _, r := range []objective.Requirement{
			objective.Relief, objective.Aperture, objective.PixelArcmin, objective.DepthStepD, objective.ViewpointShiftMM,
		} {
			got, judged := least[r.String()]
			want := of[r]
			if !judged {
				if _, limited := p.Limits.Max[r.String()]; limited || r == objective.Relief {
					t.Fatalf("%v is not judged", r)
				}
				continue
			}
			if math.Abs(got-want) > 1e-6*(1+math.Abs(want)) && math.Abs(want) < 1e6 {
				t.Fatalf("the margin of %v is %v, not %v", r, got, want)
			}
		}
		if train.Refined {
			return
		}
		// The exact setpoints count, too, of a train at its paraxial gaps.
		for _, r := range []objective.Requirement{objective.Clearance, objective.Travel, objective.MaskSize} {
			if of[r] < -1e-6 && !fails[r.String()] {
				t.Fatalf("%v is broken by %v and does not fail", r, of[r])
			}
		}
		byRays := NewChecker(p).Check(train).FailedBy
		if byRays != "" && !fails[byRays] {
			t.Fatalf("the ray check turns it away by %q, which does not fail", byRays)
		}
		broken := false
		for _, m := range of {
			broken = broken || m < -1e-6
		}
		if !broken && byRays == "" && first != "" && least[first] < -1e-6 && first != "length" && first != "gap" {
			t.Fatalf("%q fails of a train that meets everything", first)
		}
	})
	for _, name := range []string{"length", "travel", "view_blur_arcmin", "axis_vergence_D", "pixel_arcmin"} {
		// A fifth of the draws, as -short makes them, need not meet each.
		if failed[name] == 0 && !testing.Short() {
			t.Errorf("nothing failed %s, which tests nothing", name)
		}
	}
}

// TestJudgeRefined: what refinement has settled as meeting everything is judged to meet
// everything, and what it names as failing fails.
func TestJudgeRefined(t *testing.T) {
	passed, failed := 0, 0
	testlens.Examples(60, func(t *rapid.T) [3]float64 {
		return [3]float64{testlens.Between(t, "gap 1", -1.2, 1.2), testlens.Between(t, "gap 2", -1.2, 1.2), testlens.Between(t, "relief", 0, 6)}
	}, func(i int, moved [3]float64) {
		p := testtrain.Problem()
		p.Pupil, p.TanMax, p.AccommodationD, p.RefocusMaxD, p.Travel = 3, p.TanMax/2, 8, 8, 100
		p.Limits.Max["axis_vergence_D"] = 0.5
		if i%2 == 0 {
			p.Limits.Max["vignetted_pct"] = 1
		}
		r := NewRefiner(p, objective.ByLength)
		r.Begin(testtrain.Simple(t, p))
		train, settled, _ := r.Settle(moved[:])
		report, all := Judge(p, train)
		if settled.FailedBy == "" {
			passed++
			if report.FailedBy != "" {
				t.Errorf("case %d: %q fails, and the refiner lets it pass", i, report.FailedBy)
			}
			return
		}
		failed++
		for j := range all {
			if all[j].Name == settled.FailedBy && all[j].Fails {
				return
			}
		}
		t.Errorf("case %d: the refiner names %q, which does not fail: %+v", i, settled.FailedBy, all)
	})
	if passed < 5 || failed < 5 {
		t.Errorf("%d passed and %d failed, which tests little", passed, failed)
	}
}
