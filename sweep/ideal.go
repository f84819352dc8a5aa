package sweep

import (
	"context"
	"math"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/ideal"
	"relaysweep/sweep/spec"
)

// addIdeals finds how short a train could be at each of the points if every focal
// length could be had, several points at once, and keeps that in a journal where
// there is one. Points without a lens in use have no such limit. progress, which may be
// nil, is told once.
func (j *Job) addIdeals(ctx context.Context, journal *Journal, outcomes []PointOutcome, progress Progress) error {
	if progress != nil && len(outcomes) > 0 {
		progress(Status{Stage: StageIdeal, Point: len(outcomes) - 1, Points: len(outcomes)})
	}
	kept := &keptIdeals{journal: journal}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(j.Workers())
	for i := range outcomes {
		group.Go(func() error {
			o := &outcomes[i]
			if err := ctx.Err(); err != nil {
				return err
			}
			if ratio := j.idealRatio(o.Point.Spec, o.Problem); ratio > 0 {
				var err error
				if o.Ideal, err = kept.read(o.Point.Index); err != nil || o.Ideal != nil {
					return err
				}
				options := j.options(o.Point.Spec)
				ideal, err := ideal.Find(ctx, o.Problem, options.spaces, ratio, options.by)
				if err != nil {
					return err
				}
				o.Ideal = &ideal
				return kept.write(o.Point.Index, o.Ideal)
			}
			return nil
		})
	}
	return group.Wait()
}

// idealRatio is the most that a group's clear diameter may be of its focal
// length: what the spec says, or that of the fastest lens in use times the lenses
// of a group. Powers of thin lenses in contact add up, and a stack is clear as far
// as its smallest lens, so that no such stack is faster.
func (j *Job) idealRatio(s *spec.Spec, p *objective.Problem) float64 {
	if s.Ideal.ApertureRatio > 0 {
		return s.Ideal.ApertureRatio
	}
	wavelength := p.WavelengthsNM[p.Reference()]
	fastest := 0.0
	for _, l := range j.inUse(s, p) {
		efl, _, _ := l.Cardinal(wavelength)
		fastest = math.Max(fastest, l.ClearMM/math.Abs(efl))
	}
	return fastest * float64(s.Train.LensesPerGroup)
}
