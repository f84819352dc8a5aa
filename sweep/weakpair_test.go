package sweep

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"relaysweep/catalog"
	"relaysweep/sweep/internal/secondmodel"
)

// TestWeakPairComponents has lenses that are nearly windows among the parts of pair
// relays: up to 10^6 mm of focal length they serve, and the walk finds the designs
// that its enumeration finds; beyond, they count as without power.
func TestWeakPairComponents(t *testing.T) {
	const cases = 3
	weak := 0
	for c := range cases {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			r := rand.New(rand.NewPCG(41, uint64(c)))
			request := secondmodel.RandomRequest(r)
			request.Layouts, request.LengthMaxMM, request.LensesMax, request.DistinctPartsMax = []string{"erector-pair"}, 0, 0, 0
			request.PupilMM, request.BoxMM, request.TravelMM = 2, 0, 15
			request.Limits = map[string]float64{}
			lenses := secondmodel.RandomLenses(r, 2)
			for len(lenses) < 4 {
				// (n-1)·(1/r1 - 1/r2), thin.
				focal := []float64{9e5, -9e5, 2e5, 1.6e8, -1.6e8, 3e4}[(c+3*len(lenses))%6]
				l := *lenses[0]
				glass := l.Glasses[0]
				l.Part, l.Kind = fmt.Sprint("W", len(lenses)), "window"
				l.Surfaces = []catalog.Surface{{RadiusMM: (glass.Nd() - 1) * focal}, {RadiusMM: math.Inf(1)}}
				l.ThicknessMM, l.Glasses, l.Stock = []float64{2}, []*catalog.Glass{glass}, catalog.Unlimited
				lenses = append(lenses, &l)
			}
			for _, l := range lenses[:2] {
				l.Stock = catalog.Unlimited
			}
			want := secondmodel.Enumerate(request, lenses)
			for _, d := range want.Passing {
				for _, g := range d.Groups[1:3] {
					if g[0].Lens.Kind == "window" {
						weak++
					}
				}
			}
			compareSecondModelHeld(t, request, lenses, want, 0)
		})
	}
	if weak < 20 {
		t.Errorf("only %d pair components of passing designs are weak", weak)
	}
}
