package yield

import (
	"math"
	"testing"
)

// TestWilson: R. G. Newcombe, Statistics in Medicine 17, 857, 1998, method 3 (81/263 and
// 15/148 as printed there, the others computed from the formula).
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		passed, n int
		lo, hi    float64
	}{
		{81, 263, 0.255289, 0.366210}, {15, 148, 0.062386, 0.160487}, {0, 20, 0, 0.161125}, {1, 29, 0.006113, 0.171755},
		{0, 100, 0, 0.036993}, {100, 100, 0.963007, 1}, {95, 100, 0.888250, 0.978456}, {950, 1000, 0.934686, 0.961870},
		{990, 1000, 0.981691, 0.994559}, {9973, 10000, 0.996074, 0.998144}, {0, 0, 0, 1},
	} {
		lo, hi := Wilson(c.passed, c.n)
		if math.Abs(lo-c.lo) > 5e-7 || math.Abs(hi-c.hi) > 5e-7 {
			t.Errorf("%d of %d: %.6f to %.6f, want %.6f to %.6f", c.passed, c.n, lo, hi, c.lo, c.hi)
		}
	}
}

// sumsWithin counts how often the sum of n errors stays within a limit.
func sumsWithin(d Distribution, n, trials int, limit float64) (passed int) {
	draws, u := newDrawer(), make([]float64, n)
	for i := range trials {
		draws.fill(u, 7, streamBuilds, uint64(i))
		var sum float64
		for _, v := range u {
			sum += d.Quantile(v)
		}
		if math.Abs(sum) <= limit {
			passed++
		}
	}
	return passed
}

// TestExactYields: of a sum of n equal errors, uniform within ±1, the share within ±√n
// is known exactly (the distribution of J. O. Irwin and P. Hall); for n = 4 it is 11/12.
// With normal errors the share within three standard deviations is 0.9973, whatever n
// is. The band is four standard deviations of a binomial count.
func TestExactYields(t *testing.T) {
	const trials = 200_000
	check := func(d Distribution, n int, limit, want float64) {
		t.Helper()
		got := float64(sumsWithin(d, n, trials, limit)) / trials
		if band := 4 * math.Sqrt(want*(1-want)/trials); math.Abs(got-want) > band {
			t.Errorf("%v, n = %d: %.5f, want %.5f within %.5f", d, n, got, want, band)
		}
	}
	for _, c := range []struct {
		n    int
		want float64
	}{
		{2, math.Sqrt2 - 0.5}, {3, 0.9150635094610966}, {4, 11.0 / 12}, {6, 0.9166698883195752},
		{8, 0.9167096098954531}, {10, 0.9167208047697378}, {16, 0.9167307185101911},
	} {
		check(Uniform, c.n, math.Sqrt(float64(c.n)), c.want)
		check(Normal, c.n, 1.5*math.Sqrt(float64(c.n)), 0.9973002039)
	}
	// One error that is normal and cut at 2σ: within 1σ are 68.27 of 95.45 %.
	check(Truncated, 1, 0.5, 0.6826894921/0.9544997361)
	if got := sumsWithin(Truncated, 1, trials, 1); got != trials {
		t.Errorf("%d errors beyond where they are cut", trials-got)
	}
}

// ishigami is the function of T. Ishigami and T. Homma (Proc. ISUMA'90, 398, 1990) with
// a = 7 and b = 0.1, of inputs that are uniform within ±π.
func ishigami(u []float64) float64 {
	var x [3]float64
	for i := range x {
		x[i] = math.Pi * Uniform.Quantile(u[i])
	}
	sin2 := math.Sin(x[1])
	return math.Sin(x[0]) + 7*sin2*sin2 + 0.1*math.Pow(x[2], 4)*math.Sin(x[0])
}

// TestShares: the variance shares of the Ishigami function (formulas and rounded values
// in B. Sudret, Reliability Engineering and System Safety 93, 964, 2008), by the code and
// the draws with which contributions of tolerances are found. The band is four of the
// standard errors that the code states, and these are small.
func TestShares(t *testing.T) {
	const n = 1 << 16
	first, second, mixed := make([]float64, 3), make([]float64, 3), make([]float64, 3)
	a, b, ab := make([]float64, n), make([]float64, n), [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	draws := newDrawer()
	for j := range n {
		draws.fill(first, 3, streamFirst, uint64(j))
		draws.fill(second, 3, streamSecond, uint64(j))
		a[j], b[j] = ishigami(first), ishigami(second)
		for i := range ab {
			copy(mixed, first)
			mixed[i] = second[i]
			ab[i][j] = ishigami(mixed)
		}
	}
	s, st, se, ste := Shares(a, b, ab)
	for i, want := range [3][2]float64{
		{0.31390519114781146, 0.55758885520995920}, {0.44241114479004090, 0.44241114479004090}, {0, 0.24368366406214773},
	} {
		if math.Abs(s[i]-want[0]) > 4*se[i] || se[i] > 0.01 {
			t.Errorf("first order of %d: %.4f ± %.4f, want %.4f", i+1, s[i], se[i], want[0])
		}
		if math.Abs(st[i]-want[1]) > 4*ste[i] || ste[i] > 0.01 {
			t.Errorf("total of %d: %.4f ± %.4f, want %.4f", i+1, st[i], ste[i], want[1])
		}
	}
	constant := make([]float64, 4)
	s, st, _, _ = Shares(constant, constant, [][]float64{constant})
	if !math.IsNaN(s[0]) || !math.IsNaN(st[0]) {
		t.Errorf("a constant has the shares %v and %v", s, st)
	}
}

// TestJudge: where the share is exactly what is asked for, the sequential test says in no
// more than 5 % of cases that it lies on one side; far from it it soon says on which.
func TestJudge(t *testing.T) {
	const most, trials = 512, 2000
	run := func(trial int, share float64) (Verdict, int) {
		draws, u := newDrawer(), make([]float64, 1)
		passed, n := 0, 0
		looks := Looks(most)
		for _, look := range looks {
			for ; n < look; n++ {
				draws.fill(u, uint64(trial), streamBuilds, uint64(n))
				if u[0] < share {
					passed++
				}
			}
			if v := Judge(passed, n, len(looks), 0.8); v != Open {
				return v, n
			}
		}
		return Open, n
	}
	wrong := 0
	for trial := range trials {
		if v, _ := run(trial, 0.8); v != Open {
			wrong++
		}
	}
	// Four standard deviations of the count above 5 %.
	if most := 0.05*trials + 4*math.Sqrt(0.05*0.95*trials); float64(wrong) > most {
		t.Errorf("%d of %d wrong verdicts, more than %.0f", wrong, trials, most)
	}
	if v, n := run(1, 0.99); v != Above || n > 128 {
		t.Errorf("a share of 0.99: verdict %v after %d builds", v, n)
	}
	if v, n := run(1, 0.3); v != Below || n > 64 {
		t.Errorf("a share of 0.3: verdict %v after %d builds", v, n)
	}
}

func TestPercentiles(t *testing.T) {
	got := Percentiles([]float64{4, 1, math.Inf(1), 2, 3}, []float64{0.2, 0.5, 0.8, 1})
	for i, want := range []float64{1, 3, 4, math.Inf(1)} {
		if got[i] != want {
			t.Errorf("percentile %d: %v, want %v", i, got[i], want)
		}
	}
}
