package raycheck

import "testing"

// TestCutByApertures: what passes of a bundle that apertures cut has the same sums by few rays
// as by the general filling, bit by bit, at every wavelength, and no field in which something
// is cut off counts as clear.
func TestCutByApertures(t *testing.T) {
	cut, general, clear := 0, 0, 0
	for i, c := range checkCases(150) {
		p := *c.p
		p.DepthSteps = 2 + i%4
		p.Limits.FieldFraction = 1
		for _, g := range c.train.Groups {
			for _, e := range g.Elements {
				e.Lens.ClearMM *= []float64{0.5, 0.7, 0.8, 0.9, 1}[i%5]
			}
		}
		for _, withCorners := range []bool{true, false} {
			checker := NewChecker(&p)
			checker.prepare(c.train)
			checker.measureUsed(nil, false, withCorners, false)
			fields := checker.clearFields()
			for k := range checker.sampledBundles {
				b := &checker.sampledBundles[k]
				if b.lossy {
					continue
				}
				clears := checker.clears(b, 0, 0, p.Pupil/2)
				if b.field < fields {
					if clear++; !clears {
						t.Errorf("case %d: bundle %d counts as clear", i, k)
					}
				}
				if clears || withCorners {
					continue
				}
				checker.loss.clear = true
				got, ok := checker.cutByApertures(b)
				want := checker.throughApertures(b)
				checker.loss.clear = false
				if !ok {
					general++
					continue
				}
				if cut++; got != want {
					t.Errorf("case %d, bundle %d: %+v, by the general filling %+v", i, k, got, want)
				}
			}
		}
	}
	t.Logf("%d bundles cut, %d left to the general filling, %d clear by their field", cut, general, clear)
	if cut < 500 || clear < 500 || general > cut/20 {
		t.Errorf("%d bundles cut, %d left to the general filling, %d clear by their field", cut, general, clear)
	}
}
