package raycheck

import (
	"math"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestGaussPupilNodes derives the radial nodes from their definition: they are
// the zeros of the cubic that is orthogonal to 1, x and x² over [0, 1], x being
// the squared radius, and their weights integrate these three exactly (G. W.
// Forbes, J. Opt. Soc. Am. A 5, 1943, 1988: the scheme without a central
// obstruction).
func TestGaussPupilNodes(t *testing.T) {
	moment := func(k int) float64 { return 1 / float64(k+1) }
	hankel, right := mat.NewDense(3, 3, nil), mat.NewVecDense(3, nil)
	for i := range 3 {
		for j := range 3 {
			hankel.Set(i, j, moment(i+j))
		}
		right.SetVec(i, -moment(i+3))
	}
	var cubic mat.VecDense
	if err := cubic.SolveVec(hankel, right); err != nil {
		t.Fatal(err)
	}
	value := func(x float64) float64 {
		return cubic.AtVec(0) + x*(cubic.AtVec(1)+x*(cubic.AtVec(2)+x))
	}
	var nodes []float64
	const cells = 50
	for i := range cells {
		lo, hi := float64(i)/cells, float64(i+1)/cells
		if value(lo)*value(hi) > 0 {
			continue
		}
		for range 60 {
			if mid := (lo + hi) / 2; value(lo)*value(mid) <= 0 {
				hi = mid
			} else {
				lo = mid
			}
		}
		if len(nodes) == 0 || lo-nodes[len(nodes)-1] > 1e-6 { // a node on a cell's end shows twice
			nodes = append(nodes, lo)
		}
	}
	powers := mat.NewDense(3, 3, nil)
	for i := range 3 {
		for j := range 3 {
			powers.Set(i, j, math.Pow(nodes[j], float64(i)))
		}
		right.SetVec(i, moment(i))
	}
	var weights mat.VecDense
	if err := weights.SolveVec(powers, right); err != nil {
		t.Fatal(err)
	}
	f := gaussPupil(1, []int{1, 1, 1})
	for i := range 3 {
		testlens.Near(t, "node", f.x[i]*f.x[i], nodes[i], 1e-12)
		testlens.Near(t, "weight", f.weight[i], weights.AtVec(i), 1e-12)
	}
}

// TestGaussPupilExact checks what the filling of the check integrates exactly:
// every power of the radius that squares of fifth-order aberrations have, and
// in each ring all harmonics below twice its points in half the pupil.
func TestGaussPupilExact(t *testing.T) {
	halfArms := leastRays(testtrain.Problem()).halfArms
	f := gaussPupil(1, halfArms)
	for power := 0; power <= 10; power += 2 {
		var sum float64
		for i, q := range f.weight {
			sum += q * math.Pow(math.Hypot(f.x[i], f.y[i]), float64(power))
		}
		testlens.Near(t, "mean of a power of the radius", sum, 2/float64(power+2), 1e-14)
	}
	from := 0
	for _, arms := range halfArms {
		for harmonic := 1; harmonic < 2*arms; harmonic++ {
			var sum float64
			for i := from; i < from+arms; i++ {
				// A point and its mirror image: cos and sin from the y axis.
				sum += math.Cos(float64(harmonic) * math.Atan2(f.x[i], f.y[i]))
			}
			testlens.Near(t, "harmonic", sum, 0, 1e-13)
		}
		from += arms
	}
}

// manyRays is a rule of ten times the points and with every depth traced.
var manyRays = quadrature{halfArms: []int{10, 10, 10, 10, 10, 10, 10, 10}}

// raysLost reports whether a bundle of a checker's train loses rays.
func raysLost(c *Checker) bool {
	return slices.ContainsFunc(c.sampledBundles, func(b sampledBundle) bool { return b.lossy })
}

// TestQuadrature compares every metric from the few rays of a check with those
// from a fine rule, over a random set of a thousand designs, every third with an
// 8 mm pupil and every fifth with a depth range of 8 D: the error stays below 1 % of the metric. Views that are no images
// are left out. On some designs the fine rule is compared with the dense uniform
// filling.
func TestQuadrature(t *testing.T) {
	designs := 1000
	if testing.Short() {
		designs = 150
	}
	const least = 0.1 // in a metric's unit; below it 1 % of it counts
	worst := map[string]float64{}
	compared := 0
	for i, c := range checkCases(designs) {
		p := *c.p
		p.DepthSteps = 5
		if i%3 == 0 {
			p.Pupil = 8
		}
		if i%5 == 0 {
			p.VergenceNear = 0.008
		}
		fine := newChecker(&p, manyRays, FieldFractions[:])
		want := fine.MeasureLimited(c.train)
		if raysLost(fine) || !(want.Metrics.ViewAstigmatismD < imageless) {
			continue
		}
		compared++
		got := NewChecker(&p).MeasureLimited(c.train)
		for k := range MetricList {
			if metricIndex(k) >= vignetting {
				break // the others are not sampled by the pupil's filling
			}
			g, w := *MetricList[k].of(&got.Metrics), *MetricList[k].of(&want.Metrics)
			off := math.Abs(g-w) / max(math.Abs(w), least)
			worst[MetricList[k].Name] = max(worst[MetricList[k].Name], off)
			if !(off <= 0.01) {
				t.Errorf("design %d: %s: got %.6g, want %.6g", i, MetricList[k].Name, g, w)
			}
		}
		if compared%25 != 0 {
			continue
		}
		for k := range fine.usedBundles() {
			b := summedDensely(fine, k, 80)
			v, _, _ := fine.sampledBundles[k].masks[0].all.variance()
			dense, _, _ := b.masks[0].all.variance()
			testlens.Near(t, "root of the mask's variance", math.Sqrt(dense), math.Sqrt(v), 3e-3*math.Sqrt(v))
		}
	}
	t.Logf("%d designs; largest errors: %v", compared, worst)
	if compared < designs/3 {
		t.Errorf("only %d designs compared", compared)
	}
}

// TestQuadratureConverges shows that every metric settles as rings, arms and
// traced vergences become more: each rule is nearer to the finest than the one
// before, or within rounding.
func TestQuadratureConverges(t *testing.T) {
	p := testtrain.Problem()
	p.DepthSteps = 9
	train := testtrain.Simple(t, p)
	want := newChecker(p, manyRays, FieldFractions[:]).Measure(train).Metrics
	last := map[string]float64{}
	for n, bound := range []float64{0.02, 2e-3, 1e-4, 1e-6} {
		arms := slices.Repeat([]int{n + 3}, n+2)
		got := newChecker(p, quadrature{halfArms: arms, vergences: n + 2}, FieldFractions[:]).Measure(train).Metrics
		for k := range MetricList[:vignetting] {
			m := MetricList[k]
			off := math.Abs(*m.of(&got)-*m.of(&want)) / math.Abs(*m.of(&want))
			if before, ok := last[m.Name]; ok && off > before && off > 1e-9 || off > bound {
				t.Errorf("%s with %d rings is off by %.2g, before by %.2g", m.Name, n+2, off, before)
			}
			last[m.Name] = off
		}
	}
}

// TestFieldSamples asks how often four field samples miss the worst field, by
// comparison with 21, which contain them, and by how much: figures for -v. The four
// are what results list and limits are judged at.
func TestFieldSamples(t *testing.T) {
	designs := 1000
	if testing.Short() {
		designs = 150
	}
	var fractions []float64
	for i := range 21 {
		fractions = append(fractions, float64(i)/20)
	}
	fractions[14] = 0.7
	metrics := []metricIndex{maskBlur, viewDefocus, viewAstigmatism, viewBlur, distortion, lateralColour}
	missed, largest := map[string]int{}, map[string]float64{}
	compared, some := 0, 0
	for _, c := range checkCases(designs) {
		c.p.SharpBox = 0 // the fine fields are summed for the pupil in the middle
		p := *c.p
		p.DepthSteps, p.Limits.FieldFraction = 2, 1
		fine := newChecker(&p, leastRays(&p), fractions)
		want := fine.MeasureLimited(c.train)
		if raysLost(fine) || !(want.Metrics.ViewAstigmatismD < imageless) {
			continue
		}
		compared++
		got := NewChecker(&p).MeasureLimited(c.train)
		// The mask stands where the four samples put it: with 21 the mean that its
		// place minimises is another one.
		for d := range got.Setpoints {
			want.Setpoints[d].MaskMM = got.Setpoints[d].MaskMM
		}
		fine.judgeMaskBlur(nil)
		beyond := false
		for _, k := range metrics {
			m := MetricList[k]
			g, w := math.Abs(*m.of(&got.Metrics)), math.Abs(*m.of(&want.Metrics))
			if g > w*(1+1e-9) {
				t.Errorf("%s: %g at four fields, %g at 21 that contain them", m.Name, g, w)
			}
			if miss := (w - g) / w; miss > 0.02 {
				missed[m.Name]++
				largest[m.Name] = max(largest[m.Name], miss)
				beyond = true
			}
		}
		if beyond {
			some++
		}
	}
	t.Logf("of %d designs, missed by more than 2 %%: %v; by at most: %v; any: %d", compared, missed, largest, some)
}
