package ideal

import (
	"math"

	"relaysweep/objective/internal/testlens"
	"testing"

	"pgregory.net/rapid"
)

// TestAffine: sums, products and inverses of unknowns hold the value at every
// point of their box, by their linear part and by their interval.
func TestAffine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var forms []affine
		var values []float64
		var xi [unknownCount]float64
		for i := range 3 {
			lo := testlens.Between(t, "lo", -3, 3)
			hi := lo + testlens.Between(t, "width", 0, 4)
			xi[i] = testlens.Between(t, "xi", -1, 1)
			b := box{}
			b.lo[i], b.hi[i] = lo, hi
			forms, values = append(forms, unknown(i, lo, hi)), append(values, b.at(i, xi[i]))
		}
		for range 6 {
			i, j := rapid.IntRange(0, len(forms)-1).Draw(t, "i"), rapid.IntRange(0, len(forms)-1).Draw(t, "j")
			x, y, vx, vy := forms[i], forms[j], values[i], values[j]
			k := testlens.Between(t, "k", -2, 2)
			switch rapid.IntRange(0, 3).Draw(t, "operation") {
			case 0:
				forms, values = append(forms, x.by(y)), append(values, vx*vy)
			case 1:
				forms, values = append(forms, sum(1, &x, k, &y)), append(values, vx+k*vy)
			case 2:
				forms, values = append(forms, x.negative().shifted(k)), append(values, k-vx)
			case 3:
				if x.lo > 0.01 {
					forms, values = append(forms, x.inverse()), append(values, 1/vx)
				}
			}
			z, v := forms[len(forms)-1], values[len(values)-1]
			line, size := z.c, math.Abs(z.c)+z.bend()
			for i, g := range z.g {
				line += g * xi[i]
			}
			rounding := 1e-13 * (1 + size) // of this sum
			if math.Abs(v-line) > z.e+rounding || v < z.lo-rounding || v > z.hi+rounding {
				t.Fatalf("%v lies outside of %v ± %v and [%v, %v]", v, line, z.e, z.lo, z.hi)
			}
		}
	})
}

// TestLinearProgramme holds the solution against what defines it: it meets all
// rows, and by weak duality no point can be lower than what the multipliers say,
// which is its own value (V. Chvátal, Linear Programming, 1983, chapter 5). Where
// there is none, a sum of rows shows it.
func TestLinearProgramme(t *testing.T) {
	solved, none := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l := &lp{n: rapid.IntRange(1, lpUnknowns).Draw(t, "n")}
		for i := range l.n {
			l.c[i] = testlens.Between(t, "c", -1, 1)
		}
		for range rapid.IntRange(0, 12).Draw(t, "rows") {
			row := lpRow{b: testlens.Between(t, "b", -1, 1)}
			for i := range l.n {
				row.a[i] = testlens.Between(t, "a", -1, 1)
			}
			l.rows = append(l.rows, row)
		}
		l.solve()
		// The least value of c·ξ + Σ multiplier·(a·ξ - b) over the box; without c
		// where there is no solution.
		slope, dual, value := l.c, 0.0, 0.0
		if l.none {
			slope = [lpUnknowns]float64{}
		}
		for j, k := range l.multiply {
			if k < 0 {
				t.Fatalf("multiplier %v", k)
			}
			dual -= k * l.rows[j].b
			for i := range l.n {
				slope[i] += k * l.rows[j].a[i]
			}
		}
		for i := range l.n {
			dual -= math.Abs(slope[i])
			value += l.c[i] * l.xi[i]
		}
		if l.none {
			none++
			if !(dual > 0) {
				t.Fatalf("no solution, it says, and shows %v", dual)
			}
			return
		}
		solved++
		for _, r := range l.rows {
			over := -r.b
			for i := range l.n {
				over += r.a[i] * l.xi[i]
			}
			if over > 1e-8 {
				t.Fatalf("a row is broken by %v", over)
			}
		}
		if math.Abs(value-dual) > 1e-8 {
			t.Fatalf("value %v, but the multipliers prove %v", value, dual)
		}
	})
	if solved == 0 || none == 0 {
		t.Errorf("%d solved, %d without a solution", solved, none)
	}
}
