package objective

import (
	"math"
	"testing"
)

// TestEyeRefraction compares with the values that the reference table has of the formula of
// Thibos, Ye, Zhang and Bradley (Appl. Opt. 31, 3594, 1992), computed independently to four decimals,
// and with what it says of F' to C.
func TestEyeRefraction(t *testing.T) {
	for _, c := range []struct{ nm, want float64 }{
		{405, -1.6330}, {450, -1.0001}, {486, -0.6445}, {520, -0.3856}, {555, -0.1730},
		{589, -0.0044}, {633, 0.1730}, {656, 0.2517}, {700, 0.3816},
	} {
		if got := EyeRefractionD(c.nm); math.Abs(got-c.want) > 6e-5 {
			t.Errorf("at %v nm %v D, published %v", c.nm, got, c.want)
		}
	}
	if got := EyeRefractionD(656) - EyeRefractionD(486); math.Abs(got-0.896) > 6e-4 {
		t.Errorf("from 486 to 656 nm %v D, published 0.896", got)
	}
}
