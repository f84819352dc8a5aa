package sweep

import (
	"context"
	"fmt"
	"math"
	"math/big"

	"relaysweep/objective"
	"relaysweep/sweep/journal"
	"relaysweep/sweep/spec"
)

// evaluateUnit evaluates a batch as a unit. The record holds its grades, so
// that going through it again draws the same designs and traces none.
func (s *optimizer) evaluateUnit(ctx context.Context, all []graded) error {
	spent, err := s.log.unit(ctx, recordGrades, func(ctx context.Context) error {
		return s.carry(ctx, all)
	}, func(e *encoder) {
		e.Uvarint(len(all))
		for i := range all {
			e.grade(&all[i])
		}
	}, func(d *decoder) error {
		if d.Length() != len(all) {
			return journal.ErrUnfit
		}
		for i := range all {
			all[i].grade = d.grade(all[i].key.space)
		}
		return d.End()
	})
	s.proof.Seconds["search"] += spent.Seconds()
	return err
}

// grade writes the grade of a design.
func (e *encoder) grade(g *graded) {
	e.Byte(byte(g.tier))
	e.Byte(g.failed)
	if g.tier == exceeds || g.tier == misses {
		e.Float(g.amount)
	}
	if g.tier == misses {
		return
	}
	e.Float(g.ranked)
	if g.key.space.Layout == objective.ErectorPair {
		e.Float(g.inner)
	}
}

func (d *decoder) grade(space objective.Space) (g grade) {
	g.tier, g.failed = tier(d.Byte()), d.Byte()
	if g.tier > misses || int(g.failed) >= len(gradeNames) {
		d.Fail()
	}
	if g.tier == exceeds || g.tier == misses {
		g.amount = d.Float()
	}
	if g.tier == misses {
		return g
	}
	g.ranked = d.Float()
	if space.Layout == objective.ErectorPair {
		g.inner = d.Float()
	}
	return g
}

// optimizePoint searches one point by a population, bounds what it can have
// missed, and refines what comes near its limits where that is asked for. With an
// error comes what was found up to then.
func optimizePoint(ctx context.Context, lib *objective.Library, o options) (*Outcome, error) {
	s, err := newOptimizer(unrefined(lib), o)
	if err != nil {
		return nil, err
	}
	if err = s.run(ctx); err == nil {
		err = s.bound(ctx)
	}
	// What was found is told also when the run is asked to stop.
	out, reportErr := s.outcome(context.WithoutCancel(ctx))
	if reportErr != nil {
		return nil, reportErr
	}
	if err == nil && o.refine.wanted() {
		err = s.refine(ctx, lib, out)
	}
	return out, err
}

// refine ranks what refinement makes of the designs that were traced. With an error come
// those refined up to then.
func (s *optimizer) refine(ctx context.Context, lib *objective.Library, out *Outcome) error {
	o := s.options
	o.refine.audit = 0
	w := newRefineWalk(s.walk(lib, o))
	err := w.walk(ctx)
	refined, found := w.outcome(), ranking{lib: lib, top: s.top, onePerParts: s.onePerParts}
	for _, f := range refined.Found {
		f.Screened = false // nothing is known of the rest of the space
		found.add(f)
	}
	known := map[string]bool{}
	for _, f := range found.found {
		known[f.ID] = true
	}
	for _, f := range out.Found { // what was not refined stands at its paraxial gaps
		if !known[f.ID] {
			found.add(f)
		}
	}
	out.Found, out.Refined, out.Best = found.found, refined.Refined, refined.Best
	if out.Best != nil {
		out.Best.By = byPopulation
	}
	out.Proof.Seconds["refine"] += refined.Proof.Seconds["refine"] + refined.Proof.Seconds["screen"]
	if reportErr := report(context.WithoutCancel(ctx), lib, s.options, out.Found); reportErr != nil {
		return reportErr
	}
	return err
}

// walk is a walk over the designs that were traced, as if they were all, in ascending
// order of what refinement can make of them.
func (s *optimizer) walk(lib *objective.Library, o options) *ascent {
	a := &ascent{
		options: o, lib: lib, p: lib.Problem, over: true, lengthMost: math.Inf(1),
		proof:  Proof{SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{}, Seconds: map[string]float64{}, Exact: true},
		byRays: map[string]*big.Int{}, serving: new(big.Int),
	}
	for i := range s.met {
		c := s.met[i].candidate()
		if start, err := c.solve(lib); err == nil {
			c.ranked = objective.RoundedLength(lib.Problem.LeastAny(start) + a.reliefAdded())
			a.pending = append(a.pending, c)
		}
	}
	sortCandidates(a.pending, lib)
	a.backlog = newBacklog(0, math.Inf(1))
	if len(a.pending) > 0 {
		a.backlog = newBacklog(len(a.pending), a.pending[0].ranked)
		a.backlog.listed = a.pending
	}
	return a
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
		if o.refine.wanted() && (o.checksMax > 0 || o.refine.candidates > 0) {
			return &CappedPartError{part, len(j.Points)}
		}
	}
	return nil
}

// OptimizePartError refuses a population search in parts of a sweep point: it is
// not divided.
type OptimizePartError struct {
	Part   Part
	Points int
}

func (e *OptimizePartError) Error() string {
	return fmt.Sprintf("part %s would divide a sweep point, of which the job has %d: with search.method %q a job can be divided into at most as many parts as it has points",
		e.Part, e.Points, spec.SearchOptimize)
}

// CappedPartError refuses a capped search with refinement in parts of a sweep point: which
// designs come before the cap is known to no part alone.
type CappedPartError struct {
	Part   Part
	Points int
}

func (e *CappedPartError) Error() string {
	return fmt.Sprintf("part %s would divide a sweep point, of which the job has %d: with search.checks_max or refine.candidates a job that refines can be divided into at most as many parts as it has points\n    leave them at 0, or set refine.method = %q",
		e.Part, e.Points, spec.RefineNone)
}
