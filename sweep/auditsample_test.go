package sweep

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"relaysweep/objective"
)

// drawnFrom are n invented candidates, in ascending ranked length.
func drawnFrom(r *rand.Rand, n int) []candidate {
	all := make([]candidate, n)
	for i := range all {
		all[i] = candidate{
			ranked: float64(i), space: objective.Space{Layout: objective.ErectorSingle, Seat: objective.SeatRear},
			groups: [4]objective.StackCode{objective.StackCode(r.Uint32N(500)), objective.StackCode(r.Uint32N(500)), objective.StackCode(i)},
		}
	}
	return all
}

// TestAuditSampleIsWhole: what is drawn up to any length is the same whatever the order in
// which designs of one window are offered, whatever the batches, and however
// the designs are divided into parts and between screens.
func TestAuditSampleIsWhole(t *testing.T) {
	const n, most, window = 3000, 20, 100
	r := rand.New(rand.NewPCG(1, 2))
	all := drawnFrom(r, n)
	for range 20 {
		seed := r.Int64()
		longest := float64(r.IntN(n/window+1) * window) // windows are whole: none is offered beyond
		whole := newAuditSample(most, seed)
		whole.offer(all)
		want := whole.drawn(whole.kept, longest-0.5)
		if len(want) != min(most, int(longest)) {
			t.Fatalf("%d drawn of %v", len(want), longest)
		}
		parts := 1 + r.IntN(5)
		var kept []candidate
		samples := make([]*auditSample, parts)
		for i := range samples {
			samples[i] = newAuditSample(most, seed)
		}
		for from := 0; from < n; from += window {
			share := make([][]candidate, parts)
			for _, i := range r.Perm(window) {
				part := r.IntN(parts)
				share[part] = append(share[part], all[from+i])
			}
			for i := range samples {
				for len(share[i]) > 0 {
					k := 1 + r.IntN(len(share[i]))
					samples[i].offer(share[i][:k])
					share[i] = share[i][k:]
				}
			}
		}
		for _, s := range samples {
			kept = append(kept, s.kept...)
		}
		if got := whole.drawn(kept, longest-0.5); !slices.Equal(want, got) {
			t.Errorf("up to %v: %v drawn in one, %v in %d parts", longest, want, got, parts)
		}
	}
}

// TestAuditSampleIsUniform draws a few of many with many seeds: how often designs are drawn is
// spread as chi-squared has it (K. Pearson, Philosophical Magazine 50, 157 (1900)).
func TestAuditSampleIsUniform(t *testing.T) {
	const n, most, draws, cells = 200, 10, 4000, 20
	all := drawnFrom(rand.New(rand.NewPCG(3, 4)), n)
	var count [cells]int
	for seed := range int64(draws) {
		s := newAuditSample(most, seed)
		s.offer(all)
		for _, c := range s.drawn(s.kept, math.Inf(1)) {
			count[int(c.ranked)*cells/n]++
		}
	}
	chi2, want := 0.0, float64(draws*most)/cells
	for _, k := range count {
		chi2 += (float64(k) - want) * (float64(k) - want) / want
	}
	// Without replacement counts vary a little less: by (n - most)/(n - 1).
	chi2 *= float64(n-1) / (n - most)
	if p := (distuv.ChiSquared{K: cells - 1}).Survival(chi2); p < 0.001 || p > 0.999 {
		t.Errorf("drawn %v times, %v each expected: chi-squared of %v, p = %v", count, want, chi2, p)
	}
}

// TestUpperShare holds the limit of a share against closed forms: of n none was found in
// (1-p)^n of all draws, all but one found in 1 - p^n; and against the binomial
// sums themselves. With 0 of 59 the share is below 5 %, the least n for which this holds
// (S. S. Wilks, Annals of Mathematical Statistics 12, 91 (1941): 59 for 95 % of a population
// with 95 % confidence; cited from memory).
func TestUpperShare(t *testing.T) {
	close := func(found, drawn int, want float64) {
		t.Helper()
		if got := upperShare(found, drawn, confidence); math.Abs(got-want) > 1e-9 {
			t.Errorf("%d of %d: %v, want %v", found, drawn, got, want)
		}
	}
	for _, n := range []int{1, 2, 5, 59, 200, 1000} {
		close(0, n, 1-math.Pow(0.05, 1/float64(n)))
		close(n-1, n, math.Pow(0.95, 1/float64(n)))
		close(n, n, 1)
	}
	close(0, 0, 1)
	if upperShare(0, 59, confidence) > 0.05 || upperShare(0, 58, confidence) < 0.05 {
		t.Errorf("0 of 59: %v, 0 of 58: %v", upperShare(0, 59, confidence), upperShare(0, 58, confidence))
	}
	// Clopper and Pearson's limit for 90 % between two ends is that for 95 % on one side: 1 of 10
	// gives 0.3942 (tables of exact binomial limits; from memory).
	if got := upperShare(1, 10, confidence); math.Abs(got-0.3942) > 5e-5 {
		t.Errorf("1 of 10: %v", got)
	}
	for _, x := range [][2]int{{1, 10}, {3, 200}, {17, 40}} {
		p, sum := upperShare(x[0], x[1], confidence), 0.0
		for k := range x[0] + 1 {
			sum += distuv.Binomial{N: float64(x[1]), P: p}.Prob(float64(k))
		}
		if math.Abs(sum-0.05) > 1e-9 {
			t.Errorf("%d of %d: so few would be found in %v of all draws", x[0], x[1], sum)
		}
	}
}
