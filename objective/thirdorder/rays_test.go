package thirdorder

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// vec is a point or a direction, its last component along ζ.
type vec [3]float64

// exactRay follows a ray from the eye through a train by Snell's law and returns where it crosses
// a plane at a distance along ζ from the first vertex, and its slopes there. The train has no
// plates. It shares nothing with what third-order theory is computed by.
func exactRay(p *objective.Problem, train *objective.Train, place, slope [2]float64, beyond float64) (at, out [2]float64) {
	x := vec{place[0], place[1], 0}
	d := vec{slope[0], slope[1], 1}
	wavelength := p.WavelengthsNM[p.Reference()]
	vertex, n := train.EyeRelief, 1.0
	surface := func(s *catalog.Surface, after float64) {
		// Seen along ζ the surface is turned round.
		sag := func(h float64) float64 { return -s.Sag(h) }
		k := (vertex - x[2]) / d[2]
		for range 60 {
			px, py, pz := x[0]+k*d[0], x[1]+k*d[1], x[2]+k*d[2]
			h := math.Hypot(px, py)
			f := pz - vertex - sag(h)
			slope := d[2]
			if h > 0 {
				slope += s.SagSlope(h) * (px*d[0] + py*d[1]) / h
			}
			k -= f / slope
		}
		for i := range x {
			x[i] += k * d[i]
		}
		h := math.Hypot(x[0], x[1])
		normal := vec{0, 0, 1}
		if h > 0 {
			normal[0], normal[1] = s.SagSlope(h)*x[0]/h, s.SagSlope(h)*x[1]/h
		}
		unit(&normal)
		unit(&d)
		// n·d keeps what lies along the surface (M. Born, E. Wolf, Principles of Optics, section 3.2.2).
		cos := n * (d[0]*normal[0] + d[1]*normal[1] + d[2]*normal[2])
		behind := math.Sqrt(after*after - n*n + cos*cos)
		for i := range d {
			d[i] = n*d[i] + (behind-cos)*normal[i]
		}
		n = after
	}
	for g := len(train.Groups) - 1; g >= 0; g-- {
		group := train.Groups[g]
		for k := len(group.Elements) - 1; k >= 0; k-- {
			e := group.Elements[k]
			for s := len(e.Surfaces) - 1; s >= 0; s-- {
				after := 1.0
				if s > 0 {
					after = e.Glasses[s-1].Index(wavelength)
				}
				surface(&e.Surfaces[s], after)
				if s > 0 {
					vertex += e.Thickness[s-1]
				}
			}
			if k > 0 {
				vertex += group.GapsMM[k-1]
			}
		}
		if g > 0 {
			vertex += train.Gaps[g-1]
		}
	}
	out = [2]float64{d[0] / d[2], d[1] / d[2]}
	k := vertex + beyond - x[2]
	return [2]float64{x[0] + k*out[0], x[1] + k*out[1]}, out
}

func unit(v *vec) {
	length := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	for i := range v {
		v[i] /= length
	}
}

// TestExactRays: in the limit of small aperture and field the slopes of exact skew rays in the world
// are those of third order, and what is left falls with the fifth power: by 32 with each half.
func TestExactRays(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		p, train, groups := drawTrain(t)
		p.MaskGlass, p.CombinerMM = 0, 0
		if p.Assemble(train, 0) != objective.Met {
			t.Skip("no train without plates")
		}
		e := NewEstimator(p, []float64{0}, 0)
		e.all.add(p, train, groups, 0)
		e.all.toEye(p, train.EyeRelief)
		size, way := e.viewed()
		v := between(t, "vergence", 0, 0.004)
		e.setView(v, size, way)
		w := &e.wave
		px, py, f := between(t, "x", -1.5, 1.5), between(t, "y", 0.2, 1.5), between(t, "t", 0.02, 0.1)
		one := func(x, y, f float64) float64 {
			at, out := exactRay(p, train, [2]float64{x, y}, [2]float64{f - v*x, -v * y}, 8*way)
			world := v / (size * size)
			ex, ey := out[0]+world*at[0]-f/size, out[1]+world*at[1]
			p2 := x*x + y*y
			a := w.a
			gx := 4*a[0]*p2*x + 4*a[1]*(2*x*x*f+p2*f) + a[2]*12*f*f*x + 4*a[3]*f*f*f
			gy := 4*a[0]*p2*y + 4*a[1]*2*y*x*f + a[2]*4*f*f*y + w.petzval*2*f*f*y
			return math.Hypot(ex+gx/size, ey+gy/size)
		}
		left := func(scale float64) (sum float64) {
			x, y, f := px*scale, py*scale, f*scale
			for _, at := range [][2]float64{{x, y}, {-x, y}, {y, x}, {-y, x}, {x, 0}, {0, y}} {
				sum += one(at[0], at[1], f)
			}
			return sum
		}
		const rounding = 1e-12
		scale := 0.1
		for !(left(scale) <= 1e-8) { // orders beyond the fifth count, or rays are lost
			scale /= 2
		}
		wide, narrow := left(scale), left(scale/2)
		if narrow < rounding {
			return
		}
		compared++
		if !(wide/narrow > 20 && wide/narrow < 60) {
			t.Errorf("beyond the third order: %.3g, at half of aperture and field %.3g: %.3g times less", wide, narrow, wide/narrow)
		}
	})
	if compared < 20 {
		t.Errorf("%d trains compared", compared)
	}
}
