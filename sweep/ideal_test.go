package sweep

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/ideal"
	"relaysweep/sweep/spec"
)

// TestIdealAgainstSearch searches catalogs of lenses that are all but thin, many
// of them about as the ideal limit wants them, single and in stacks that touch: the
// shortest train is never below the limit and comes near it. With
// stacks the limit takes the aperture ratio of one lens times the lenses of a group.
func TestIdealAgainstSearch(t *testing.T) {
	glass := givenGlass(t)
	const thickness = 1e-4 // mm; offsets of principal planes are less
	for c, x := range []struct {
		layout        objective.Layout
		seat, by      string
		perGroup      int
		ratio         float64
		magnification float64
	}{
		{objective.Keplerian, "rear", "length_mm", 1, 0.7, 1},
		{objective.ErectorSingle, "rear", "length_mm", 1, 0.8, 1},
		{objective.ErectorSingle, "front", "length_to_eye_mm", 1, 0.8, 1.3},
		{objective.ErectorSingle, "rear", "length_to_eye_mm", 2, 0.4, 0.8},
		{objective.ErectorPair, "either", "length_mm", 1, 0.8, 1},
		{objective.ErectorSingle, "both", "length_mm", 1, 0.8, 1.2},
		{objective.ErectorPair, "both", "length_mm", 1, 0.8, 1},
	} {
		s := benchSpec(x.layout, x.perGroup)
		s.Field.WidthDeg, s.Field.HeightDeg = 10, 7.5
		s.Mask.Seat, s.Search.RankBy, s.Train.Magnification, s.Train.AirGapMinMM = x.seat, x.by, x.magnification, 0
		j := &Job{Spec: s}
		o, p := j.options(s), s.Problem()
		aimed, err := ideal.Find(context.Background(), p, o.spaces, x.ratio*float64(x.perGroup), o.by)
		if err != nil || aimed.Train == nil {
			t.Fatalf("case %d: no train, %v", c, err)
		}
		r := rand.New(rand.NewPCG(8, uint64(c)))
		var lenses []*catalog.Lens
		add := func(f float64) {
			l := thinLens(f, glass, p.WavelengthsNM[p.Reference()])
			l.Part = fmt.Sprintf("thin-%d", len(lenses))
			l.ThicknessMM[0] = thickness
			l.DiameterMM, l.ClearMM = x.ratio*math.Abs(f), x.ratio*math.Abs(f)
			lenses = append(lenses, l)
		}
		for _, g := range aimed.Train.Groups {
			for range 5 {
				add(g.FocalMM * float64(x.perGroup) * (0.99 + 0.06*r.Float64()))
			}
		}
		for range 4 {
			add(8 * math.Exp(2*r.Float64()))
		}
		j.Catalog = &catalog.Catalog{Lenses: lenses}
		if got, want := j.idealRatio(s, p), x.ratio*float64(x.perGroup); math.Abs(got/want-1) > 1e-5 {
			t.Errorf("case %d: aperture ratio %v, want %v but for the thickness", c, got, want)
		}
		a, err := newExactSearch(context.Background(), objective.NewLibrary(p, lenses), o)
		if err != nil {
			t.Fatal(err)
		}
		batch, _, err := a.next(context.Background(), 1)
		if err != nil || len(batch) == 0 {
			t.Fatalf("case %d: nothing found, %v", c, err)
		}
		got := batch[0].ranked
		t.Logf("case %d: %.3f mm, limit %.3f to %.3f", c, got, aimed.BoundMM, aimed.ReachedMM)
		if got < aimed.BoundMM-100*thickness {
			t.Errorf("case %d: a train of %.6f mm, below the limit of %.6f", c, got, aimed.BoundMM)
		}
		if got > 1.05*aimed.ReachedMM {
			t.Errorf("case %d: the shortest train of %.3f mm is far from the limit of %.3f", c, got, aimed.ReachedMM)
		}
	}
}

// TestIdealPoints: every point has its limit, by the spec's aperture ratio where it
// sets one, the same on any number of workers; without a lens there is none.
func TestIdealPoints(t *testing.T) {
	j := demoJob(t, "quick")
	var first []PointOutcome
	for _, workers := range []int{1, 4} {
		j.Spec.Job.Workers = workers
		var outcomes []PointOutcome
		for _, ratio := range []float64{0, 0.7, 0.9, 0} {
			s := *j.Spec
			s.Ideal.ApertureRatio = ratio
			outcomes = append(outcomes, PointOutcome{Point: spec.Point{Spec: &s}, Problem: s.Problem()})
		}
		outcomes[3].Point.Spec.Catalog.ExcludeParts = []string{"*"}
		if err := j.addIdeals(context.Background(), nil, outcomes, nil); err != nil {
			t.Fatal(err)
		}
		for i, want := range []float64{0, 0.7, 0.9} {
			if ideal := outcomes[i].Ideal; !ideal.Settled || want > 0 && ideal.ApertureRatio != want {
				t.Errorf("point %d: %+v", i, *ideal)
			}
		}
		if outcomes[3].Ideal != nil {
			t.Error("a limit without a lens")
		}
		if !(outcomes[2].Ideal.BoundMM < outcomes[1].Ideal.BoundMM) {
			t.Errorf("wider apertures make %v of %v", outcomes[2].Ideal.BoundMM, outcomes[1].Ideal.BoundMM)
		}
		if first == nil {
			first = outcomes
			continue
		}
		for i := range outcomes {
			if diff := cmp.Diff(first[i].Ideal, outcomes[i].Ideal, cmpopts.IgnoreUnexported(objective.Group{}, objective.Element{}), cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("point %d, with one worker and with four:\n%s", i, diff)
			}
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := j.addIdeals(ctx, nil, first, nil); !Interrupted(err) {
		t.Errorf("interrupted: %v", err)
	}
}
