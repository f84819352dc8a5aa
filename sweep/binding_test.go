package sweep

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// TestBinding asks what no bound lets through: every design is set aside before
// it is judged, and no failure is counted. What is then said to bind has the shares
// of the requirements that the designs, all judged one by one, fail first.
func TestBinding(t *testing.T) {
	for name, c := range map[string]struct {
		layout objective.Layout
		ask    func(s *spec.Spec)
	}{
		"short":      {objective.ErectorSingle, func(s *spec.Spec) { s.Train.LengthMaxMM = 12 }},
		"wide":       {objective.ErectorSingle, func(s *spec.Spec) { s.Field.WidthDeg, s.Field.HeightDeg = 100, 80 }},
		"short pair": {objective.ErectorPair, func(s *spec.Spec) { s.Train.LengthMaxMM = 12 }},
		"far eye":    {objective.Keplerian, func(s *spec.Spec) { s.Eye.ReliefMinMM, s.Eye.ReliefMaxMM = 900, 950 }},
	} {
		s := benchSpec(c.layout, 1)
		lenses := smallStock(t, rand.New(rand.NewPCG(13, 1)), 5)
		lenses = append(lenses, smallStock(t, rand.New(rand.NewPCG(13, 2)), 1)...)
		last := lenses[len(lenses)-1] // one that does not converge
		last.Part, last.Surfaces[0].RadiusMM, last.Surfaces[1].RadiusMM = "minus", -40, 40
		c.ask(s)
		lib := objective.NewLibrary(s.Problem(), lenses)
		judged, fails := 0.0, map[string]float64{}
		places := len(c.layout.GroupNames())
		for k := range int(math.Pow(float64(len(lib.Elements)), float64(places))) {
			train := &objective.Train{Layout: c.layout, Seat: s.Spaces()[0].Seat}
			for range places {
				train.Groups = append(train.Groups, lib.Problem.NewGroup(lib.Elements[k%len(lib.Elements)]))
				k /= len(lib.Elements)
			}
			if failed := lib.Problem.SolveBest(train, objective.ByLength); failed != objective.Focal {
				judged++
				fails[failed.String()]++
			}
		}
		fits := fitsOf(t, s, lenses)
		drawn := 0.0
		for _, n := range fits.Binds {
			drawn += float64(n)
		}
		if drawn != bindsJudged {
			t.Errorf("%s: %v designs judged, %v", name, drawn, fits.Binds)
		}
		for requirement, n := range fits.Binds {
			// Five times the standard deviation of a share of so many draws.
			share := fails[requirement] / judged
			if got := float64(n) / drawn; math.Abs(got-share) > 5*math.Sqrt(share*(1-share)/drawn)+1e-12 {
				t.Errorf("%s: %s binds %.4f of what was drawn, %.4f of all", name, requirement, got, share)
			}
		}
		if diff := cmp.Diff(fits.Binds, fitsOf(t, s, lenses).Binds); diff != "" {
			t.Errorf("%s: drawn again:\n%s", name, diff)
		}
	}
	// Where failures are counted these tell.
	s := benchSpec(objective.ErectorSingle, 1)
	blur := 1e-3
	s.Limits.ViewBlurArcmin, s.Field.WidthDeg, s.Field.HeightDeg, s.Stage.TravelMM = &blur, 6, 4.5, 30
	if fits := fitsOf(t, s, smallStock(t, rand.New(rand.NewPCG(12, 1)), 4)); len(fits.Binds) > 0 {
		t.Errorf("designs were judged, and yet %v is drawn", fits.Binds)
	}
}
