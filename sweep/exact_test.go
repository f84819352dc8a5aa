package sweep

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"math/big"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// layoutNames maps the names of layouts to them.
var layoutNames = map[string]objective.Layout{
	"keplerian": objective.Keplerian, "erector-single": objective.ErectorSingle, "erector-pair": objective.ErectorPair,
}

// specOf is the spec that asks what a request to the second model asks.
func specOf(r secondmodel.Request) *spec.Spec {
	s := &spec.Spec{
		Job: spec.JobSection{Top: 50},
		Train: spec.TrainSection{
			LensesPerGroup: r.LensesPerGroup, LensesMax: r.LensesMax, DistinctPartsMax: r.DistinctPartsMax,
			LengthMaxMM: r.LengthMaxMM, Magnification: r.Magnification, MagnificationTol: r.MagnificationTol,
			AirGapMinMM: r.AirGapMinMM, GroupGapMinMM: r.GroupGapMinMM,
		},
		Field: spec.FieldSection{WidthDeg: r.FieldWidthDeg, HeightDeg: r.FieldHeightDeg, Shape: r.FieldShape},
		Eye: spec.EyeSection{
			PupilMM: r.PupilMM, BoxMM: r.BoxMM, SharpBoxMM: &r.SharpBoxMM, ReliefMinMM: r.ReliefMinMM, ReliefMaxMM: r.ReliefMaxMM,
			AccommodationD: r.AccommodationD, RefocusMaxD: r.RefocusMaxD, CombinerMM: r.CombinerMM, CombinerIndex: r.CombinerIndex,
		},
		Depth: spec.DepthSection{NearM: r.NearM, FarM: r.FarM, Steps: r.Steps},
		Mask: spec.MaskSection{
			WidthMM: r.MaskWidthMM, HeightMM: r.MaskHeightMM, PixelUM: r.PixelUM, GlassMM: r.MaskGlassMM, GlassIndex: r.MaskGlassIndex,
			ClearanceMM: r.ClearanceMM, Seat: r.Seat, Transmission: r.MaskTransmission,
		},
		Stage:  spec.StageSection{TravelMM: r.TravelMM, ResolutionUM: r.ResolutionUM, SpeedMMS: r.SpeedMMS},
		Light:  spec.LightSection{WavelengthsNM: r.WavelengthsNM, Weights: r.Weights},
		Search: spec.SearchSection{Method: "enumerate", RankBy: r.RankBy, OnePer: "design"},
	}
	for slot, list := range map[string]*[]string{"front": &s.Train.Front, "relay": &s.Train.Relay, "rear": &s.Train.Rear} {
		if allowed, limited := r.Allowed[slot]; limited {
			*list = slices.Sorted(maps.Keys(allowed))
		}
	}
	if r.EyeColour {
		s.Eye.Colour = spec.ColourPublished
	}
	if r.FillPct > 0 {
		s.Mask.FillPct = &r.FillPct
	}
	for _, name := range r.Layouts {
		s.Train.Layouts = append(s.Train.Layouts, layoutNames[name])
	}
	for name, v := range r.Limits {
		// The field is called as the key, without underscores.
		field := reflect.ValueOf(&s.Limits).Elem().FieldByNameFunc(func(field string) bool {
			return strings.EqualFold(field, strings.ReplaceAll(name, "_", ""))
		})
		field.Set(reflect.ValueOf(&v))
	}
	s.Limits.FieldFraction = r.FieldFraction
	return s
}

// walkAll is every design that meets the paraxial requirements, in order, with
// the proof that the walk leaves.
func walkAll(t *testing.T, s *spec.Spec, lenses []*catalog.Lens, workers, held int) ([]solved, *exactSearch) {
	t.Helper()
	j := &Job{Spec: s}
	p := s.Problem()
	o := j.options(s)
	o.workers, o.held = workers, held
	if held < 0 {
		groups := countGroups(objective.NewLibrary(p, lenses), o.lensesPerGroup)
		o.held, o.heldMost = 0, int(groups.Int64())*2/3
		if wantedSlots(o).pair { // all of a pair relay's groups serve in all places
			o.heldMost *= 4
		}
	}
	a, err := newExactSearch(context.Background(), objective.NewLibrary(p, lenses), o)
	if err != nil {
		t.Fatal(err)
	}
	var all []solved
	for {
		batch, _, err := a.next(context.Background(), 1000)
		if err != nil {
			t.Fatal(err)
		}
		if len(batch) == 0 {
			return all, a
		}
		all = append(all, solveAll(a.lib, batch)...)
	}
}

// TestSearchAgainstSecondModel compares the walk with the enumeration of
// sweep/internal/secondmodel, which shares no code with it: same designs, same
// order, same numbers, every design accounted for.
func TestSearchAgainstSecondModel(t *testing.T) {
	cases := 160
	if testing.Short() {
		cases = 40
	}
	var designs, busy, both atomic.Int64
	t.Run("cases", func(t *testing.T) {
		for c := range cases {
			if c%4 == 3 {
				c += bothFrom
			}
			t.Run(fmt.Sprint(c), func(t *testing.T) {
				t.Parallel()
				request, lenses := smallCase(c)
				n := compareSecondModel(t, c, request, lenses)
				designs.Add(int64(n))
				if n > 0 {
					busy.Add(1)
					if request.Seat == "both" {
						both.Add(1)
					}
				}
			})
		}
	})
	t.Logf("%d cases with %d designs that meet the requirements; %d cases have some, %d of them with two masks", cases, designs.Load(), busy.Load(), both.Load())
	if int(busy.Load()) < cases/4 || int(both.Load()) < cases/20 {
		t.Errorf("only %d of %d cases have a design, %d with two masks: the comparison says little", busy.Load(), cases, both.Load())
	}
}

// bothFrom is the number of the first small case whose trains, where they are upright, have a
// mask at each image.
const bothFrom = 9000

// smallCase is a random request and lenses whose space holds up to some ten
// thousand designs. Its search for inner gaps is slow, so that two of
// three requests for pair relays are turned into others.
func smallCase(c int) (secondmodel.Request, []*catalog.Lens) {
	r := rand.New(rand.NewPCG(20, uint64(c)))
	request := secondmodel.RandomRequest(r)
	if c >= bothFrom && request.Layouts[0] != "keplerian" {
		request.Seat = "both"
	}
	pair := slices.Contains(request.Layouts, "erector-pair")
	if pair && c%3 > 0 {
		pair = false
		request.Layouts = []string{"erector-single"}
	}
	switch {
	case pair:
		return request, secondmodel.RandomLenses(r, 2)
	case r.IntN(4) == 0:
		request.LensesPerGroup = 3
		return request, secondmodel.RandomLenses(r, 1)
	case r.IntN(3) == 0:
		request.LensesPerGroup = 2
		return request, secondmodel.RandomLenses(r, 2)
	}
	return request, secondmodel.RandomLenses(r, 6+r.IntN(3))
}

func compareSecondModel(t *testing.T, c int, request secondmodel.Request, lenses []*catalog.Lens) int {
	t.Helper()
	want := secondmodel.Enumerate(request, lenses)
	// With all groups held, and filtered by horizons that come up in small steps.
	// and where few may be held at once, in partitions.
	held := []int{0, 4}
	if c%6 == 0 {
		held = append(held, -1)
	}
	for _, held := range held {
		compareSecondModelHeld(t, request, lenses, want, held)
	}
	return len(want.Passing)
}

func compareSecondModelHeld(t *testing.T, request secondmodel.Request, lenses []*catalog.Lens, want secondmodel.Result, held int) {
	t.Helper()
	s := specOf(request)
	got, a := walkAll(t, s, lenses, 2, held)
	if a.proof.Space.Cmp(big.NewInt(int64(want.Space))) != 0 {
		t.Errorf("space: %v designs, the second model counts %d", a.proof.Space, want.Space)
	}
	addMissed(request, &want, got)
	if len(got) != len(want.Passing) {
		t.Errorf("%d designs, the second model has %d", len(got), len(want.Passing))
	}
	if !slices.IsSortedFunc(got, compareSolved) {
		t.Error("the designs are not in order")
	}
	// Ranked lengths agree to far less than the 1e-6 mm to which they are
	// rounded, but two that straddle a rounding limit may swap places between
	// the implementations: designs are compared by name.
	byID := map[string]*secondmodel.Design{}
	for i := range want.Passing {
		byID[want.Passing[i].ID] = &want.Passing[i]
	}
	for _, g := range got {
		w := byID[g.id]
		if w == nil || math.Abs(g.ranked-w.RankedMM) > 1.01e-6 {
			t.Errorf("%s at %.6f, the second model has %+v", g.id, g.ranked, w)
			break
		}
		if g.train.Layout == objective.ErectorPair && math.Abs(g.train.Gaps[1]-w.GapsMM[1]) > 1e-6 {
			// Two inner gaps of the same ranked length: with the eye relief in
			// it, the length can stay the same over a range of gaps.
			continue
		}
		compareDescription(t, a.p.Describe(g.train), g.train, w)
	}
	sum := new(big.Int)
	for _, n := range a.proof.SetAside {
		sum.Add(sum, n)
	}
	for _, n := range a.proof.Failed {
		sum.Add(sum, n)
	}
	if sum.Add(sum, big.NewInt(int64(len(got)))); sum.Cmp(a.proof.Space) != 0 {
		t.Errorf("%v designs accounted for of %v", sum, a.proof.Space)
	}
}

// addMissed looks again, with a hundred times as many inner gaps, at pair
// relays that the enumeration of the second model passed over: its scan can step across a
// short range of gaps that serve.
func addMissed(request secondmodel.Request, want *secondmodel.Result, got []solved) {
	has := map[string]bool{}
	for i := range want.Passing {
		has[want.Passing[i].ID] = true
	}
	request.InnerSteps *= 100
	for _, g := range got {
		if has[g.id] || g.train.Layout != objective.ErectorPair {
			continue
		}
		d := secondmodel.Evaluate(request, g.train.Layout.String(), g.train.Seat.String(), orientedOf(g.train))
		if d.FailedBy == "" {
			want.Passing = append(want.Passing, d)
		}
	}
	slices.SortFunc(want.Passing, func(a, b secondmodel.Design) int {
		round := objective.RoundedLength
		return cmp.Or(cmp.Compare(round(a.RankedMM), round(b.RankedMM)), strings.Compare(a.ID, b.ID))
	})
}

func compareDescription(t *testing.T, d objective.Description, train *objective.Train, w *secondmodel.Design) {
	t.Helper()
	close := func(name string, got, want float64) {
		t.Helper()
		if math.IsNaN(got) && math.IsNaN(want) {
			return
		}
		if !(math.Abs(got-want) <= 1e-6*math.Max(1, math.Abs(want))) {
			t.Errorf("%s: %s is %.9g, the second model has %.9g", w.ID, name, got, want)
		}
	}
	close("length_mm", d.Length, w.LengthMM)
	close("eye_relief_mm", d.EyeRelief, w.EyeReliefMM)
	close("viewpoint_shift_mm", d.ViewpointShift, w.ViewpointShiftMM)
	close("angular_magnification", d.AngularMagnification, w.AngularMagnification)
	close("f_front_mm", d.FocalFront, w.FFrontMM)
	close("f_relay_mm", d.FocalRelay, w.FRelayMM)
	close("f_rear_mm", d.FocalRear, w.FRearMM)
	close("field_max_deg", d.FieldMaxDeg, w.FieldMaxDeg)
	close("price", d.Price, w.Price)
	close("mass_g", d.MassG, w.MassG)
	for i := range w.GapsMM {
		close(fmt.Sprintf("gap %d", i), train.Gaps[i], w.GapsMM[i])
	}
	compareMask := func(d objective.MaskDescription, w secondmodel.MaskPlaces) {
		t.Helper()
		close("travel_paraxial_mm", d.Travel, w.TravelParaxialMM)
		close("depth_step_D", d.DepthStepD, w.DepthStepD)
		close("pixel_arcmin", d.PixelArcmin, w.PixelArcmin)
		close("mask_scale_change_pct", d.MaskScaleChangePct, w.MaskScaleChangePct)
		for i, s := range w.Setpoints {
			close("mask_paraxial_mm", d.Setpoints[i].MaskMM, s.MaskMM)
		}
	}
	compareMask(d.MaskDescription, w.MaskPlaces)
	if (d.Second != nil) != (len(w.Second.Setpoints) > 0) {
		t.Errorf("%s: a second mask in one model alone", w.ID)
	} else if d.Second != nil {
		compareMask(*d.Second, w.Second)
	}
}
