package sweep

import (
	"context"
	"fmt"
	"math"

	"relaysweep/objective"
)

// evaluateUnit evaluates a batch as a unit. The record holds its grades, so
// that going through it again draws the same designs and traces none.
func (s *optimizer) evaluateUnit(ctx context.Context, all []graded) error {
	spent, err := s.log.unit(ctx, recordGrades, func(ctx context.Context) error {
		return s.carry(ctx, all)
	}, func(e *encoder) {
		e.uvarint(len(all))
		for i := range all {
			e.grade(&all[i])
		}
	}, func(d *decoder) error {
		if d.length() != len(all) {
			return errDamaged
		}
		for i := range all {
			all[i].grade = d.grade(all[i].key.space)
		}
		return d.end()
	})
	s.proof.Seconds["search"] += spent.Seconds()
	return err
}

// grade writes the grade of a design.
func (e *encoder) grade(g *graded) {
	e.out = append(e.out, byte(g.tier), g.failed)
	if g.tier == exceeds || g.tier == misses {
		e.float(g.amount)
	}
	if g.tier == misses {
		return
	}
	e.float(g.ranked)
	if g.key.space.Layout == objective.ErectorPair {
		e.float(g.inner)
	}
}

func (d *decoder) grade(space objective.Space) (g grade) {
	g.tier, g.failed = tier(d.byte()), d.byte()
	if g.tier > misses || int(g.failed) >= len(gradeNames) {
		d.fail()
	}
	if g.tier == exceeds || g.tier == misses {
		g.amount = d.float()
	}
	if g.tier == misses {
		return g
	}
	g.ranked = d.float()
	if space.Layout == objective.ErectorPair {
		g.inner = d.float()
	}
	return g
}

// optimizePoint searches one point by a population, bounds what it can have
// missed, and refines the leading candidates when that is asked for. With an
// error comes what was found up to then.
func optimizePoint(ctx context.Context, lib *objective.Library, o options) (*Outcome, error) {
	s, err := newOptimizer(lib, o)
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
		err = refineLeading(ctx, s.walk(), out)
	}
	return out, err
}

// walk is a walk over the designs that were traced, as if they were all.
func (s *optimizer) walk() *ascent {
	a := &ascent{options: s.options, lib: s.lib, p: s.p, over: true, proof: Proof{Seconds: map[string]float64{}}}
	for i := range s.met {
		a.pending = append(a.pending, s.met[i].candidate())
	}
	sortCandidates(a.pending, s.lib)
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
		if j.options(p.Spec).optimize.wanted {
			return &OptimizePartError{part, len(j.Points)}
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
		e.Part, e.Points, searchOptimize)
}
