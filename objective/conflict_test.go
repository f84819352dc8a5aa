package objective

import (
	"math"

	"relaysweep/objective/internal/testlens"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// conflictNames maps the names of a conflict to requirements.
func conflictNames(t *testing.T, c Conflict) (a, b Requirement) {
	t.Helper()
	names := strings.Split(c.Names, " and ")
	find := func(name string) Requirement {
		for r := Focal; r < Met; r++ {
			if r.String() == name {
				return r
			}
		}
		t.Fatalf("no requirement has the name %q", name)
		return Met
	}
	return find(names[0]), find(names[1])
}

// drawConflicting draws a problem with limits on pixel or stage that often
// contradict its mask or its travel, and trains for it.
func drawConflicting(t *rapid.T) judged {
	p := use.DrawProblem(t)
	if rapid.Bool().Draw(t, "pixel limit") {
		// Pixels that want f from 20 to 100 mm.
		p.Limits.Max["pixel_arcmin"] = math.Atan(p.MaskPixel/testlens.Between(t, "f pixel", 20, 100)) * 60 * 180 / math.Pi
	}
	if rapid.Bool().Draw(t, "step limit") {
		f := testlens.Between(t, "f step", 20, 100)
		p.Limits.Max["depth_step_D"] = 1000 * p.StageResolution / (f * f)
	}
	train := use.DrawTrainFor(t, p, use.AnyLayout...)
	use.SkipHuge(t, train)
	return judged{p, train}
}

// TestConflicts: of two requirements in conflict no train meets both at any
// eye relief, be it outside all other requirements; and without a conflict
// some focal length and place of the eye meet all four.
func TestConflicts(t *testing.T) {
	counts := map[string]int{}
	testlens.Examples(1500, drawConflicting, func(i int, c judged) {
		p, train := c.p, c.train
		conflicts := p.Conflicts()
		for _, conflict := range conflicts {
			counts[conflict.Names]++
			if !strings.Contains(conflict.Why, "mm") {
				t.Errorf("case %d: no figures in %q", i, conflict.Why)
			}
			a, b := conflictNames(t, conflict)
			for k := range 200 {
				train.EyeRelief = -150 + 2.5*float64(k) + 0.37
				of := use.Margins(p, train)
				if of[a] >= 0 && of[b] >= 0 && !math.IsInf(of[Clearance], -1) {
					t.Errorf("case %d: %s, says Conflicts; %s meets both at e = %v", i, conflict.Names, train.DesignID(), train.EyeRelief)
				}
			}
		}
		if len(conflicts) > 0 {
			return
		}
		counts["none"]++
		// The eye at the rear focal point, and the least focal length that the
		// limits leave.
		f := 0.0
		if limit, ok := p.Limits.Max["pixel_arcmin"]; ok {
			f = p.MaskPixel / math.Tan(limit/60*math.Pi/180)
		}
		if limit, ok := p.Limits.Max["depth_step_D"]; ok {
			f = math.Max(f, math.Sqrt(1000*p.StageResolution/limit))
		}
		if f == 0 {
			return
		}
		m := maskMotion{p, f * (1 + 1e-9)}
		at := m.travel(p.Travel * (1 + 1e-8)).And(m.pixel(p.Limits.Limit("pixel_arcmin"))).And(m.step(p.Limits.Limit("depth_step_D")))
		wide := *p
		wide.MaskWidth, wide.MaskHeight = wide.MaskWidth*(1+1e-8), wide.MaskHeight*(1+1e-8)
		at = at.And(maskMotion{&wide, m.focal}.size())
		if at.Lo > 1e-6 || at.Hi < -1e-6 {
			t.Errorf("case %d: no conflict, but f = %v leaves the eye only %v", i, f, at)
		}
	})
	t.Logf("%v", counts)
	for _, names := range []string{
		"pixel_arcmin and travel", "pixel_arcmin and mask_size", "depth_step_D and travel", "depth_step_D and mask_size", "none",
	} {
		if counts[names] < 20 {
			t.Errorf("%s: %d cases are too few", names, counts[names])
		}
	}
}

// TestConflictPublished: a pixel of 36 µm wants f = 50 mm for 2.48 arcmin, at
// which 4 D take 10 mm (computed from Newton's equation).
func TestConflictPublished(t *testing.T) {
	p := use.Problem()
	p.MaskPixel, p.VergenceFar, p.VergenceNear = 0.036, 0, 0.004
	p.Limits.Max["pixel_arcmin"] = math.Atan(0.036/50) * 60 * 180 / math.Pi
	for _, c := range []struct {
		travel float64
		want   int
	}{{10.001, 0}, {9.999, 1}} {
		p.Travel = c.travel
		if got := p.Conflicts(); len(got) != c.want {
			t.Errorf("travel %v: %v", c.travel, got)
		}
	}
}

// TestLastAperture: the least clear diameter next to the eye is that of the
// eye relief that needs least, and no train is judged to pass with less.
func TestLastAperture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := use.DrawProblem(t)
		p.ReliefMin = math.Max(p.ReliefMin, p.CombinerMM)
		p.ReliefMax = p.ReliefMin + testlens.Between(t, "reliefs", 0, 200)
		want := math.Inf(1)
		for k := range 20001 {
			e := p.ReliefMin + (p.ReliefMax-p.ReliefMin)*float64(k)/20000 - p.CombinerShift()
			edge := math.Max(math.Abs(1-p.VergenceFar*e), math.Abs(1-p.VergenceNear*e))
			want = math.Min(want, 2*(e*p.TanMax+p.PassingEdge()*edge))
		}
		// The samples miss the minimum by at most the change in half a step.
		step := (p.ReliefMax - p.ReliefMin) / 40000
		slack := 2*step*(p.TanMax+p.PassingEdge()*p.VergenceNear) + 1e-12
		if got := p.LastAperture(); !(got <= want+1e-12 && got >= want-slack) {
			t.Errorf("got %v, samples say %v", got, want)
		}
	})
	met := 0
	testlens.Examples(1500, drawJudged(use.AnyLayout...), func(i int, c judged) {
		if _, failed := c.p.Judge(c.train); failed > Aperture {
			met++
			last := c.train.Groups[len(c.train.Groups)-1]
			clear := 2 * last.Elements[len(last.Elements)-1].clear
			if least := c.p.LastAperture(); clear < least-1e-9 {
				t.Errorf("case %d: passes with a last clear diameter of %v, least is %v", i, clear, least)
			}
		}
	})
	if met < 100 {
		t.Errorf("only %d trains pass their apertures", met)
	}
}
