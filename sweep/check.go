package sweep

import (
	"context"
	"math"
	"math/big"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
)

// batchSize is how many designs are ray-checked between two looks at whether
// the ranking is full. It does not depend on the number of workers, so that
// neither do the counts.
const batchSize = 64

// run walks on until top designs have passed or the space is exhausted. With
// an error comes what was found up to then.
func (a *exactSearch) run(ctx context.Context) (*Outcome, error) {
	out := &Outcome{}
	checkers := make(chan *raycheck.Checker, a.workers)
	for range a.workers {
		checkers <- raycheck.NewChecker(a.p)
	}
	passedParts := map[string]bool{}
	for len(out.Found) < a.top {
		batch, more, err := a.next(ctx, batchSize)
		if err != nil {
			return a.unfinished(out), err
		}
		if !more {
			a.proof.Exact = !a.stopped
			break
		}
		got, err := a.checkUnit(ctx, checkers, batch, true, func(batch []candidate, verdicts []string) judged {
			return a.judge(batch, verdicts, a.top-len(out.Found), passedParts)
		})
		if err != nil {
			return a.unfinished(out), err
		}
		tally(a.proof.SetAside, byParts, big.NewInt(got.skipped))
		for _, failed := range got.failed {
			a.proof.Checked += failed.n
			tally(a.proof.Failed, failed.name, big.NewInt(failed.n))
			tally(a.byRays, failed.name, big.NewInt(failed.n))
		}
		for i, c := range got.passed {
			a.proof.Checked++
			a.proof.Passed++
			if a.onePerParts {
				passedParts[c.partsKey(a.lib)] = true
			}
			out.Found = append(out.Found, Found{Train: got.trains[i], ID: c.id(a.lib), Ranked: c.ranked, Report: got.reports[i], design: c})
		}
		a.report("check")
		if a.checksMax > 0 && a.proof.Checked == a.checksMax && len(out.Found) < a.top {
			a.proof.Exact = a.over && a.backlog.left == 0
			break
		}
	}
	a.close(out)
	return out, nil
}

// judge takes the designs of a batch of checks until so many have passed or no more
// may be checked.
func (a *exactSearch) judge(batch []candidate, verdicts []string, wanted int, passedParts map[string]bool) (j judged) {
	passed := map[string]bool{} // parts, within the batch
	checked := a.proof.Checked
	for i, c := range batch {
		if len(j.passed) == wanted || a.checksMax > 0 && checked == a.checksMax {
			j.ended = true
			break
		}
		j.taken++
		key := ""
		if a.onePerParts {
			if key = c.partsKey(a.lib); passedParts[key] || passed[key] {
				j.skipped++
				continue
			}
		}
		checked++
		if verdicts[i] != "" {
			j.failed = countVerdict(j.failed, verdicts[i])
			continue
		}
		passed[key] = true
		j.passed = append(j.passed, c)
	}
	return j
}

// judged is what a batch of checks brought of the designs that the walk took.
type judged struct {
	taking
	skipped int64 // not counted, as their parts passed before
	failed  []verdictCount
	passed  []candidate
	trains  []*objective.Train // of those that passed, where reports are wanted
	reports []*raycheck.Report // likewise
}

// checkUnit checks a batch as a unit. judge tells what the walk takes, by what the
// designs of a batch were turned away; it is called again with those that it took,
// all of them, when the unit of a part is replayed. Where reports are wanted, what
// passed is then checked again.
//
// The record holds how many were turned away by what, and what passed. In a part of a
// point it holds, for the merge, each design that was taken instead.
func (a *exactSearch) checkUnit(ctx context.Context, checkers chan *raycheck.Checker, batch []candidate, reports bool,
	judge func(batch []candidate, verdicts []string) judged,
) (judged, error) {
	var j judged
	var verdicts []string
	took, spent, err := a.takeUnit(ctx, recordChecks, batch, func(ctx context.Context) (taking, error) {
		trains, checked, err := a.check(ctx, checkers, batch, true)
		if err != nil {
			return taking{}, err
		}
		for _, r := range checked {
			verdicts = append(verdicts, r.FailedBy)
		}
		j = judge(batch, verdicts)
		for i, at := 0, 0; at < len(j.passed); i++ {
			if batch[i] == j.passed[at] {
				j.trains, j.reports = append(j.trains, trains[i]), append(j.reports, checked[i])
				at++
			}
		}
		return j.taking, nil
	}, func(e *encoder) {
		if !a.part.Whole() {
			e.checked(batch[:j.taken], verdicts[:j.taken])
			return
		}
		e.Int64(j.skipped)
		e.verdictCounts(j.failed)
		e.designs(j.passed)
	}, func(d *decoder) (err error) {
		if !a.part.Whole() {
			taken, verdicts := d.checked(a.lib)
			if d.End() == nil {
				j = judge(taken, verdicts)
			}
		} else {
			j.skipped, j.failed, j.passed = d.Int64(), d.verdictCounts(), d.designs(a.lib)
		}
		if err := d.End(); err != nil || !reports || len(j.passed) == 0 {
			return err
		}
		j.trains, j.reports, err = a.check(ctx, checkers, j.passed, false)
		for _, r := range j.reports {
			if err == nil && r.FailedBy != "" {
				err = journal.ErrUnfit
			}
		}
		return err
	})
	j.taking = took
	a.proof.Seconds["check"] += spent.Seconds()
	return j, err
}

// check ray-checks a batch, each worker with a checker of its own, and where asked builds
// what passes.
func (a *exactSearch) check(ctx context.Context, checkers chan *raycheck.Checker, batch []candidate, build bool) (trains []*objective.Train, reports []*raycheck.Report, err error) {
	defer a.clock("check")()
	trains, reports = make([]*objective.Train, len(batch)), make([]*raycheck.Report, len(batch))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(a.workers)
	for i := range batch {
		group.Go(func() error {
			c := <-checkers
			defer func() { checkers <- c }()
			train, err := batch[i].solve(a.lib)
			if err != nil {
				return err
			}
			trains[i] = train
			reports[i] = c.Check(train).Clone()
			if build && reports[i].FailedBy == "" {
				enough, err := a.built.canBeBuilt(ctx, a.p, train)
				if err != nil {
					return err
				}
				if !enough {
					reports[i].FailedBy = yieldLimit
				}
			}
			return ctx.Err()
		})
	}
	return trains, reports, group.Wait()
}

// checked writes designs that were checked and by what each was turned away.
func (e *encoder) checked(designs []candidate, verdicts []string) {
	e.designs(designs)
	e.verdicts(verdicts)
}

func (d *decoder) checked(lib *objective.Library) (designs []candidate, verdicts []string) {
	designs = d.designs(lib)
	return designs, d.verdicts(len(designs))
}

// partsKey names the parts of a candidate without regard to their arrangement.
func (c *candidate) partsKey(lib *objective.Library) string {
	var parts []string
	for _, code := range c.codes() {
		for _, e := range lib.Stack(code) {
			parts = append(parts, e.Lens.Part)
		}
	}
	slices.Sort(parts)
	return strings.Join(parts, "+")
}

// close gives an outcome its proof.
func (a *exactSearch) close(out *Outcome) {
	tally(a.proof.SetAside, byRest, big.NewInt(int64(a.backlog.left)))
	a.proof.ProvenLength = a.provenLength(out)
	out.Proof = a.proof
	out.turnedByRays, out.serving, out.next = a.byRays, a.serving, a.safe()
	out.next = math.Min(out.next, a.backlog.next)
}

// unfinished is the outcome of a walk that was stopped: what was found are the
// first of the ranking, and what was not looked at is counted as unseen.
func (a *exactSearch) unfinished(out *Outcome) *Outcome {
	a.proof.Exact = false
	if unseen := a.proof.SetAside[byBound]; unseen != nil {
		delete(a.proof.SetAside, byBound)
		a.proof.SetAside[byUnseen] = unseen
	}
	a.close(out)
	return out
}

// provenLength is the ranked length below which every design is accounted for.
func (a *exactSearch) provenLength(out *Outcome) float64 {
	switch {
	case a.backlog.left > 0 && !a.proof.Exact:
		return math.Min(a.backlog.next, a.safe())
	case len(out.Found) == a.top:
		return out.Found[a.top-1].Ranked
	case a.over:
		return math.Inf(1)
	}
	return a.safe()
}
