package sweep

import (
	"cmp"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/optimize"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

// The methods that re-optimise gaps and eye relief: the simplex of J. A. Nelder and
// R. Mead, Computer Journal 7, 308 (1965); BFGS with finite differences, J. Nocedal,
// S. J. Wright, Numerical Optimization, 2nd ed., ch. 6; CMA-ES, N. Hansen,
// arXiv:1604.00772.
//
// Refining is a smooth length in two to four unknowns under many constraints, each
// of which costs a trace. Every method gets the same treatment of them: where the
// start breaks any, first the sum of squared excesses is brought down until none
// is left (the feasibility phase), if need be from a second start; then the ranked
// length plus a penalty is, the exact one, linear in each excess (J. Nocedal, S. J.
// Wright, Numerical Optimization, 2nd ed., ch. 17.2), with its kinks rounded off by a
// parabola (I. Zang, Mathematical Programming 19, 61 (1980)), from round to round less. Each round begins at the best allowed place so far with a smaller step.
// Methods see vignetting by its stand-in ([raycheck.Refiner.Estimate]). What counts in the
// end is not where a method stops but the shortest place that it came by, where a
// full measurement allows it.
const (
	// refineEvaluations bounds the estimates for one candidate; the last round
	// may exceed it a little.
	refineEvaluations = 500
	// The feasibility phase has feasibleRounds rounds from each of feasibleStarts starts,
	// the first of feasibleEvaluations estimates, the second of half as many, and so on.
	feasibleEvaluations = 120
	feasibleRounds      = 3
	feasibleStarts      = 2
	// feasibleHope is the share of the sum of squared excesses that a round has to
	// save for another one from where it came to, and feasibleGain the share below
	// which a gain is the end of a round.
	feasibleHope = 0.1
	feasibleGain = 0.02
	// Where an excess is above hopelessExcess, a limit exceeded by a factor of six, the phase
	// goes on only if hopelessEvaluations estimates have brought the sum of squared excesses
	// down to a share of hopelessShare.
	hopelessExcess      = 5.0
	hopelessEvaluations = 40
	hopelessShare       = 0.3
	// feasibleMargin is added to excesses in the first round of the feasibility
	// phase, which without it would come to limits with steps that end before them,
	// and marginShrink of that in each further one.
	feasibleMargin = 0.01
	marginShrink   = 0.3
	// refineRounds is how often the penalised length is minimised, at most.
	refineRounds = 4
	// refineGain, in mm, is the gain of a round below which there is no other.
	refineGain = 0.01
	// penaltyStart is what an excess costs, in mm for the whole limit, in the
	// first round, penaltyGrowth by how much more in each further one. A penalty is
	// exact once it is above the multipliers of the limits: some mm for gaps that
	// keep the magnification, but more than 40 along the inner gap of a pair.
	penaltyStart  = 100.0
	penaltyGrowth = 2.0
	// roundingStart is the excess over which a kink is rounded off in the first
	// round, roundingShrink how much of that is left in each further one.
	roundingStart  = 0.02
	roundingShrink = 0.1
	// First steps, in units of the unknowns ([raycheck.Refiner.Centre]): while it
	// looks for an allowed place, and in the first round. In each further round they
	// shrink and change sign, which leads out of the corners between limits where a
	// simplex gets stuck.
	stepFeasible = 0.4
	stepFirst    = 0.8
	stepShrink   = -0.5
	// gradientStep, in the same units, is that of a forward difference.
	gradientStep = 1e-4
	// The least eye relief is looked for at reliefPlaces values first. Between the
	// smallest of these that is allowed and the one before, it is found to reliefStep, in mm.
	// Estimates say at most reliefTries times where it might be.
	reliefStep   = 1e-3
	reliefPlaces = 6
	reliefTries  = 4
)

// refined is what a candidate was refined to.
type refined struct {
	moved        []float64 // mm, by gap, the eye relief last; nil when no allowed place was found
	length       float64   // ranked, mm
	evaluations  int       // estimates
	measurements int       // in full
}

// descent is the refinement of one candidate in progress.
type descent struct {
	r      *raycheck.Refiner
	method string
	source rand.Source
	best   refined
	worst  float64   // the largest excess measured last
	at     []float64 // where that was
	// hopeless tells that the first start was, see hopelessExcess.
	hopeless bool

	// claimed is the shortest place that estimates allow since the last measurement.
	claimed       []float64
	claimedLength float64
}

// refineTrain re-optimises gaps and eye relief of a train, which is in the refiner's hand
// at its paraxial gaps and its least eye relief, from an eye relief in mm on; NaN for that
// one. What it does depends on the train, the relief, the method and the seed alone.
func refineTrain(r *raycheck.Refiner, start *objective.Train, relief float64, method string, seed int64) refined {
	name := fnv.New64a()
	_, _ = name.Write([]byte(start.DesignID())) // never fails
	d := &descent{r: r, method: method, source: rand.NewPCG(uint64(seed), name.Sum64())}
	origin := make([]float64, r.Unknowns())
	if !math.IsNaN(relief) {
		origin[len(origin)-1] = relief - start.EyeRelief
	}
	infeasible := d.measure(origin)
	if d.best.moved == nil {
		d.becomeAllowed(origin, infeasible)
	}
	if d.best.moved != nil {
		d.shorten()
		d.lowerRelief()
	}
	return d.best
}

// becomeAllowed is the feasibility phase, from a place that has been measured.
func (d *descent) becomeAllowed(origin []float64, infeasible float64) {
	d.approach(origin, infeasible)
	if d.best.moved != nil {
		return
	}
	if d.hopeless {
		return
	}
	type place struct {
		x          []float64
		infeasible float64
	}
	var others []place
	m := &merit{squares: true}
	least := math.Inf(1)
	for _, x := range d.r.Starts() {
		sum := d.estimateBelow(x, m, least)
		others = append(others, place{x, sum})
		least = min(least, sum)
	}
	slices.SortStableFunc(others, func(a, b place) int { return cmp.Compare(a.infeasible, b.infeasible) })
	for _, other := range others[:min(len(others), feasibleStarts-1)] {
		if infeasible := d.measure(other.x); d.best.moved == nil {
			d.approach(other.x, infeasible)
		}
	}
}

// approach brings down the sum of squared excesses from a place until it is allowed
// or there is no hope for it.
func (d *descent) approach(x []float64, infeasible float64) {
	step, m := stepFeasible, &merit{squares: true, margin: feasibleMargin}
	if d.worst > hopelessExcess {
		d.r.Centre(x)
		x = d.minimise(m, step, hopelessEvaluations)
		before := infeasible
		infeasible = d.measure(x)
		if d.hopeless = infeasible > hopelessShare*before; d.hopeless || d.best.moved != nil {
			return
		}
	}
	for round := range feasibleRounds {
		d.r.Centre(x)
		if x = d.minimise(m, step, feasibleEvaluations/(1+round)); d.claimed != nil {
			x = d.claimed
		}
		before := infeasible
		if infeasible = d.measure(x); d.best.moved != nil || infeasible > (1-feasibleHope)*before {
			break
		}
		step, m.margin = step*stepShrink, m.margin*marginShrink
	}
}

// shorten brings down the length of a train that is allowed.
func (d *descent) shorten() {
	m, step := &merit{penalty: penaltyStart, rounding: roundingStart}, stepFirst
	for round := range refineRounds {
		left := refineEvaluations - d.best.evaluations
		if left <= 0 {
			break
		}
		before := d.best.length
		d.r.Centre(d.best.moved)
		d.minimise(m, step, left)
		if d.claimed != nil {
			d.measure(d.claimed)
		}
		if round > 0 && before-d.best.length < refineGain {
			break
		}
		m.penalty, m.rounding, step = m.penalty*penaltyGrowth, m.rounding*roundingShrink, step*stepShrink
	}
}

// lowerRelief brings the eye as near as it may come with the gaps, and so the
// length, as they are.
func (d *descent) lowerRelief() {
	if d.r.RanksRelief() {
		return // it is part of what has been minimised
	}
	relief := d.r.Unknowns() - 1
	x := slices.Clone(d.best.moved)
	fails := func(_ float64, excess []float64) bool { return slices.Max(excess) > 0 }
	estimated := func(at float64) bool {
		d.best.evaluations++
		x[relief] = at
		_, excess := d.r.EstimateUntil(x, fails)
		return slices.Max(excess) <= 0
	}
	measured := func(at float64) bool {
		d.best.measurements++
		x[relief] = at
		_, excess := d.r.Evaluate(x)
		return slices.Max(excess) <= 0
	}
	least, good := d.r.LeastRelief(), x[relief]
	if !slices.Equal(d.at, x) {
		measured(good) // estimates are best next to the last measurement
	}
	bad := least - reliefStep
	for k := range reliefPlaces {
		at := least + float64((good-least)*float64(k)/reliefPlaces)
		if estimated(at) && measured(at) {
			good = at
			break
		}
		bad = at
	}
	for range reliefTries {
		lo, hi := bad, good
		for hi-lo > reliefStep {
			if middle := (lo + hi) / 2; estimated(middle) {
				hi = middle
			} else {
				lo = middle
			}
		}
		if hi == good {
			break
		}
		if measured(hi) {
			good = hi
		} else {
			bad = hi
		}
	}
	d.best.moved[relief] = good
}

// measure measures a place in full, keeps it if it is the shortest allowed one,
// and gives the sum of its squared excesses.
func (d *descent) measure(x []float64) (infeasible float64) {
	d.best.measurements++
	length, excess := d.r.Evaluate(x)
	d.worst, d.at = slices.Max(excess), append(d.at[:0], x...)
	if slices.Max(excess) <= 0 && (d.best.moved == nil || length < d.best.length) {
		d.best.moved, d.best.length = slices.Clone(x), length
	}
	d.claimed, d.claimedLength = nil, math.Inf(1)
	if d.best.moved != nil {
		d.claimedLength = d.best.length
	}
	m := merit{squares: true}
	return m.value(length, excess)
}

// estimate evaluates unknowns.
func (d *descent) estimate(u []float64) (length float64, excess []float64) {
	return d.estimateAt(d.r.Place(u))
}

// estimateAt evaluates a place with the stand-in for vignetting and keeps it if it is
// the shortest that this allows.
func (d *descent) estimateAt(x []float64) (length float64, excess []float64) {
	d.best.evaluations++
	length, excess = d.r.Estimate(x)
	d.claim(x, length, excess)
	return length, excess
}

// claim keeps a place if it is the shortest that estimates allow.
func (d *descent) claim(x []float64, length float64, excess []float64) {
	if length < d.claimedLength && slices.Max(excess) <= 0 {
		d.claimed, d.claimedLength = x, length
	}
}

// estimateBelow is the merit of a place as estimateAt finds it, or, where that is above a
// bound, any number above that.
func (d *descent) estimateBelow(x []float64, m *merit, bound float64) float64 {
	d.best.evaluations++
	length, excess := d.r.EstimateUntil(x, func(length float64, excess []float64) bool {
		// A place that may be claimed is evaluated to its end, whatever its merit.
		return m.value(length, excess) > bound*(1+boundSlack) && (length >= d.claimedLength || slices.Max(excess) > 0)
	})
	d.claim(x, length, excess)
	return m.value(length, excess)
}

// boundSlack is more than sums of the same terms in another order differ by, as a share.
const boundSlack = 1e-9

// merit is what a method minimises.
type merit struct {
	squares           bool // the sum of squared excesses with a margin, alone
	margin            float64
	penalty, rounding float64
}

func (m *merit) value(length float64, excess []float64) (sum float64) {
	if !m.squares {
		sum = length
	}
	for _, e := range excess {
		sum += m.of(e)
	}
	return sum
}

// of is what an excess costs.
func (m *merit) of(e float64) float64 {
	switch {
	case m.squares:
		e = max(0, e+m.margin)
		return float64(e * e)
	case e >= m.rounding:
		return float64(m.penalty * e)
	case e > -m.rounding:
		e += m.rounding
		return float64(m.penalty * e * e / (4 * m.rounding))
	}
	return 0
}

// slope is how fast that changes with the excess.
func (m *merit) slope(e float64) float64 {
	if m.squares {
		return 2 * max(0, e+m.margin)
	}
	return m.penalty * min(1, max(0, (e+m.rounding)/(2*m.rounding)))
}

// minimise brings down a merit from the centre with about budget evaluations and
// returns the place that it came to.
func (d *descent) minimise(m *merit, step float64, budget int) []float64 {
	least := func() float64 { return math.Inf(1) }
	f := func(u []float64) float64 {
		if m.squares && d.claimed != nil {
			return 0 // the phase is over
		}
		return d.estimateBelow(d.r.Place(u), m, least())
	}
	problem := optimize.Problem{Func: f}
	settings := &optimize.Settings{FuncEvaluations: budget}
	converge := &optimize.FunctionConverge{Absolute: 1e-4}
	if m.squares {
		converge.Absolute, converge.Relative = 1e-8, feasibleGain
	}
	var method optimize.Method
	n := d.r.Unknowns()
	switch d.method {
	case spec.RefineBFGS:
		method = &optimize.BFGS{}
		converge.Iterations = 3
		settings.GradEvaluations = 1 + budget/(n+1)
		problem.Grad = func(gradient, u []float64) {
			if m.squares && d.claimed != nil {
				clear(gradient)
				return
			}
			length, excess := d.estimate(u)
			excess = slices.Clone(excess)
			v := slices.Clone(u)
			for i := range u {
				v[i] = u[i] + gradientStep
				longer, more := d.estimate(v)
				v[i] = u[i]
				gradient[i] = 0
				if !m.squares {
					gradient[i] = (longer - length) / gradientStep
				}
				for k, e := range excess {
					gradient[i] += float64(m.slope(e) * (more[k] - e) / gradientStep)
				}
			}
		}
	case spec.RefineCMAES:
		method = &optimize.CmaEsChol{InitStepSize: math.Abs(step), Src: d.source}
		converge.Iterations = 10
	default:
		method = &optimize.NelderMead{SimplexSize: step}
		converge.Iterations = 12
		simplex, whole := &simplexBound{unknowns: n}, f
		least = simplex.bound
		problem.Func = func(u []float64) float64 {
			value := whole(u)
			simplex.evaluated(value)
			return value
		}
	}
	settings.Converger = converge
	// An error is that of a line search that finds nothing lower: the end of a
	// descent as good as any.
	if result, _ := optimize.Minimize(problem, make([]float64, n), settings, method); result != nil && len(result.X) == n {
		return d.r.Place(result.X)
	}
	return d.r.Place(make([]float64, n))
}

// refineOptions are what a spec asks of refinement.
type refineOptions struct {
	method     string
	candidates int // 0 for no limit
	audit      int // designs to draw
	seed       int64
	beat       beatOptions
	thirdOrder float64 // factor of thirdScreen; 0 for none
}

func (o *refineOptions) wanted() bool { return o.method != "" && o.method != spec.RefineNone }
