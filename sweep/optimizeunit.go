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
	_, err := s.log.unit(ctx, recordGrades, func(ctx context.Context) error {
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
	return a
}

// The exact search has a share of the effort for a lower bound, in counts so that
// it is the same everywhere: an evaluation costs some 18 µs, a check that turns a design away
// some 15, a group that is made, two or three times over, or only counted in a
// census, some 1 and 0.3, and looking at a train some 0.3.
const (
	boundChecks  = 0.1 // of the evaluations
	boundEffort  = 1.0
	boundGroups  = 1.0
	boundPairs   = 0.05 // groups of pair relays, of which all combinations are bounded
	boundCounted = 20.0
)

// bound finds a ranked length below which no design of the space passes, as far
// as the share of effort goes. Where the groups are few the exact search walks
// up from the shortest design. One that passes there is the shortest of all,
// and comes into the ranking. Where they are more, only a census of them
// is taken. Where they are too many for that nothing is proven.
func (s *optimizer) bound(ctx context.Context) error {
	defer s.clock("bound")()
	share := func(of float64) float64 { return of * float64(s.evaluated) }
	o := s.options
	o.top, o.onePerParts, o.refine = 1, false, refineOptions{}
	o.checksMax, o.effortMax = int64(math.Ceil(share(boundChecks))), int64(math.Ceil(share(boundEffort)))
	o.progress = func(status Status) {
		s.proven = status.ProvenMM
		s.report()
	}
	groups, _ := countGroups(s.lib, s.lensesPerGroup).Float64()
	want := rolesOf(o)
	most := share(boundGroups)
	if want.pair {
		most = share(boundPairs)
	}
	switch {
	case groups <= most:
		a, err := newAscent(ctx, s.lib, o)
		if err != nil {
			return err
		}
		out, err := a.run(ctx)
		if err != nil {
			return err
		}
		s.lower = out.Proof.ProvenLength
		for i := range out.Found {
			s.take(&out.Found[i].design)
		}
	case groups <= share(boundCounted) && !want.pair:
		return s.censusUnit(ctx, want)
	}
	return nil
}

// censusUnit bounds all designs by a census of the groups, as a unit.
func (s *optimizer) censusUnit(ctx context.Context, want roles) error {
	_, err := s.log.unit(ctx, recordLeast, func(ctx context.Context) error {
		source, err := newSource(ctx, s.lib, want)
		if err == nil {
			// Ranked lengths are rounded: one may lie below its own length.
			s.lower = objective.RoundedLength(source.sieve.Least-2*objective.BoundSlack) - 1e-6
			if s.by == objective.ByLengthToEye {
				s.lower += math.Max(s.p.ReliefMin, s.p.CombinerMM)
			}
		}
		return err
	}, func(e *encoder) { e.float(s.lower) }, func(d *decoder) error {
		s.lower = d.float()
		return d.end()
	})
	return err
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
