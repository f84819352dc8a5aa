package yield

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// z95 is the number of standard deviations of a two-sided interval of 95 %.
var z95 = distuv.UnitNormal.Quantile(0.975)

// Wilson is the two-sided 95 % interval of a share of which passed out of n were seen
// (E. B. Wilson, J. Am. Stat. Assoc. 22, 209, 1927; method 3 of R. G. Newcombe,
// Statistics in Medicine 17, 857, 1998). Without a trial it is everything.
func Wilson(passed, n int) (lo, hi float64) { return wilson(passed, n, z95) }

func wilson(passed, n int, z float64) (lo, hi float64) {
	if n == 0 {
		return 0, 1
	}
	count, p, z2 := float64(n), float64(passed)/float64(n), z*z
	middle := float64(2*count*p) + z2
	half := z * math.Sqrt(z2+float64(4*count*p*(1-p)))
	scale := 2 * (count + z2)
	lo, hi = (middle-half)/scale, (middle+half)/scale
	if passed == 0 {
		lo = 0
	}
	if passed == n {
		hi = 1
	}
	return lo, hi
}

// Percentiles are the values below which the given shares of the sample stay, each
// interpolated between its neighbours. The sample is sorted in place; it may hold
// +Inf and must not hold NaN.
func Percentiles(sample []float64, shares []float64) []float64 {
	slices.Sort(sample)
	at := make([]float64, len(shares))
	for i, p := range shares {
		at[i] = stat.Quantile(p, stat.Empirical, sample, nil)
	}
	return at
}

// Shares splits the variance of a function of independent inputs over groups of them.
// a and b are its values for two independent samples of n inputs, and ab[i] those for
// the inputs of a with the group i of inputs taken from b. first[i] is the share of the
// variance that the group has by itself, total[i] that in which it has a part at all,
// and the errors are their standard errors. The estimators are those of A. Saltelli and
// others, Computer Physics Communications 181, 259, 2010, Table 2: (b), with values
// counted from their mean, for the first order, and (f), due to M. J. W. Jansen, for
// the total. All are NaN where the function does not vary or is not finite.
func Shares(a, b []float64, ab [][]float64) (first, total, firstError, totalError []float64) {
	n := len(a)
	both := append(slices.Clone(a), b...)
	mean, variance := stat.PopMeanVariance(both, nil)
	terms := make([]float64, n)
	one := func(term func(j int) float64) (share, err float64) {
		for j := range terms {
			terms[j] = term(j) / variance
		}
		m, s := stat.MeanStdDev(terms, nil)
		if math.IsNaN(m) || math.IsInf(m, 0) {
			return math.NaN(), math.NaN()
		}
		return m, s / math.Sqrt(float64(n))
	}
	for _, mixed := range ab {
		s, e := one(func(j int) float64 { return (b[j] - mean) * (mixed[j] - a[j]) })
		first, firstError = append(first, s), append(firstError, e)
		s, e = one(func(j int) float64 { return (a[j] - mixed[j]) * (a[j] - mixed[j]) / 2 })
		total, totalError = append(total, s), append(totalError, e)
	}
	return first, total, firstError, totalError
}

// Verdict is what is known about a share and a least value that it should have.
type Verdict uint8

// The verdicts.
const (
	Open  Verdict = iota // the interval holds the least value
	Above                // the interval lies above it
	Below
)

// Looks is the sequence of numbers of builds after which a sequential test looks at the
// share: from 32 on, each twice the one before, up to most.
func Looks(most int) []int {
	var looks []int
	for n := 32; n < most; n *= 2 {
		looks = append(looks, n)
	}
	return append(looks, most)
}

// Judge compares a share of which passed out of n were seen with the least share that is
// asked for, at one of several looks. The interval at each look is Wilson's with the 5 %
// shared among the looks (C. E. Bonferroni's inequality), so that all of them together
// are wrong in 5 % of cases at most.
func Judge(passed, n, looks int, least float64) Verdict {
	switch lo, hi := wilson(passed, n, distuv.UnitNormal.Quantile(1-0.025/float64(looks))); {
	case lo >= least:
		return Above
	case hi < least:
		return Below
	}
	return Open
}
