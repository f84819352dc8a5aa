package catalog

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"
)

// conicPoint is a point of a conic of vertex radius r and constant k by its
// parametric form, which shares nothing with the formula for the sag: semi-axes
// b across and a along the axis are R/√|1+k| and R/(1+k) (ellipse k > -1,
// hyperbola k < -1, from any text on conic sections).
func conicPoint(r, k, u float64) (h, z float64) {
	switch {
	case k > -1:
		return math.Abs(r) / math.Sqrt(1+k) * math.Sin(u), r / (1 + k) * 2 * math.Pow(math.Sin(u/2), 2)
	case k < -1:
		return math.Abs(r) / math.Sqrt(-1-k) * math.Sinh(u), r / (-1 - k) * 2 * math.Pow(math.Sinh(u/2), 2)
	default:
		return u * math.Abs(r), u * u * r / 2
	}
}

func TestSagOfConicsAgainstParametricForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(5, 2000).Draw(t, "r") * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "side")
		k := rapid.OneOf(rapid.Float64Range(-5, -1.01), rapid.Float64Range(-0.99, 3), rapid.SampledFrom([]float64{0, -1})).Draw(t, "k")
		h, z := conicPoint(r, k, rapid.Float64Range(0, 1.4).Draw(t, "u"))
		s := Surface{RadiusMM: r, Conic: k}
		// Near the rim of an ellipse rounding of h moves z by its slope.
		tolerance := 1e-12 * (math.Abs(z) + h*math.Abs(s.SagSlope(h)) + 1e-300)
		if got := s.Sag(h); math.Abs(got-z) > tolerance {
			t.Fatalf("r %g k %g h %g: sag %.15g, want %.15g", r, k, h, got, z)
		}
	})
}

func TestSagOfHemisphereReachesItsRim(t *testing.T) {
	for _, r := range []float64{12.7, -12.7, 0.3, 1.0 / 3} {
		s := Surface{RadiusMM: r}
		if got := s.Sag(math.Abs(r)); got != r {
			t.Errorf("radius %g: sag at the rim %g", r, got)
		}
		if !math.IsNaN(s.Sag(math.Abs(r) * 1.000001)) {
			t.Errorf("radius %g: there is a sag beyond the rim", r)
		}
	}
}

// asphere draws an asphere that reaches height h with moderate slopes.
func asphere(t *rapid.T, h float64, label string) Surface {
	r := h * rapid.Float64Range(1.3, 50).Draw(t, label+" radius/h") * rapid.SampledFrom([]float64{-1, 1}).Draw(t, label+" side")
	if rapid.IntRange(0, 5).Draw(t, label+" flat") == 0 {
		r = math.Inf(1)
	}
	s := Surface{RadiusMM: r}
	if rapid.Bool().Draw(t, label+" conic?") {
		s.Conic = rapid.Float64Range(-3, 0.6).Draw(t, label+" k")
	}
	for i := range rapid.IntRange(0, 4).Draw(t, label+" terms") {
		// Each term is some hundredths of h at the rim.
		s.Asphere = append(s.Asphere, rapid.Float64Range(-0.05, 0.05).Draw(t, label+" a")*h/math.Pow(h, float64(2*i+4)))
	}
	return s
}

func TestSagSlopeAgainstFiniteDifference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := asphere(t, 10, "s")
		h := rapid.Float64Range(-9.5, 9.5).Draw(t, "h")
		// The error is z'''/6 times the square of the step, z''' here below 100.
		want := fd.Derivative(s.Sag, h, &fd.Settings{Formula: fd.Central, Step: 1e-4})
		if got := s.SagSlope(h); math.Abs(got-want) > 1e-6 {
			t.Fatalf("%+v at %g: slope %g, difference %g", s, h, got, want)
		}
	})
}

func TestVolumeAgainstQuadrature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		half := rapid.Float64Range(1, 40).Draw(t, "half diameter")
		l := &Lens{DiameterMM: 2 * half, Surfaces: []Surface{asphere(t, half, "first"), asphere(t, half, "last")},
			ThicknessMM: []float64{half}, Glasses: []*Glass{nil}}
		want := quad.Fixed(func(h float64) float64 { return 2 * math.Pi * h * l.thicknessAt(0, h) }, 0, half, 200, quad.Legendre{}, 0)
		scale := math.Pi * half * half * half
		if got := l.ElementVolumeMM3(0); math.Abs(got-want) > 1e-9*scale {
			t.Fatalf("%+v: volume %.12g, integral %.12g", l.Surfaces, got, want)
		}
	})
}

// The cap of a sphere, π·s²·(3R - s)/3 (any table of solids): a plano-convex
// lens whose edge is a knife is one cap, a ball two halves.
func TestVolumeOfCaps(t *testing.T) {
	const r, h = 20, 12
	s := r - math.Sqrt(r*r-h*h) // 4
	lens := &Lens{DiameterMM: 2 * h, Surfaces: []Surface{{RadiusMM: r}, {RadiusMM: math.Inf(1)}}, ThicknessMM: []float64{s}}
	if got, want := lens.ElementVolumeMM3(0), math.Pi*s*s*(3*r-s)/3; math.Abs(got-want) > 1e-10*want {
		t.Errorf("cap: %.12g, want %.12g", got, want)
	}
	if got := lens.EdgeThicknessMM(0); math.Abs(got) > 1e-12 {
		t.Errorf("edge of a cap: %g, want 0", got)
	}
	ball := &Lens{DiameterMM: 2 * r, Surfaces: []Surface{{RadiusMM: r}, {RadiusMM: -r}}, ThicknessMM: []float64{2 * r}}
	if got, want := ball.ElementVolumeMM3(0), 4*math.Pi*r*r*r/3; math.Abs(got-want) > 1e-12*want {
		t.Errorf("ball: %.12g, want %.12g", got, want)
	}
}

func TestMass(t *testing.T) {
	crown, flint := NewAbbe("crown", 1.5168, 64.2, 2.5, ""), NewAbbe("flint", 1.67, 32.2, 4, "")
	flat := Surface{RadiusMM: math.Inf(1)}
	l := &Lens{DiameterMM: 20, Surfaces: []Surface{flat, flat, flat}, ThicknessMM: []float64{5, 2},
		Glasses: []*Glass{crown, flint}, Density: Unset}
	// Cylinders of 1.5708 and 0.62832 cm³.
	if got, want := l.MassG(), math.Pi*(0.5*2.5+0.2*4); math.Abs(got-want) > 1e-12 {
		t.Errorf("mass %.12g, want %.12g", got, want)
	}
	l.Density = 3
	if got, want := l.MassG(), math.Pi*0.7*3; math.Abs(got-want) > 1e-12 {
		t.Errorf("mass by the lens's density %.12g, want %.12g", got, want)
	}
	l.Glasses[1] = NewAbbe("flint", 1.67, 32.2, Unset, "")
	if got, want := l.MassG(), math.Pi*0.7*3; math.Abs(got-want) > 1e-12 {
		t.Errorf("mass by the lens's density %.12g, want %.12g", got, want)
	}
	l.Density = Unset
	if got := l.MassG(); IsSet(got) {
		t.Errorf("mass %g without a density, want none", got)
	}
}
