package yield

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/bench"
	"relaysweep/sweep/journal"
)

// testStudy is a unit relay of three thick singlets with a small pupil.
func testStudy(t testing.TB) *Study {
	t.Helper()
	glass := catalog.NewAbbe("crown", 1.5168, 64.2, 2.51, "test")
	p := &objective.Problem{
		WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1},
		Magnification: 1, MagnificationTol: 0.01, AirGapMin: 0.2, GroupGapMin: 1, LengthMax: math.Inf(1),
		TanHalfWidth: 0.05, TanHalfHeight: 0.05, TanMax: 0.07,
		Pupil: 2, Box: 1, SharpBox: 1, ReliefMin: 10, ReliefMax: 80, AccommodationD: 8, RefocusMaxD: 2, CombinerIndex: 1.5168,
		VergenceNear: 0.004, DepthSteps: 2, MaskWidth: 36, MaskHeight: 24, MaskPixel: 0.02, MaskGlassIndex: 1.52,
		Clearance: 1, MaskTransmits: 1, Travel: 15, StageResolution: 0.01, StageSpeed: 20,
		Limits: objective.Limits{Max: map[string]float64{"axis_vergence_D": 0.25}, FieldFraction: 1},
	}
	train := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear}
	for _, f := range []float64{50, 50, 50} {
		r := 2 * (glass.Nd() - 1) * f
		l := &catalog.Lens{
			Part: "one", DiameterMM: 25, ClearMM: 22, ThicknessMM: []float64{4}, Glasses: []*catalog.Glass{glass},
			Surfaces: []catalog.Surface{{RadiusMM: r}, {RadiusMM: -r}},
			LossPct:  catalog.Unset, Density: catalog.Unset, Price: 1, EFLMM: catalog.Unset, BFLMM: catalog.Unset, Stock: catalog.Unlimited,
		}
		train.Groups = append(train.Groups, p.NewGroup(objective.NewLibrary(p, []*catalog.Lens{l}).Elements[0]))
	}
	if failed := p.Assemble(train, 0); failed != objective.Met {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = train.Groups[2].BFDMM
	s := &Study{Problem: p, Train: train, Seed: 5, Vignetting: true, Workers: 1}
	s.Tolerances.Of = [Kinds]float64{
		Focal: 1, Thickness: 0.1, Index: 0.001, Abbe: 0.8, Gap: 0.1, LensDecentre: 0.1, LensTilt: 6,
		GroupDecentre: 0.05, GroupTilt: 3, MaskRoll: 30, StageZero: 0.1,
	}
	return s
}

// TestBuildsByNumber: build 17 is the same from whatever range and on however many
// goroutines it is made, and can be made again from its errors alone.
func TestBuildsByNumber(t *testing.T) {
	ctx := context.Background()
	whole, err := testStudy(t).Builds(ctx, 0, 24)
	if err != nil {
		t.Fatal(err)
	}
	other := testStudy(t)
	other.Workers = 3
	part, err := other.Builds(ctx, 10, 24)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(part, whole[10:]) {
		t.Error("builds depend on the range or on the number of goroutines")
	}
	s := testStudy(t)
	variables, values := s.Errors(17)
	b := bench.New(s.Problem, s.Train, s.Compensators, true)
	x := b.NewBuild()
	for i := range x.Lenses {
		x.Lenses[i].FocalSet = true
	}
	for i, v := range variables {
		if s.Tolerances.Of[v.Kind] > 0 {
			v.set(x, values[i]*kinds[v.Kind].unit)
		}
		if math.Abs(values[i]) > s.Tolerances.Of[v.Kind] {
			t.Errorf("%v %s is off by %v", v.Kind, v.Name(), values[i])
		}
	}
	o := b.Measure(x)
	for k := range o {
		if math.Abs(o[k]-whole[17].Outcome[k]) > 1e-9*(1+math.Abs(o[k])) {
			t.Errorf("%s: %v made again, %v before", bench.Measures[k].Name, o[k], whole[17].Outcome[k])
		}
	}
	again := testStudy(t)
	again.Seed = 6
	others, err := again.Builds(ctx, 17, 18)
	if err != nil {
		t.Fatal(err)
	}
	if others[0] == whole[17] {
		t.Error("another seed gives the same build")
	}
}

// TestNominalIsWithoutErrors: with all tolerances zero each build is the design.
func TestNominalIsWithoutErrors(t *testing.T) {
	s := testStudy(t)
	s.Tolerances.Of = [Kinds]float64{}
	made, err := s.Builds(context.Background(), 0, 2)
	if err != nil {
		t.Fatal(err)
	}
	if nominal := s.Nominal(); made[0] != nominal || made[1] != nominal {
		t.Errorf("%v and %v, nominal %v", made[0], made[1], nominal)
	}
}

// TestYield: the compensated relay passes where the uncompensated one does not, and the
// test ends early.
func TestYield(t *testing.T) {
	ctx := context.Background()
	s := testStudy(t)
	made, passed, verdict, err := s.Yield(ctx, 128, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if verdict != Below || len(made) == 128 || passed == len(made) {
		t.Errorf("%d of %d builds pass, verdict %v", passed, len(made), verdict)
	}
	s = testStudy(t)
	s.Compensators.LastGap = true
	made, passed, verdict, err = s.Yield(ctx, 512, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if verdict != Above || len(made) == 512 {
		t.Errorf("compensated: %d of %d builds pass, verdict %v", passed, len(made), verdict)
	}
}

// TestContributions: the angle of a pixel goes with the focal length behind the mask
// alone, here that of the rear lens, and with the relief; the roll of the mask moves its
// picture only. A variance of which each part is linear is split without remainder.
func TestContributions(t *testing.T) {
	s := testStudy(t)
	s.Tolerances.Of = [Kinds]float64{Focal: 1, MaskRoll: 30}
	all, err := s.Contributions(context.Background(), 64)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, c := range all {
		if c.Figure != bench.Pixel {
			continue
		}
		seen++
		want := map[Kind]float64{Focal: 1, MaskRoll: 0}[c.Kind]
		if math.Abs(c.Total-want) > 4*c.TotalError+1e-12 || math.Abs(c.First-want) > 4*c.FirstError+1e-12 {
			t.Errorf("%v: %v ± %v alone, %v ± %v in all, want %v", c.Kind, c.First, c.FirstError, c.Total, c.TotalError, want)
		}
	}
	if seen != 2 {
		t.Errorf("%d contributions to pixel_arcmin", seen)
	}
}

// TestSensitivities: 1 % of the front lens's focal length of 50 mm leaves 0.2 D (its
// reciprocal times 1 %), each error of a direction is listed once, and none of what has
// no tolerance.
func TestSensitivities(t *testing.T) {
	s := testStudy(t)
	s.Tolerances.Of[Abbe] = 0
	all, err := s.Sensitivities(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, one := range all {
		name := one.Variable.Kind.String() + " " + one.Variable.Name()
		if seen[name] || one.Variable.Along == "y" || one.Variable.Kind == Abbe || one.Variable.Kind == Radius {
			t.Errorf("%s is listed", name)
		}
		seen[name] = true
		if name == "focal_pct front.1" {
			if got := one.Change[bench.AxisVergence]; math.Abs(got-0.2) > 0.01 {
				t.Errorf("%s: %v D, want 0.2", name, got)
			}
		}
	}
	for _, name := range []string{"focal_pct front.1", "gap_mm behind relay", "lens_tilt_arcmin rear.1 x", "stage_zero_mm stage"} {
		if !seen[name] {
			t.Errorf("%s is not listed", name)
		}
	}
}

// TestWhole: a study that is stopped after any of its units and continued brings what one
// without a stop does.
func TestWhole(t *testing.T) {
	const builds = 260
	ctx := context.Background()
	small := func() *Study {
		s := testStudy(t)
		s.Problem.Limits.FieldFraction, s.Problem.SharpBox, s.Vignetting = 0, 0, false
		s.Tolerances.Of = [Kinds]float64{Focal: 1, LensTilt: 6}
		return s
	}
	want, err := small().Whole(ctx, builds, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Builds) != builds || len(want.Uncompensated) != builds {
		t.Fatalf("%d and %d builds", len(want.Builds), len(want.Uncompensated))
	}
	path := filepath.Join(t.TempDir(), "journal")
	j, err := journal.Create(path, []byte("header"))
	if err != nil {
		t.Fatal(err)
	}
	for stop := 1; ; stop++ {
		s := small()
		made, units := 0, 0
		stopped, cancel := context.WithCancel(ctx)
		got, err := s.Whole(stopped, builds, NewLog(j, 3), func(n int) {
			made += n
			if units++; units == stop {
				cancel()
			}
		})
		cancel()
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		if err == nil {
			if stop < 4 {
				t.Errorf("ended after %d stops", stop)
			}
			if made != s.Steps(builds) {
				t.Errorf("told of %d builds of %d", made, s.Steps(builds))
			}
			for i := range got.Sensitivities {
				got.Sensitivities[i].Variable, want.Sensitivities[i].Variable = nil, nil
			}
			if !reflect.DeepEqual(fmt.Sprint(got), fmt.Sprint(want)) {
				t.Error("continued, it brings something else")
			}
			return
		}
		if !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
		if j, err = journal.Open(path, ""); err != nil {
			t.Fatal(err)
		}
	}
}
