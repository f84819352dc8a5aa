package results

import (
	"math"
	"testing"
)

func TestMargin(t *testing.T) {
	price := 120.0
	d := Design{TravelMM: 12.5, ViewDefocusD: -0.75, EyeReliefMM: 20, Price: &price, LensesCount: 5}
	for _, c := range []struct {
		asked         Asked
		value, margin float64
		unit          string
		ok            bool
	}{
		{Asked{"travel_mm", AtMost, 15}, 12.5, 2.5, "mm", true},
		{Asked{"travel_mm", AtMost, 12}, 12.5, -0.5, "mm", true},
		{Asked{"view_defocus_D", AtMost, 1}, -0.75, 0.25, "D", true}, // its magnitude
		{Asked{"eye_relief_mm", AtLeast, 18}, 20, 2, "mm", true},
		{Asked{"price", AtMost, 100}, 120, -20, unitPrice, true},
		{Asked{"lenses_count", AtMost, 6}, 5, 1, "", true},
		{Asked{"mass_g", AtMost, 100}, 0, 100, "g", false},   // null
		{Asked{"design_id", AtMost, 100}, 0, 100, "", false}, // no number
	} {
		value, margin, unit, ok := c.asked.Margin(&d)
		if ok != c.ok || unit != c.unit && c.ok || ok && (value != c.value || math.Abs(margin-c.margin) > 1e-15) {
			t.Errorf("%v: value %v, margin %v, unit %q, ok %v", c.asked, value, margin, unit, ok)
		}
	}
}
