package main

import "math"

const (
	// zeroSteps is far more than the secant method takes where it converges.
	zeroSteps = 50
	// zeroTolerance, relative, is well below the four digits that are kept.
	zeroTolerance = 1e-7
)

// zeroNear finds a zero of f by the secant method from two starting points,
// NaN when it does not converge.
func zeroNear(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	for range zeroSteps {
		if fb == fa {
			if fb == 0 {
				return b
			}
			return math.NaN()
		}
		next := b - fb*(b-a)/(fb-fa)
		a, fa = b, fb
		b, fb = next, f(next)
		if math.Abs(b-a) <= zeroTolerance*math.Abs(b) {
			return b
		}
	}
	return math.NaN()
}

// leastNear finds where f is least between lo and hi, where it has one
// minimum, by golden sections.
func leastNear(f func(float64) float64, lo, hi, tolerance float64) float64 {
	golden := (math.Sqrt(5) - 1) / 2
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	fa, fb := f(a), f(b)
	for hi-lo > tolerance {
		if fa < fb {
			hi, b, fb = b, a, fa
			a = hi - golden*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + golden*(hi-lo)
			fb = f(b)
		}
	}
	return (lo + hi) / 2
}
