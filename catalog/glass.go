package catalog

import (
	"fmt"
	"math"
)

// Glass is an optical material: its dispersion, relative to air, and density.
// It does not change once made, so any number of goroutines may share it.
type Glass struct {
	Name string
	// Code is the six-digit code: the first three decimals of nd, then Vd
	// times ten (as 517642 for nd 1.517, Vd 64.2). It is the listed one, or
	// else follows from nd and Vd; empty when these have none.
	Code string
	// DensityGCM3 is in g/cm³, or Unset.
	DensityGCM3 float64
	// Source tells where the data come from.
	Source     string
	dispersion dispersion
}

// NewSellmeier makes a glass from the coefficients of
//
//	n² = 1 + B1·λ²/(λ² - C1) + B2·λ²/(λ² - C2) + B3·λ²/(λ² - C3)
//
// with λ in µm and C in µm² (W. Sellmeier, Annalen der Physik 219, 272, 1871;
// the form in which makers of glass print it). The density may be Unset.
func NewSellmeier(name string, b, c [3]float64, densityGCM3 float64, source string) *Glass {
	return newGlass(name, sellmeier{b: b, c: c}, densityGCM3, source)
}

// NewAbbe makes a glass from the index at the d line and the Abbe number
// Vd = (nd - 1)/(nF - nC): the two-term formula of Cauchy, n = A + B/λ²,
// through nd and nF - nC. For the built-in glasses it stays within 1.2e-3 of the
// Sellmeier form from 480 to 644 nm, 1e-4 for crowns such as N-BK7; the densest
// flints are the worst. The density may be Unset.
func NewAbbe(name string, nd, vd, densityGCM3 float64, source string) *Glass {
	return newGlass(name, newCauchy(nd, vd), densityGCM3, source)
}

func newGlass(name string, d dispersion, densityGCM3 float64, source string) *Glass {
	g := &Glass{Name: name, DensityGCM3: densityGCM3, Source: source, dispersion: d}
	g.Code = glassCode(g.Nd(), g.Vd())
	return g
}

// Index is the refractive index relative to air. It is NaN where the
// dispersion formula gives no real index.
func (g *Glass) Index(wavelengthNM float64) float64 {
	return g.dispersion.index(wavelengthNM / 1000)
}

// Nd is the index at the d line.
func (g *Glass) Nd() float64 { return g.Index(LineD) }

// Vd is the Abbe number (nd - 1)/(nF - nC).
func (g *Glass) Vd() float64 {
	return (g.Nd() - 1) / (g.Index(LineF) - g.Index(LineC))
}

// glassCode is the six-digit code of nd and Vd, empty when they do not fit it.
func glassCode(nd, vd float64) string {
	n := math.Round((nd - 1) * 1000)
	v := math.Round(vd * 10)
	if !(n > 0 && n < 1000 && v > 0 && v < 1000) {
		return ""
	}
	return fmt.Sprintf("%03.0f%03.0f", n, v)
}

// glassOfCode makes the glass that a six-digit code describes, nil when the
// text is no such code or describes no glass.
func glassOfCode(code string) *Glass {
	if len(code) != 6 {
		return nil
	}
	digits := 0
	for _, c := range code {
		if c < '0' || c > '9' {
			return nil
		}
		digits = 10*digits + int(c-'0')
	}
	nd := 1 + float64(digits/1000)/1000
	vd := float64(digits%1000) / 10
	if !ndRule.valid(nd) || !vdRule.valid(vd) {
		return nil
	}
	g := NewAbbe(code, nd, vd, Unset, "six-digit code")
	g.Code = code
	return g
}
