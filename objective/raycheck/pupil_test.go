package raycheck

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"relaysweep/objective/raycheck/lanes"
	"testing"
)

// densePupil fills a disc of the given radius with the centres of the equal
// square cells that lie in it, cells of them across the diameter.
func densePupil(radius float64, cells int) pupil {
	h := 2 * radius / float64(cells)
	var f pupil
	for i := range (cells + 1) / 2 {
		x := (float64(i) + 0.5) * h
		for j := range cells {
			y := (float64(j) + 0.5 - float64(cells)/2) * h
			if math.Hypot(x, y) < radius {
				f.add(x, y, 1)
			}
		}
	}
	for i := range f.weight {
		f.weight[i] = 1 / float64(len(f.x))
	}
	return f
}

// denseRays launches a bundle's rays at wavelength w from all points of a filling on a side of the
// middle of the checker's pupil.
func denseRays(c *Checker, b *sampledBundle, w int, f *pupil, side float64) *lanes.Rays {
	r := lanes.NewRays(len(f.x))
	var x, y []float64
	for i := range f.x {
		x, y = append(x, c.at.x+side*f.x[i]), append(y, c.at.y+f.y[i])
	}
	r.Launch(x, y, b.tan, c.depths[b.depth]-c.p.EyeColour(w))
	return &r
}

// summedDensely is a bundle of the checker's train with its sums from a uniform
// filling, of which any part is as good as the whole.
func summedDensely(c *Checker, k, cells int) sampledBundle {
	b := c.sampledBundles[k]
	b.masks[0].sums, b.view = make([]maskSums, len(b.masks[0].sums)), make([]viewSums, len(b.view))
	b.masks[0].all = maskSums{}
	f := densePupil(c.p.Pupil/2, cells)
	mask, view, weight := lanes.NewLines(len(f.x)), lanes.NewLines(len(f.x)), make([]float64, len(f.x))
	for w := range c.blocks {
		sides := []float64{1}
		if c.at.x != 0 {
			sides = []float64{1, -1}
		}
		for _, side := range sides {
			r := denseRays(c, &b, w, &f, side)
			c.throughSteps(r, w, 0, c.masks[0].beyond)
			c.beforeMask(&mask, r)
			c.throughSteps(r, w, c.masks[0].beyond, len(c.steps))
			view.Cross(r, c.viewpoint)
			for i := range weight {
				weight[i] = f.weight[i] / float64(len(sides))
				if r.Lost(i) {
					weight[i] = 0
				}
			}
			m, v := c.maskSums(0, &mask, weight, &b), c.viewSums(&view, weight, &b)
			b.masks[0].sums[w].add(&m, 1)
			b.view[w].add(&v, 1)
		}
		b.masks[0].all.add(&b.masks[0].sums[w], c.weight[w])
	}
	return b
}

// TestPupilCut cuts segments off a disc and counts what is left of a fine grid; with
// k = 1/2 the segment is 1/3 - sqrt(3)/(4π) of the disc (half angle π/3).
func TestPupilCut(t *testing.T) {
	if objective.PupilCut(0) != 0 || objective.PupilCut(-1) != 0 || objective.PupilCut(0.5) != 1 || objective.PupilCut(1) != 1 {
		t.Errorf("nothing lost %v, half lost %v, all lost %v", objective.PupilCut(0), objective.PupilCut(0.5), objective.PupilCut(1))
	}
	testlens.Near(t, "k = 1/2", objective.PupilCut(1.0/3-math.Sqrt(3)/(4*math.Pi)), 0.5, 1e-12)
	const cells = 2000
	for _, share := range []float64{0.002, 0.05, 0.1, 0.3, 0.49} {
		cut := objective.PupilCut(share)
		inside, off := 0, 0
		for i := range cells {
			for j := range cells {
				x, y := (float64(i)+0.5)/cells*2-1, (float64(j)+0.5)/cells*2-1
				if math.Hypot(x, y) < 1 {
					inside++
					if y > 1-cut {
						off++
					}
				}
			}
		}
		testlens.Near(t, "share", float64(off)/float64(inside), share, 5e-4)
	}
}

// TestPassingEdge: what apertures have to pass shrinks by the cut of the pupil, not by
// that of the box; the largest field stays that of the whole pupil.
func TestPassingEdge(t *testing.T) {
	p := testtrain.Problem()
	train := testtrain.Simple(t, p)
	whole := p.FieldTan(train)
	p.PupilCut = objective.PupilCut(0.1) // k = 0.6870
	testlens.Near(t, "reach", p.PassingEdge(), (0.68705*4+2)/2, 1e-4)
	testlens.Near(t, "field", p.FieldTan(train), whole, 0)
}
