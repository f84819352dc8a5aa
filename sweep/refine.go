package sweep

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/optimize"

	"relaysweep/objective"
)

// The methods that re-optimise gaps and eye relief.
const (
	refineNone    = "none"
	refineSimplex = "simplex" // J. A. Nelder, R. Mead, Computer Journal 7, 308 (1965)
	refineBFGS    = "bfgs"    // with finite differences; J. Nocedal, S. J. Wright, Numerical Optimization, 2nd ed., ch. 6
	refineCMAES   = "cma-es"  // N. Hansen, arXiv:1604.00772
)

// Refining is a smooth length in two to four unknowns under many constraints, each
// of which costs a trace. Every method gets the same treatment of them: where the
// start breaks any, first the sum of squared excesses is brought down until none
// is left (the feasibility phase), then the ranked length plus an exact penalty is, from
// the best allowed place so far and with steps that shrink from round to round (J.
// Nocedal, S. J. Wright, Numerical Optimization, 2nd ed., ch. 17.2). What counts in the
// end is not where a method stops but the shortest allowed place that it came by.
const (
	// refineEvaluations bounds the evaluations of one candidate.
	refineEvaluations = 300
	// refineFeasibility is how many of them may be spent on becoming allowed.
	refineFeasibility = 130
	// refineRounds is how often the penalised length is minimised, at most.
	refineRounds = 6
	// refineGain, in mm, is the gain of a round below which there is no other.
	refineGain = 1e-3
	// infeasibleMargin is added to an excess in the feasibility phase, which without it
	// would come to limits with steps that end before them.
	infeasibleMargin = 0.01
	// penaltyStart is what an excess costs, in mm for the whole limit, in the
	// first round, penaltyGrowth by how much more in each further one. A penalty is
	// exact once it is above the multipliers of the limits, which are some mm.
	penaltyStart  = 10.0
	penaltyGrowth = 3.0
	// First steps in mm: while it looks for an allowed place, and in the first
	// round. In each further round they shrink and change sign, which leads out
	// of the corners between limits where a simplex gets stuck.
	stepFeasible = 0.3
	stepFirst    = 0.5
	stepShrink   = -0.4
	// gradientStep, in mm, is that of a forward difference.
	gradientStep = 1e-3
)

// refined is what a candidate was refined to.
type refined struct {
	moved       []float64 // mm, by gap, the eye relief last; nil when no allowed place was found
	length      float64   // ranked, mm
	evaluations int
}

// descent is the refinement of one candidate in progress.
type descent struct {
	r      *objective.Refiner
	method string
	source rand.Source
	best   refined
}

// refineTrain re-optimises gaps and eye relief of a train, which is at its
// paraxial ones. What it does depends on the train, the method and the seed
// alone.
func refineTrain(r *objective.Refiner, start *objective.Train, method string, seed int64) refined {
	r.Begin(start)
	name := fnv.New64a()
	_, _ = name.Write([]byte(start.DesignID())) // never fails
	d := &descent{r: r, method: method, source: rand.NewPCG(uint64(seed), name.Sum64())}
	x := make([]float64, r.Unknowns())
	if d.evaluate(x); d.best.moved == nil {
		x = d.minimise(d.infeasibility, x, stepFeasible, refineFeasibility)
	}
	penalty, step := penaltyStart, stepFirst
	for round := range refineRounds {
		if d.best.moved != nil {
			x = slices.Clone(d.best.moved)
		}
		before := d.best
		left := refineEvaluations - d.best.evaluations
		if left <= 0 {
			break
		}
		x = d.minimise(func(x []float64) float64 { return d.penalised(x, penalty) }, x, step, left)
		if round > 1 && before.moved != nil && before.length-d.best.length < refineGain {
			break
		}
		penalty, step = penalty*penaltyGrowth, step*stepShrink
	}
	return d.best
}

// evaluate measures a place and keeps it if it is the shortest allowed one.
func (d *descent) evaluate(x []float64) (length float64, excess []float64) {
	d.best.evaluations++
	length, excess = d.r.Evaluate(x)
	if slices.Max(excess) <= 0 && (d.best.moved == nil || length < d.best.length) {
		d.best.moved, d.best.length = slices.Clone(x), length
	}
	return length, excess
}

// infeasibility is the sum of squared excesses, 0 once an allowed place is known.
func (d *descent) infeasibility(x []float64) (sum float64) {
	if d.best.moved != nil {
		return 0
	}
	_, excess := d.evaluate(x)
	for _, e := range excess {
		if e > 0 {
			e += infeasibleMargin
			sum += float64(e * e)
		}
	}
	return sum
}

// penalised is the ranked length plus the penalty on every excess.
func (d *descent) penalised(x []float64, penalty float64) float64 {
	length, excess := d.evaluate(x)
	for _, e := range excess {
		length += float64(penalty * max(0, e))
	}
	return length
}

// minimise brings down f from a place with about budget evaluations and returns
// where it came to.
func (d *descent) minimise(f func([]float64) float64, from []float64, step float64, budget int) []float64 {
	problem := optimize.Problem{Func: f}
	settings := &optimize.Settings{FuncEvaluations: budget}
	converge := &optimize.FunctionConverge{Absolute: 1e-4}
	var method optimize.Method
	switch d.method {
	case refineBFGS:
		method = &optimize.BFGS{}
		converge.Iterations = 3
		settings.GradEvaluations = 1 + budget/(len(from)+1)
		// A gradient is wanted where the function has just been evaluated.
		last, at := slices.Clone(from), math.NaN()
		problem.Func = func(x []float64) float64 {
			last, at = append(last[:0], x...), f(x)
			return at
		}
		problem.Grad = func(gradient, x []float64) {
			if !slices.Equal(last, x) || math.IsNaN(at) {
				problem.Func(x)
			}
			y := slices.Clone(x)
			for i := range x {
				y[i] = x[i] + gradientStep
				gradient[i] = (f(y) - at) / gradientStep
				y[i] = x[i]
			}
		}
	case refineCMAES:
		method = &optimize.CmaEsChol{InitStepSize: math.Abs(step), Src: d.source}
		converge.Iterations = 10
	default:
		method = &optimize.NelderMead{SimplexSize: step}
		converge.Iterations = 12
	}
	settings.Converger = converge
	// An error is that of a line search that finds nothing lower: the end of a
	// descent as good as any.
	if result, _ := optimize.Minimize(problem, from, settings, method); result != nil && len(result.X) == len(from) {
		return result.X
	}
	return from
}

// refineOptions are what a spec asks of refinement.
type refineOptions struct {
	method     string
	candidates int
	nearMiss   float64 // factor on limits
	keep       bool    // unrefined twins too
	seed       int64
}

func (o *refineOptions) wanted() bool { return o.method != "" && o.method != refineNone }

// RefinePartError refuses to refine in parts of a sweep point: which candidates
// lead is known only when all parts are.
type RefinePartError struct {
	Part   Part
	Points int
}

func (e *RefinePartError) Error() string {
	return fmt.Sprintf("part %s would divide a sweep point, of which the job has %d: with refine.method other than %q a job can be divided into at most as many parts as it has points",
		e.Part, e.Points, refineNone)
}

// Divides tells whether the job can be done in the parts of which this is one:
// an error where it can't.
func (j *Job) Divides(part Part) error {
	if part.byPoints(len(j.Points)) {
		return nil
	}
	for _, p := range j.Points {
		o := j.options(p.Spec)
		if o.optimize.wanted {
			return &OptimizePartError{part, len(j.Points)}
		}
		if o.refine.wanted() {
			return &RefinePartError{part, len(j.Points)}
		}
	}
	return nil
}

// rank joins the refined designs with those at their paraxial gaps into one
// ranking: in ascending ranked length, then by design_id, the refined twin first. A
// refined design that is no longer than its twin takes its place.
func (o *options) rank(unrefined, refined []Found, partsKey func(*Found) string) []Found {
	lengths := map[string]float64{}
	for i := range refined {
		lengths[refined[i].ID] = refined[i].Ranked
	}
	all := slices.Clone(refined)
	for _, f := range unrefined {
		if length, twin := lengths[f.ID]; !twin || o.refine.keep || f.Ranked < length {
			all = append(all, f)
		}
	}
	slices.SortStableFunc(all, compareFound)
	if o.onePerParts {
		type key struct {
			parts   string
			refined bool
		}
		seen := map[key]bool{}
		all = slices.DeleteFunc(all, func(f Found) bool {
			k := key{partsKey(&f), o.refine.keep && f.Train.Refined}
			again := seen[k]
			seen[k] = true
			return again
		})
	}
	return all[:min(len(all), o.top)]
}
