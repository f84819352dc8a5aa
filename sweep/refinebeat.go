package sweep

import (
	"cmp"
	"context"
	"math"
	"math/big"

	"relaysweep/objective"
)

// Before the walk a population search of small effort finds designs to beat: there is
// something to write when a run is cut short, and no window reaches beyond what is wanted.
// What the walk ranks does not depend on it.
const (
	// beatSpace is the number of designs from which on it is worth it.
	beatSpace = 10_000_000
	// beatEvaluations bounds the population for each power of ten of the space beyond
	// beatDecades, and beatCandidates how many of its designs are refined for each one wanted.
	beatEvaluations = 1500
	beatDecades     = 3
	beatCandidates  = 2
)

// beatOptions are the effort of the population before the walk.
type beatOptions struct {
	space       int64 // designs from which on there is one; 0 for beatSpace
	evaluations int64 // 0 for beatEvaluations
}

// population looks for designs to beat.
func (w *refineWalk) population(ctx context.Context) error {
	if !w.part.Whole() || w.proof.Space.Cmp(big.NewInt(cmp.Or(w.refine.beat.space, beatSpace))) < 0 {
		return nil
	}
	defer w.clock("population")()
	o := w.options
	o.refine = refineOptions{}
	decades := int64(len(w.proof.Space.String()) - 1 - beatDecades)
	o.optimize.wanted, o.optimize.seed, o.optimize.stall = true, w.refine.seed, 0
	o.optimize.evaluations = cmp.Or(w.refine.beat.evaluations, beatEvaluations*decades)
	o.checksMax = 0
	o.progress = func(s Status) {
		s.ProvenMM, s.BestMM = w.level(), math.Inf(1)
		w.show(s)
	}
	s, err := newOptimizer(unrefined(w.lib), o)
	if err != nil {
		return err
	}
	if err := s.run(ctx); err != nil {
		return err
	}
	o = w.options
	o.checksMax, o.refine.audit, o.refine.candidates = 0, 0, beatCandidates*w.top
	beaten := newRefineWalk(s.walk(w.lib, o))
	beaten.quiet, beaten.ended = true, w.known
	if err := beaten.walk(ctx); err != nil {
		return err
	}
	w.beat.found = beaten.best.found
	return nil
}

// unrefined is a library for the same problem without refinement: its lengths are those at
// paraxial gaps.
func unrefined(lib *objective.Library) *objective.Library {
	p := *lib.Problem
	p.NearMissFactor = 0
	return objective.NewLibrary(&p, lib.Lenses)
}
