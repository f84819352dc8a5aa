package thirdorder

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/objective/internal/testtrain"
)

// TestFacetsAreUnknown: no estimate of the view but those of colour turns away a train with facets, whatever its
// limits, and its sums are unknown but those of colour, which are those of the smooth train.
func TestFacetsAreUnknown(t *testing.T) {
	colours := 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawFaceted(t)
		p.VergenceFar = 0
		p.Limits.Max = map[string]float64{
			"view_blur_arcmin": 0, "view_defocus_D": 0, "view_astigmatism_D": 0, "distortion_pct": 0,
		}
		maker := NewMaker(p)
		var groups []*Group
		for _, g := range train.Groups {
			groups = append(groups, maker.Group(g))
		}
		screen := NewScreen(p, []float64{0, 0.5, 1}, 0, 2)
		screen.Take(train, groups)
		if screen.Exceeds(train.EyeRelief) {
			t.Fatal("a train with facets is turned away")
		}
		slopes := screen.Slopes()
		for i, g := range train.Groups {
			if !groups[i].isUnknown() {
				continue
			}
			if e, ok := slopes.Front(g, groups[i], objective.SeatRear); ok || e.At(3, 0) != 0 {
				t.Error("a front with facets has a slope")
			}
			if e, ok := slopes.Rear(g, groups[i], objective.SeatRear); ok || e.At(3, 0) != 0 {
				t.Error("a rear with facets has a slope")
			}
			if _, ok := slopes.Relay(g, groups[i]); ok {
				t.Error("a relay with facets has a slope")
			}
		}
		each, total := Contributions(p, train)
		if !math.IsNaN(total.SI) || !math.IsNaN(total.SV) || math.IsNaN(total.CI) || math.IsNaN(total.CII) {
			t.Errorf("sums %+v", total)
		}
		for _, c := range each {
			faceted := false
			if c.Element != nil {
				for _, s := range c.Element.Surfaces {
					faceted = faceted || s.IsFaceted()
				}
			}
			for _, sum := range []float64{c.Sums.SI, c.Sums.SII, c.Sums.SIII, c.Sums.SIV, c.Sums.SV} {
				if math.IsNaN(sum) != faceted {
					t.Errorf("%s %d, with facets %v: %+v", c.Group, c.Position, faceted, c.Sums)
				}
			}
		}
		p.Limits.Max = map[string]float64{"axial_colour_D": 1e-6}
		screen = NewScreen(p, []float64{0, 0.5, 1}, 0, 2)
		screen.Take(train, groups)
		if screen.Exceeds(train.EyeRelief) {
			colours++
			if excess, _ := screen.Excess(); !(excess > 0 && excess <= excessMost) {
				t.Errorf("an excess of %v by a single limit", excess)
			}
		}
	})
	if colours == 0 {
		t.Error("colour turns nothing away")
	}
}
