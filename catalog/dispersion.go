package catalog

import "math"

// Spectral lines in nm (ISO 7944:1998, reference wavelengths).
const (
	LineF = 486.1327
	LineE = 546.0740
	LineD = 587.5618
	LineC = 656.2725
)

// dispersion gives the refractive index relative to air at a wavelength in µm.
type dispersion interface {
	index(um float64) float64
}

type sellmeier struct{ b, c [3]float64 }

func (s sellmeier) index(um float64) float64 {
	l2 := float64(um * um)
	n2 := 1.0
	for i, b := range s.b {
		if b != 0 {
			n2 += float64(b*l2) / (l2 - s.c[i])
		}
	}
	// Beside a resonance the formula runs off to either infinity.
	if n2 < 1 || math.IsInf(n2, 0) {
		return math.NaN()
	}
	return math.Sqrt(n2)
}

// cauchy is n = a + b/λ² with b in µm².
type cauchy struct{ a, b float64 }

func newCauchy(nd, vd float64) cauchy {
	inverseSquare := func(nm float64) float64 { return 1e6 / float64(nm*nm) }
	b := (nd - 1) / vd / (inverseSquare(LineF) - inverseSquare(LineC))
	return cauchy{a: nd - float64(b*inverseSquare(LineD)), b: b}
}

func (c cauchy) index(um float64) float64 {
	return c.a + c.b/float64(um*um)
}
