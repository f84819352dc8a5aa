package raycheck

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// TestTracer: many skew rays at a time go where the tracer of single rays, which shares no formula
// with it, takes them one by one: in the mask's layer, in the viewpoint plane, and past the clear
// apertures.
func TestTracer(t *testing.T) {
	lost, passed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawTraced(t)
		maskMM := rapid.Float64Range(0.2, 0.8).Draw(t, "mask") * train.Gaps[train.MaskGap()]
		from := make([]Line, rapid.IntRange(1, 9).Draw(t, "rays"))
		for i := range from {
			for _, x := range []*float64{&from[i].X, &from[i].Y} {
				*x = rapid.Float64Range(-3, 3).Draw(t, "place")
			}
			for _, x := range []*float64{&from[i].SX, &from[i].SY} {
				*x = rapid.Float64Range(-0.3, 0.3).Draw(t, "slope")
			}
		}
		var clear []float64
		for _, g := range train.Groups {
			for _, e := range g.Elements {
				for range e.Surfaces {
					clear = append(clear, e.Lens.ClearMM/2)
				}
			}
		}
		tracer, to := NewTracer(p, train, maskMM), make([]Passage, len(from))
		for w, nm := range p.WavelengthsNM {
			tracer.Trace(w, from, to)
			for i, l := range from {
				points, ok := TraceRay(p, train, []float64{maskMM}, RayStart{WavelengthNM: nm, XMM: l.X, YMM: l.Y, SlopeX: l.SX, SlopeY: l.SY})
				if to[i].Lost == ok {
					t.Fatalf("ray %d: lost %v, passes %v", i, to[i].Lost, ok)
				}
				if !ok {
					lost++
					continue
				}
				passed++
				name := fmt.Sprintf("ray %d at %g nm: ", i, nm)
				// Errors of a steep ray are multiplied at each surface.
				const near = 1e-7
				over := 0.0
				for _, at := range points {
					if at.At == AtLens {
						over = max(over, math.Hypot(at.X, at.Y)/clear[at.Surface])
					}
					if at.At == AtMask {
						testlens.Near(t, name+"x in the mask", to[i].Mask.X, at.X, near)
						testlens.Near(t, name+"y in the mask", to[i].Mask.Y, at.Y, near)
					}
				}
				last := points[len(points)-1]
				on := last.Z - p.Viewpoint(train)
				testlens.Near(t, name+"overfill", to[i].Overfill, over, near)
				testlens.Near(t, name+"slope along x", to[i].World.SX, last.L/-last.N, near)
				testlens.Near(t, name+"slope along y", to[i].World.SY, last.M/-last.N, near)
				reach := near * (1 + math.Abs(on))
				testlens.Near(t, name+"x at the viewpoint", to[i].World.X, last.X+on*last.L/-last.N, reach)
				testlens.Near(t, name+"y at the viewpoint", to[i].World.Y, last.Y+on*last.M/-last.N, reach)
			}
		}
	})
	if min(lost, passed) == 0 {
		t.Errorf("%d rays are lost and %d pass", lost, passed)
	}
}
