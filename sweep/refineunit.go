package sweep

import (
	"cmp"
	"context"
	"math"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
)

// refineBatch is how many candidates are refined in one unit. It does not depend on
// the number of workers.
const refineBatch = 32

// compareFound orders a ranking.
func compareFound(a, b Found) int {
	return cmp.Or(cmp.Compare(a.Ranked, b.Ranked), strings.Compare(a.ID, b.ID))
}

// refineLeading re-optimises the leading candidates of a walk over a point whose
// search has come to its end, and ranks them with what that has found. A part of a point
// leaves that to the merge, because which candidates lead is known only when all parts are:
// it checks those that lead among its own.
func refineLeading(ctx context.Context, a *ascent, out *Outcome) error {
	start := time.Now()
	defer func() { out.Proof.Seconds["refine"] += time.Since(start).Seconds() }()
	leading, checked, err := a.leading(ctx, out)
	if err != nil {
		return err
	}
	if !a.part.Whole() {
		out.nearChecked = checked
		return nil
	}
	return a.refineAll(ctx, leading, out)
}

// refineAll refines candidates and ranks them with what the search has found. With an
// error come the ones refined up to then.
func (a *ascent) refineAll(ctx context.Context, leading []candidate, out *Outcome) error {
	refiners := make(chan *objective.Refiner, a.workers)
	for range a.workers {
		refiners <- objective.NewRefiner(a.p, a.by)
	}
	show := func(done int) {
		if a.progress != nil {
			a.progress(Status{
				Stage: "refine", Examined: out.Proof.Examined, Checked: out.Proof.Checked, Passed: out.Proof.Passed,
				ProvenMM: out.Proof.ProvenLength, Wanted: a.top, Replayed: a.log.replaying(),
				Refined: done, ToRefine: len(leading),
			})
		}
	}
	show(0)
	var passed []Found
	defer func() {
		out.Refined.Passed = len(passed)
		out.Found = a.rank(out.Found, passed, func(f *Found) string { return f.design.partsKey(a.lib) })
	}()
	out.Refined = &Refined{}
	for from := 0; from < len(leading); from += refineBatch {
		batch := leading[from:min(from+refineBatch, len(leading))]
		found, err := a.refineUnit(ctx, refiners, batch)
		if err != nil {
			return err
		}
		passed = append(passed, found...)
		out.Refined.Candidates += len(batch)
		show(out.Refined.Candidates)
	}
	return nil
}

// leading are the designs to refine: in ascending ranked length at their
// paraxial gaps those that pass or nearly so, none longer than the last one of a
// full ranking. checked counts the designs that were looked at.
func (a *ascent) leading(ctx context.Context, out *Outcome) (leading []candidate, checked int64, err error) {
	longest := a.longest(out)
	checkers := make(chan *objective.Checker, a.workers)
	for range a.workers {
		checkers <- objective.NewNearChecker(a.p, a.refine.nearMiss)
	}
	for ended := false; !ended; {
		batch, more, err := a.next(ctx, batchSize)
		if err != nil {
			return nil, 0, err
		}
		if !more {
			break
		}
		near, err := a.checkUnit(ctx, checkers, batch, false, func(batch []candidate, verdicts []string) (j judged) {
			for i, c := range batch {
				if j.ended = a.leadingEnds(len(leading)+len(j.passed), checked+int64(i), c.ranked, longest); j.ended {
					break
				}
				j.taken++
				if verdicts[i] == "" {
					j.passed = append(j.passed, c)
				}
			}
			return j
		})
		if err != nil {
			return nil, 0, err
		}
		leading = append(leading, near.passed...)
		checked += int64(near.taken)
		ended = near.ended
	}
	return leading, checked, nil
}

// longest is the ranked length beyond which no candidate is refined: that of the last
// design of a full ranking.
func (o *options) longest(out *Outcome) float64 {
	if len(out.Found) == o.top {
		return out.Found[o.top-1].Ranked
	}
	return math.Inf(1)
}

// leadingEnds tells whether there are enough candidates before the next design.
func (o *options) leadingEnds(candidates int, checked int64, next, longest float64) bool {
	return candidates == o.refine.candidates || next > longest || o.checksMax > 0 && checked == o.checksMax
}

// refineUnit refines a batch as a unit and returns those that then pass. The
// record holds by how much each was moved.
func (a *ascent) refineUnit(ctx context.Context, refiners chan *objective.Refiner, batch []candidate) ([]Found, error) {
	ends := make([]refined, len(batch))
	found := make([]*Found, len(batch))
	each := func(ctx context.Context, do func(r *objective.Refiner, i int) error) error {
		group, ctx := errgroup.WithContext(ctx)
		group.SetLimit(a.workers)
		for i := range batch {
			group.Go(func() error {
				if err := ctx.Err(); err != nil {
					return err
				}
				r := <-refiners
				defer func() { refiners <- r }()
				return do(r, i)
			})
		}
		return group.Wait()
	}
	_, err := a.log.unit(ctx, recordRefine, func(ctx context.Context) error {
		return each(ctx, func(r *objective.Refiner, i int) error {
			start, err := batch[i].solve(a.lib)
			if err != nil {
				return err
			}
			ends[i] = refineTrain(r, start, a.refine.method, a.refine.seed)
			if ends[i].moved == nil {
				return nil
			}
			f := &Found{ID: batch[i].id(a.lib), design: batch[i], moved: ends[i].moved}
			if f.settle(r, start, a.by); f.Report.FailedBy == "" {
				found[i] = f
			}
			return nil
		})
	}, func(e *encoder) {
		e.uvarint(len(batch))
		e.float(batch[0].ranked)
		for i := range batch {
			e.int64(int64(ends[i].evaluations))
			if found[i] == nil {
				e.moved(nil)
			} else {
				e.moved(found[i].moved)
			}
		}
	}, func(d *decoder) error {
		if d.length() != len(batch) || d.float() != batch[0].ranked {
			return errDamaged
		}
		for i := range batch {
			ends[i].evaluations = int(d.int64())
			if ends[i].moved = d.moved(); ends[i].moved != nil {
				found[i] = &Found{ID: batch[i].id(a.lib), design: batch[i], moved: ends[i].moved}
			}
		}
		if d.bad {
			return errDamaged
		}
		return each(ctx, func(r *objective.Refiner, i int) error {
			if found[i] == nil {
				return nil
			}
			return found[i].again(r, a.lib, a.by)
		})
	})
	var passed []Found
	for _, f := range found {
		if f != nil {
			passed = append(passed, *f)
		}
	}
	return passed, err
}

// settle gives a refined design its train and its report. The start is at its
// paraxial gaps and in the refiner's hand.
func (f *Found) settle(r *objective.Refiner, start *objective.Train, by objective.RankBy) {
	f.Train, f.Report, f.Active = r.Settle(f.moved)
	f.StartLengthMM = start.Length
	f.Ranked = objective.RoundedLength(f.Train.Ranked(by))
}

// again settles a refined design of which is known that it passes.
func (f *Found) again(r *objective.Refiner, lib *objective.Library, by objective.RankBy) error {
	start, err := f.design.solve(lib)
	if err != nil {
		return err
	}
	if len(f.moved) != len(start.Gaps)+1 {
		return errDamaged
	}
	r.Begin(start)
	if f.settle(r, start, by); f.Report.FailedBy != "" {
		return errDamaged
	}
	return nil
}

// moved writes by how much a design was moved, nil for not at all.
func (e *encoder) moved(x []float64) {
	e.uvarint(len(x))
	for _, v := range x {
		e.float(v)
	}
}

func (d *decoder) moved() (x []float64) {
	for range d.length() {
		x = append(x, d.float())
	}
	return x
}
