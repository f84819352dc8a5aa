package raycheck

import (
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"relaysweep/objective/raycheck/lanes"
)

// traceBatch traces rays of one wavelength through a train by the batched
// trace, from the eye to the first vertex.
func traceBatch(p *objective.Problem, t *objective.Train, wavelengthNM float64, r *lanes.Rays) {
	steps, _ := trainSteps(p, t, nil, nil)
	ratios := [][]float64{nil}
	indexRatios(t, func(g *catalog.Glass) []float64 { return []float64{g.Index(wavelengthNM)} }, ratios)
	for s := range steps {
		steps[s].through(r, ratios[0][s])
	}
}

// TestTraceRayAgainstBatch compares the batched trace with the single-ray one,
// which works in the unmirrored frame, meets surfaces from where the ray is,
// refracts by the tangential part of n·k and goes through the plates' faces.
func TestTraceRayAgainstBatch(t *testing.T) {
	lost, through := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawAnyTraced(t)
		mask, _ := p.PlaceMask(train, train.MaskGap(), p.Depth(0))
		wavelength := rapid.Float64Range(450, 680).Draw(t, "wavelength")
		wide := rapid.Float64Range(1, 6).Draw(t, "wide") // out to where rays are lost
		for range 10 {
			x, y := wide*rapid.Float64Range(-2, 2).Draw(t, "x"), wide*rapid.Float64Range(-2, 2).Draw(t, "y")
			sx, sy := wide*rapid.Float64Range(-0.1, 0.1).Draw(t, "sx"), wide*rapid.Float64Range(-0.1, 0.1).Draw(t, "sy")
			r := singleRay(x, y, sx, sy)
			traceBatch(p, train, wavelength, r)
			points, complete := TraceRay(p, train, []float64{mask}, RayStart{wavelength, x, y, sx, sy})
			if complete == r.Lost(0) {
				t.Fatalf("the single ray is complete: %v, the batched one lost: %v", complete, r.Lost(0))
			}
			if !complete {
				lost++
				continue
			}
			through++
			end := points[len(points)-1]
			// A train of five lenses magnifies rounding errors of 1e-14.
			testlens.Near(t, "x", r.X[0], end.X, 1e-9)
			testlens.Near(t, "y", r.Y[0], end.Y, 1e-9)
			testlens.Near(t, "z", -r.W[0], end.Z, 1e-9)
			testlens.Near(t, "kx", r.KX[0], end.L, 1e-10)
			testlens.Near(t, "ky", r.KY[0], end.M, 1e-10)
			testlens.Near(t, "kw", r.KW[0], -end.N, 1e-10)
		}
	})
	if lost == 0 || through == 0 {
		t.Errorf("%d rays lost and %d through: both should occur", lost, through)
	}
}

// TestTraceParaxialLimit compares rays close to the axis with the paraxial
// matrix of the train, plates included.
func TestTraceParaxialLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawAnyTraced(t)
		const small = 1e-5
		y, u := small*rapid.Float64Range(-2, 2).Draw(t, "y"), small*rapid.Float64Range(-0.1, 0.1).Draw(t, "u")
		r := singleRay(0, y, 0, u)
		traceBatch(p, train, p.WavelengthsNM[p.Reference()], r)
		// The matrix acts in the direction of growing z, in which slopes have
		// the other sign.
		m := p.EyeMatrix(train)
		y1, u1 := r.Y[0], -r.KY[0]/r.KW[0]
		testlens.Near(t, "height at the eye", m.A*y1+m.B*u1, y, 1e-8*small)
		testlens.Near(t, "slope at the eye", m.C*y1+m.D*u1, -u, 1e-9*small)
	})
}
