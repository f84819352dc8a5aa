package sweep

import (
	"context"
	"math"
	"math/big"

	"relaysweep/objective"
)

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

// refine ranks what refinement makes of the designs that came near to passing. With an error come
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

// walk is a walk over the designs that came near to passing, as if they were all, in ascending
// order of what refinement can make of them.
func (s *optimizer) walk(lib *objective.Library, o options) *exactSearch {
	a := &exactSearch{
		options: o, lib: lib, p: lib.Problem, over: true, lengthMost: math.Inf(1),
		proof:  Proof{SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{}, Seconds: map[string]float64{}, Exact: true},
		byRays: map[string]*big.Int{}, serving: new(big.Int),
	}
	for i := range s.hopeful {
		c := s.hopeful[i].candidate()
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
