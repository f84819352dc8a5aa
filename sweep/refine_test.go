package sweep

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

var refineMethods = []string{spec.RefineSimplex, spec.RefineBFGS, spec.RefineCMAES}

// thinLens is so thin, and used so near to the axis, that its focal length f alone
// tells what it does: R = 2(n-1)f for an equiconvex one (W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, the lens-maker's formula for thin lenses).
func thinLens(f float64, glass *catalog.Glass, wavelength float64) *catalog.Lens {
	r := 2 * (glass.Index(wavelength) - 1) * f
	return &catalog.Lens{
		Part: "thin", DiameterMM: 8, ClearMM: 8, Surfaces: []catalog.Surface{{RadiusMM: r}, {RadiusMM: -r}},
		ThicknessMM: []float64{1e-4}, Glasses: []*catalog.Glass{glass}, LossPct: catalog.Unset, Density: catalog.Unset,
		Price: catalog.Unset, EFLMM: catalog.Unset, BFLMM: catalog.Unset, Stock: catalog.Unlimited,
	}
}

// TestRefineThinRelay refines two thin lenses, whose best gap is known in closed form.
// With the gap shorter by δ than f1 + f2 the matrix to an eye at e behind them has
//
//	C = -δ/(f1·f2), A = 1 - (f1+f2-δ)/f1 + e·C = -(f2-δ)/f1 - e·δ/(f1·f2),
//
// and a world at infinity seems to stand at the vergence A·C off, with the smallest |A|
// at the smallest e. The train is shortest where that is the limit q:
// δ²·(e/f2 - 1) + δ·f2 = q·f1²·f2, or where the angular magnification
// 1/A = -f1/(f2 + δ·(e/f2 - 1)) has come to its tolerance.
func TestRefineThinRelay(t *testing.T) {
	lib := givenGlass(t)
	for _, c := range []struct {
		f1, f2, relief, tolerance, vergenceD float64
		active                               string
	}{
		{60, 60, 62, 0.5, 0.25, "axis_vergence_D"},
		{60, 50, 62, 0.5, 0.1, "axis_vergence_D"},
		{60, 60, 100, 0.002, 0.25, "magnification"},
	} {
		s := benchSpec(objective.Keplerian, 1)
		s.Field.WidthDeg, s.Field.HeightDeg = 0.2, 0.2
		s.Eye.PupilMM, s.Eye.BoxMM, s.Eye.ReliefMinMM, s.Eye.ReliefMaxMM = 0.2, 0, c.relief, 150
		s.Depth.NearM, s.Stage.TravelMM = 1, 40
		s.Train.MagnificationTol, s.Limits.AxisVergenceD = c.tolerance, &c.vergenceD
		s.Train.Magnification = c.f1 / c.f2
		p := s.Problem()
		wavelength := p.WavelengthsNM[p.Reference()]
		elements := objective.NewLibrary(p, []*catalog.Lens{thinLens(c.f1, lib, wavelength), thinLens(c.f2, lib, wavelength)}).Elements
		train := &objective.Train{
			Layout: objective.Keplerian, Seat: objective.SeatRear,
			Groups: []*objective.Group{p.NewGroup(elements[0]), p.NewGroup(elements[1])},
		}
		if failed := p.Solve(train, 0); failed != objective.Met {
			t.Fatal(failed)
		}
		a, b, q := c.relief/c.f2-1, c.f2, c.vergenceD/1000*c.f1*c.f1*c.f2
		want := 2 * q / (b + math.Sqrt(b*b+4*a*q))
		if c.active == "magnification" {
			want = c.tolerance / (1 - c.tolerance) * b / a
		}
		held := 0 // methods that come to what holds the train
		for _, method := range refineMethods {
			r := raycheck.NewRefiner(p, objective.ByLength)
			end := refineFrom(r, train, method, 1)
			if end.moved == nil {
				t.Errorf("%s: nothing found", method)
				continue
			}
			moved, report, active := r.Settle(end.moved)
			// A population stops when its best gains less than 1e-4 mm in ten
			// generations, which it may some way off.
			tolerance := map[string]float64{spec.RefineSimplex: 5e-3, spec.RefineBFGS: 5e-3, spec.RefineCMAES: 3e-2}[method]
			if got := train.Length - moved.Length; report.FailedBy != "" || math.Abs(got-want) > tolerance {
				t.Errorf("%s, f = %v, %v: shorter by %.5f mm, the closed form says %.5f; failed by %q, active %v", method, c.f1, c.f2, got, want, report.FailedBy, active)
			}
			// The eye is as near as it may be. What else holds the train is reached by
			// those that come well within the 0.2 % that count as reached.
			reached := math.Abs(train.Length-moved.Length-want) < 5e-4*want
			for _, name := range active {
				if name != "relief" && name != c.active {
					t.Errorf("%s, f = %v, %v: %s is active", method, c.f1, c.f2, name)
				}
			}
			if !slices.Contains(active, "relief") || reached && !slices.Contains(active, c.active) {
				t.Errorf("%s, f = %v, %v: active are %v, without relief or %s", method, c.f1, c.f2, active, c.active)
			}
			if reached {
				held++
			}
		}
		if held == 0 {
			t.Errorf("f = %v, %v: no method comes to what holds the train", c.f1, c.f2)
		}
	}
}

// refineFrom refines a train from its least eye relief.
func refineFrom(r *raycheck.Refiner, start *objective.Train, method string, seed int64) refined {
	r.Begin(start)
	return refineTrain(r, start, math.NaN(), method, seed)
}

// givenGlass is a crown.
func givenGlass(t *testing.T) *catalog.Glass {
	t.Helper()
	for _, l := range demoJob(t, "quick").Catalog.Lenses {
		if len(l.Glasses) == 1 {
			return l.Glasses[0]
		}
	}
	t.Fatal("no singlet")
	return nil
}

func demoJob(t testing.TB, name string) *Job {
	t.Helper()
	j, err := Open(context.Background(), "../testdata/demo/"+name+".toml")
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// refinedDemo is the demo's search with its leading candidates refined.
func refinedDemo(t testing.TB, method string, candidates int) (*Job, *PointOutcome) {
	t.Helper()
	j := demoJob(t, "quick")
	j.Spec.Job.Top, j.Spec.Refine.Method, j.Spec.Refine.Candidates, j.Spec.Refine.Audit = 3, method, candidates, 0
	j.Points = j.Spec.Grid()
	j.beat.space = math.MaxInt64 // none
	out, err := j.Run(t.Context(), Attempt{})
	if err != nil {
		t.Fatal(err)
	}
	return j, &out[0]
}

// TestRefined refines near misses of the demo and rechecks what comes out by the
// ray check of a fresh problem and by the requirements' own functions; that no
// random neighbour is much shorter, nor it than its bounds; and that each comes back after it was moved.
func TestRefined(t *testing.T) {
	j, out := refinedDemo(t, spec.RefineSimplex, 120)
	if len(out.Found) < 3 || out.Refined.Passed < 3 {
		t.Fatalf("%d found, %+v", len(out.Found), out.Refined)
	}
	p := j.Points[0].Spec.Problem()
	p.NearMissFactor = 0 // no bounds about the start, which is refined here
	p.Limits.Max["axis_vergence_D"] = objective.AxisVergenceDefaultD
	checker := raycheck.NewChecker(p)
	random := rand.New(rand.NewPCG(8, 8))
	for i := range out.Found {
		f := &out.Found[i]
		if !f.Train.Refined || f.StartLengthMM == 0 || len(f.Active) == 0 {
			t.Errorf("%s: refined %v, from %v mm, active %v", f.ID, f.Train.Refined, f.StartLengthMM, f.Active)
			continue
		}
		bounded := j.Points[0].Spec.Problem()
		start := mustSolve(j.library(j.Points[0].Spec, bounded), &f.design)
		within := raycheck.NewRefiner(bounded, objective.ByLength)
		within.Begin(start)
		checkBounds(t, bounded, within, start, f.moved)
		r := checker.Check(f.Train)
		if diff := cmp.Diff(f.Report, r, cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("%s: reported -, checked +\n%s", f.ID, diff)
		}
		length := 0.0
		for k, g := range f.Train.Groups {
			length += g.ThicknessMM
			if k < len(f.Train.Gaps) {
				length += f.Train.Gaps[k]
			}
		}
		d := p.Describe(f.Train)
		if math.Abs(length-f.Train.Length) > 1e-9 || f.Train.Gaps[0] < p.LeastGap(f.Train.Groups[0], f.Train.Groups[1])-1e-9 ||
			math.Abs(1/p.EyeMatrix(f.Train).A/p.Magnification-1) > p.MagnificationTol+1e-9 || d.PixelArcmin > p.Limits.Limit("pixel_arcmin")*(1+1e-9) ||
			f.Train.EyeRelief < p.ReliefMin-1e-9 || f.Train.EyeRelief > p.ReliefMax+1e-9 {
			t.Errorf("%s: %+v breaks a requirement", f.ID, f.Train)
		}
		refiner := raycheck.NewRefiner(p, objective.ByLength)
		refiner.Begin(f.Train)
		x := make([]float64, refiner.Unknowns())
		shortest := f.Train.Length
		for try := range 300 {
			for k := range x {
				x[k] = 0.3 * random.NormFloat64()
			}
			length, excess := refiner.Evaluate(x)
			if try < 50 {
				allowed := slices.Max(excess) <= 0
				if _, r, _ := refiner.Settle(x); allowed != (r.FailedBy == "") {
					t.Errorf("%s, moved by %v: excess up to %v, failed by %q", f.ID, x, slices.Max(excess), r.FailedBy)
				}
				_, excess = refiner.Evaluate(x)
			}
			for _, e := range excess {
				if e > 0 {
					length = math.Inf(1)
				}
			}
			shortest = min(shortest, length)
		}
		if shortest < f.Train.Length-0.1 {
			t.Errorf("%s: %.3f mm, a neighbour has %.3f", f.ID, f.Train.Length, shortest)
		}
		// The gaps being kept, the eye can't come nearer.
		least := p.ReliefMin - f.Train.EyeRelief
		for _, nearer := range []float64{least, -0.02} {
			clear(x)
			if x[len(x)-1] = nearer; nearer < least || least == 0 {
				continue
			}
			if _, r, _ := refiner.Settle(x); r.FailedBy == "" {
				t.Errorf("%s: eye relief of %.3f mm, one of %.3f passes as well", f.ID, f.Train.EyeRelief, f.Train.EyeRelief+nearer)
			}
		}
		away := *f.Train
		away.Gaps = []float64{f.Train.Gaps[0] + 0.2, f.Train.Gaps[1] - 0.1}
		away.Length += 0.1
		away.EyeRelief -= 0.3
		back := refineFrom(refiner, &away, spec.RefineSimplex, 1)
		if back.moved == nil || math.Abs(back.length-f.Train.Length) > 0.1 {
			t.Errorf("%s: %.3f mm, after it was moved %+v", f.ID, f.Train.Length, back)
		}
	}
}

// TestRefineResumes refines small jobs of all kinds with each method, on other
// numbers of workers, from journals cut at any byte, after an interrupt in each stage, with
// and without a population before, with and without the screen by third-order sums, and in parts:
// always the same outcome to the last bit.
func TestRefineResumes(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	refinedDesigns, capped, withoutRays := 0, 0, 0
	stopped := map[string]int{}
	for done, c := range []int{3036, 3083, 3145, 3054} { // with few near misses
		s, lenses, good := rayCase(c)
		if !good {
			t.Fatalf("case %d is of no use", c)
		}
		s.Job.Top = 5
		switch done {
		case 0:
			s.Search.OnePer = "parts"
		case 1:
			s.Search.ChecksMax = 3
		case 2:
			s.Axes = []spec.Axis{{Key: "stage.travel_mm", Values: []any{s.Stage.TravelMM, 0.01}}}
		}
		j := jobOf(s, lenses)
		j.Spec.Refine = spec.RefineSection{Method: refineMethods[done%len(refineMethods)], NearMissFactor: 1.1 + 0.3*float64(c%3), Audit: 2}
		if done != 2 {
			j.Spec.Search.ThirdOrder = 1
		}
		j.Spec.Job.Workers = 1
		j.Points = j.Spec.Grid()
		out, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		alone := tell(out)
		for i := range out {
			accounted(t, &out[i].Outcome)
			if n := out[i].Proof.SetAside[byThirdOrder]; n != nil {
				withoutRays += int(n.Int64())
				if out[i].Audit.ThirdOrder.Drawn == 0 {
					t.Errorf("case %d: none of %v without rays audited: %+v", c, n, out[i].Audit)
				}
			}
			for k := range out[i].Found {
				if out[i].Found[k].Train.Refined {
					refinedDesigns++
				}
				if k > 0 && compareFound(out[i].Found[k-1], out[i].Found[k]) > 0 {
					t.Errorf("case %d: rank %d before %d", c, k, k+1)
				}
			}
		}
		divided(t, c, j, out)

		j.beat = beatOptions{space: 1, evaluations: 300}
		folder := t.TempDir()
		stages := map[string]bool{}
		out, err = journalled(t.Context(), t, j, folder, Part{}, func(s Status) { stages[s.Stage] = true })
		if err != nil {
			t.Fatal(err)
		}
		want := tell(out)
		for i := range out {
			if !out[i].Proof.Exact { // ended by checks_max
				capped++
				listed(t, &out[i].Outcome)
			}
		}
		if !slices.ContainsFunc(want, func(x told) bool { return !x.Exact }) { // else what the population found is listed, too
			for i := range want {
				compareBeaten(t, c, alone[i], want[i])
			}
		}
		same := func(what string) {
			t.Helper()
			out, err := journalled(t.Context(), t, j, folder, Part{}, nil)
			if diff := cmp.Diff(want, tell(out), cmpopts.EquateNaNs()); diff != "" || err != nil {
				t.Errorf("case %d, %s: %v\n%s", c, what, err, diff)
			}
		}
		path := filepath.Join(folder, JournalFile)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		header := len(firstRecords(t, whole, 1))
		for i, at := range []int{len(whole), header + r.IntN(len(whole)-header)} {
			j.Spec.Job.Workers = []int{2, 8}[(i+done)%2]
			if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
				t.Fatal(err)
			}
			same("cut")
		}
		for k, stage := range []string{"optimize", "search", "screen", "refine", "audit"} {
			if !stages[stage] || stage != "audit" && k%2 != done%2 {
				continue
			}
			if err := os.WriteFile(path, whole[:header], 0o666); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			out, err := journalled(ctx, t, j, folder, Part{}, func(s Status) {
				if s.Stage == stage && !s.Replayed {
					cancel()
				}
			})
			cancel()
			if Interrupted(err) {
				stopped[stage]++
				for i := range out {
					listed(t, &out[i].Outcome)
				}
				if last := len(out) - 1; stage != "audit" && last >= 0 && out[last].Proof.Exact {
					t.Errorf("case %d: interrupted in %s, and exact", c, stage)
				}
			}
			same("interrupted in " + stage)
		}
	}
	t.Logf("%d refined designs, interrupted %v", refinedDesigns, stopped)
	for _, stage := range []string{"optimize", "screen", "refine", "audit", "search"} {
		if stopped[stage] == 0 {
			t.Errorf("never interrupted in %s", stage)
		}
	}
	if refinedDesigns == 0 || capped == 0 || withoutRays == 0 {
		t.Errorf("%d refined designs, %d points ended by checks_max, %d turned away without rays", refinedDesigns, capped, withoutRays)
	}
}

// divided does a job in parts, of its points and of a point, and compares what a
// merge makes of them with one run.
func divided(t *testing.T, c int, j *Job, single []PointOutcome) {
	t.Helper()
	n := len(j.Points)
	for _, parts := range []int{n, n + 1} {
		if parts == 1 || j.Divides(Part{0, parts}) != nil {
			continue
		}
		folder := t.TempDir()
		for i := range parts {
			if _, err := journalled(t.Context(), t, j, folder, Part{i, parts}, nil); err != nil {
				t.Fatal(err)
			}
		}
		merged := mergeOf(t, j, folder)
		if parts == n {
			if diff := cmp.Diff(tell(single), tell(merged), cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("case %d: one run -, merged +\n%s", c, diff)
			}
			continue
		}
		for i := range merged {
			compareMerged(t, fmt.Sprintf("case %d, %d parts", c, parts), j, &single[i], &merged[i])
		}
	}
}

// compareBeaten compares a complete run without a population before with one with it: the same
// but for how much was looked at.
func compareBeaten(t *testing.T, c int, alone, beaten told) {
	t.Helper()
	alone.Counts, beaten.Counts = nil, nil
	if alone.Best != nil && beaten.Best != nil && alone.Best.ShortestMM == beaten.Best.ShortestMM {
		alone.Best, beaten.Best = nil, nil // by either
	}
	if diff := cmp.Diff(alone, beaten, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("case %d: without a population -, with it +\n%s", c, diff)
	}
}

// listed holds the list of a run that was cut short against what it tells: in order, each row
// marked by whether the screen has come so far.
func listed(t *testing.T, o *Outcome) {
	t.Helper()
	accounted(t, o)
	for i, f := range o.Found {
		if i > 0 && compareFound(o.Found[i-1], f) >= 0 {
			t.Errorf("rank %d before %d", i, i+1)
		}
		if f.Train == nil || f.Report.FailedBy != "" || f.Screened != (f.Ranked <= o.ScreenedMM) && (f.Screened || o.Audit == nil || o.Audit.Passed == 0) {
			t.Errorf("%s of %.6f mm is marked %v, screened to %.6f", f.ID, f.Ranked, f.Screened, o.ScreenedMM)
		}
	}
	if o.Best != nil && (len(o.Found) == 0 || o.Best.ShortestMM != o.Found[0].Ranked) {
		t.Errorf("%+v is not what leads the list", o.Best)
	}
}

// TestRefineInterrupted interrupts a job while it refines: it lists what walk and population have
// found up to then.
func TestRefineInterrupted(t *testing.T) {
	for _, population := range []bool{false, true} {
		j := demoJob(t, "quick")
		j.Spec.Job.Top = 40 // more than one unit refines
		j.Points = j.Spec.Grid()
		j.beat = beatOptions{space: math.MaxInt64}
		if population {
			j.beat = beatOptions{space: 1, evaluations: 4000}
		}
		ctx, cancel := context.WithCancel(t.Context())
		out, err := j.Run(ctx, Attempt{Progress: func(s Status) {
			if s.Refined > 0 && s.Passed > 0 {
				cancel()
			}
		}})
		cancel()
		if !Interrupted(err) || len(out) != 1 || out[0].Refined == nil {
			t.Fatalf("%v, %d points", err, len(out))
		}
		o := &out[0].Outcome
		listed(t, o)
		counts, others := *o.Refined, 0
		for _, f := range o.Found {
			if !f.Screened {
				others++
			}
		}
		if counts.Passed == 0 || len(o.Found) == 0 || population && len(o.Found) < 10 || o.Proof.Exact {
			t.Errorf("%d designs, %d not known to lead, %+v", len(o.Found), others, counts)
		}
	}
}

// TestRefineToEye ranks by the length to the eye: that is shorter than what comes of the least
// length and then the least eye relief, and the length is not.
func TestRefineToEye(t *testing.T) {
	j := demoJob(t, "quick")
	p, misses := nearMisses(t, j.Spec, j.library(j.Spec, j.Spec.Problem()).Lenses, 1, 1.5, 6, anyTrain)
	byLength, toEye := raycheck.NewRefiner(p, objective.ByLength), raycheck.NewRefiner(p, objective.ByLengthToEye)
	const tolerance = 0.05 // mm, of where the descents end
	for _, train := range misses {
		a, b := refineFrom(byLength, train, spec.RefineSimplex, 1), refineFrom(toEye, train, spec.RefineSimplex, 1)
		if a.moved == nil || b.moved == nil {
			t.Errorf("%s: not refined", train.DesignID())
			continue
		}
		first, _, _ := byLength.Settle(a.moved)
		second, _, _ := toEye.Settle(b.moved)
		if second.Length < first.Length-tolerance || second.Length+second.EyeRelief > first.Length+first.EyeRelief+tolerance || b.length != second.Length+second.EyeRelief {
			t.Errorf("%s: by length %.3f mm and the eye at %.3f; by the length to the eye %.3f and %.3f, ranked as %.3f",
				train.DesignID(), first.Length, first.EyeRelief, second.Length, second.EyeRelief, b.length)
		}
	}
}

// TestRefineStatus: in every stage of a walk that refines what is told says so, so that
// nobody takes what the screen has come to for a proof.
func TestRefineStatus(t *testing.T) {
	j := demoJob(t, "quick")
	stages := map[string]int{}
	_, err := j.Run(t.Context(), Attempt{Progress: func(s Status) {
		stages[s.Stage]++
		if slices.Contains([]string{"search", "screen", "refine", "audit"}, s.Stage) && !(s.BestMM > 0) {
			t.Errorf("%s: certain to %v mm with %d refined, and no sign that it is screened", s.Stage, s.ProvenMM, s.Refined)
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, stage := range []string{"search", "screen", "refine"} {
		if stages[stage] == 0 {
			t.Errorf("nothing was told of %s, only %v", stage, stages)
		}
	}
}
