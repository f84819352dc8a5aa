package sweep

import (
	"context"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/bench"
	"relaysweep/sweep/spec"
	"relaysweep/sweep/yield"
)

// yieldLimit is the name under which designs are counted of which too few builds meet the
// other limits.
const yieldLimit = "yield_min_pct"

// buildOptions are what a spec asks of designs as they are really built.
type buildOptions struct {
	least        float64 // share of builds that has to pass; 0: none are made
	builds       int
	tolerances   yield.Tolerances
	compensators bench.Compensators
	seed         uint64
}

func buildOptionsOf(s *spec.Spec) buildOptions {
	if s.Limits.YieldMinPct == nil {
		return buildOptions{}
	}
	o := buildOptions{least: *s.Limits.YieldMinPct / 100, builds: s.Tolerance.BuildsMade(), seed: uint64(s.Job.Seed)}
	o.tolerances, o.compensators = Tolerances(&s.Tolerance)
	return o
}

// Tolerances are what a spec says of tolerances, and the compensators that it has on.
func Tolerances(t *spec.ToleranceSection) (yield.Tolerances, bench.Compensators) {
	on := func(name string) bool { return slices.Contains(t.Compensators, name) }
	return yield.Tolerances{
			Of: [yield.Kinds]float64{
				yield.Focal: t.FocalPct, yield.Radius: t.RadiusPct, yield.Thickness: t.ThicknessMM, yield.Index: t.Index,
				yield.Abbe: t.AbbePct, yield.Gap: t.GapMM, yield.LensDecentre: t.LensDecentreMM, yield.LensTilt: t.LensTiltArcmin,
				yield.GroupDecentre: t.GroupDecentreMM, yield.GroupTilt: t.GroupTiltArcmin, yield.MaskRoll: t.MaskRollArcmin,
				yield.StageZero: t.StageZeroMM,
			},
			Distribution: yield.Distribution(slices.Index(yield.Distributions, t.Distribution)),
		}, bench.Compensators{
			LastGap: on("last_gap"), FrontGap: on("front_gap"), StageZero: on("stage_zero"), PictureShift: on("picture_shift"),
		}
}

// canBeBuilt reports whether enough builds of a train that passes meet the limits.
func (o *buildOptions) canBeBuilt(ctx context.Context, p *objective.Problem, t *objective.Train) (bool, error) {
	if o.least == 0 {
		return true, nil
	}
	_, _, enough, err := o.built(ctx, p, t)
	return enough, err
}

// built is how many of so many builds of a train that passes meet the limits, and whether
// they are enough. A sequential test ends as soon as the interval of their share lies on one
// side of what is asked for; where it does not by the last build, the share itself decides.
// What it says depends on train and spec only.
func (o *buildOptions) built(ctx context.Context, p *objective.Problem, t *objective.Train) (passed, builds int, enough bool, err error) {
	s := &yield.Study{Problem: p, Train: t, Tolerances: o.tolerances, Compensators: o.compensators, Seed: o.seed, Workers: 1}
	made, passed, verdict, err := s.Yield(ctx, o.builds, o.least)
	if enough = verdict == yield.Above; verdict == yield.Open {
		enough = float64(passed) >= o.least*float64(len(made))
	}
	return passed, len(made), enough, err
}
