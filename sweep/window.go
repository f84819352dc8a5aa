package sweep

import (
	"context"
	"math"
	"math/big"
	"slices"
	"time"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
)

// firstStep, in mm, is the width of the first window of lengths, and
// firstGrowth the share of its length by which the search grows until it meets
// candidates. Windows without any cost little. stepLeast, in mm, is a width
// below which a window is not cut further, however much it holds.
const (
	firstStep   = 4.0
	firstGrowth = 0.25
	stepLeast   = 1e-5
)

// A window should bring about as many candidates as were wanted so far, so
// that little of the last one is wasted and each costs more than the one
// before only as the search goes deeper; one that brings several times as many
// is given up and tried narrower. windowLeast and windowMost bound the number.
const (
	windowLeast = 256
	windowMost  = 262_144
	// Of what third-order sums turn away nothing is held: a window may examine more of it.
	windowTurned = 1 << 20
	// With boxes these cost so little that to come upon all shorter ones again costs more.
	windowBoxed   = 1 << 26
	windowTooMany = 4   // times as many as wanted
	windowGrowth  = 1.5 // of the width from one window to the next
)

// windowWanted is how many candidates the next window should bring.
func (a *exactSearch) windowWanted() int {
	most := windowMost
	if a.shared != nil && a.shared.third != nil {
		if most = windowTurned; a.shared.boxesFrom > 0 {
			most = windowBoxed
		}
	}
	return max(windowLeast, min(most, a.top+a.brought))
}

// lengthBeyond, in mm, is a length beyond which the windows end: the next one
// takes all that is left.
const lengthBeyond = 20_000.0

// advance examines one more window of lengths.
func (a *exactSearch) advance(ctx context.Context) error {
	defer a.clock("search")()
	if !a.begun {
		a.report("search")
		var err error
		if a.lo, err = a.leastUnit(ctx); err != nil {
			return err
		}
		a.begun = true
	}
	hi := a.lo + a.step
	if hi > lengthBeyond {
		hi = math.Inf(1)
	}
	hi = math.Min(hi, math.Min(a.p.LengthMax, math.Max(a.lengthMost, a.lo+endSlack)))
	a.lookAtBoxes()
	wanted := a.windowWanted()
	most := windowTooMany * min(wanted, windowMost)
	if a.step < stepLeast { // nothing is gained by an even narrower one
		most = math.MaxInt
	}
	if err := a.restore(ctx); err != nil {
		return err
	}
	joined, err := a.examineUnit(ctx, hi, most)
	if err != nil {
		return err
	}
	a.effort += joined.effort
	if !joined.ok {
		if math.IsInf(hi, 1) {
			a.step = a.lo
		}
		a.step /= 4
		return nil
	}
	a.account(&joined.window)
	// What third-order sums turned away took as long to find as what they let through.
	n := joined.designs + int(joined.third.designs)
	a.brought += n
	growth := float64(wanted) / float64(n)
	if joined.designs > 0 {
		growth = math.Min(growth, float64(min(wanted, windowTurned))/float64(joined.designs))
	}
	a.step *= math.Max(0.25, math.Min(windowGrowth, growth))
	if a.brought == 0 {
		// Candidates set in steeply: come up to the first ones carefully.
		a.step = math.Min(a.step, math.Max(firstStep, firstGrowth*hi))
	}
	a.lo = hi
	a.over = hi >= a.p.LengthMax
	return nil
}

// lookAtBoxes begins to look at boxes where third order has turned away enough trains, one by one:
// to prepare costs more than what is turned away before.
func (a *exactSearch) lookAtBoxes() {
	s := a.shared
	if s == nil || s.boxesFrom > 0 || s.third == nil || s.third.slopes == nil || a.heldMost > 0 {
		return
	}
	if n := a.proof.SetAside[byThirdOrder]; n != nil && n.Cmp(big.NewInt(a.boxesAfter)) >= 0 {
		s.boxesFrom = a.lo
	}
}

// boxesAfter is how many trains third order has turned away, one by one, before boxes are looked at.
const boxesAfter = 1 << 18

// least is a length below which there is nothing.
func (a *exactSearch) least(ctx context.Context) (float64, error) {
	least := math.Inf(1)
	if a.stream.filtered { // those held are not all
		least = a.stream.filter.Least
	} else {
		err := a.stream.eachPartition(ctx, lengthBeyond, func(st *stacks) (bool, error) {
			for _, f := range a.layouts {
				l, err := f.least(ctx, st)
				if err != nil {
					return false, err
				}
				least = math.Min(least, l)
			}
			return true, nil
		})
		if err != nil {
			return 0, err
		}
	}
	return math.Max(0, math.Min(least, lengthBeyond)-2*objective.BoundSlack), nil
}

// leastUnit finds the length to start from as a unit.
func (a *exactSearch) leastUnit(ctx context.Context) (least float64, err error) {
	spent, err := a.log.unit(ctx, recordLeast, func(ctx context.Context) (err error) {
		least, err = a.least(ctx)
		return err
	}, func(e *encoder) { e.Float(least) }, func(d *decoder) error {
		least = d.Float()
		return d.End()
	})
	a.proof.Seconds["search"] += spent.Seconds()
	return least, err
}

// examined is what one window of lengths brought.
type examined struct {
	window
	ok      bool // the window was not given up
	effort  int64
	designs int // that meet everything; a replayed window has no candidates
}

// A window that took longer than windowEvent is logged, and how a point stands
// every pointEvents.
const (
	windowEvent = time.Second
	pointEvents = 30 * time.Second
)

// examine lets all layout searches examine the window of lengths above lo and up to hi. It
// is given up when one of them meets more than most candidates.
func (a *exactSearch) examine(ctx context.Context, lo, hi float64, most int) (joined examined, err error) {
	all := math.MaxInt // of all partitions and layout searches together
	if most < all/len(a.layouts) {
		all = most * len(a.layouts)
	}
	joined.ok = true
	err = a.stream.eachPartition(ctx, hi, func(st *stacks) (bool, error) {
		for _, f := range a.layouts {
			w, ok, err := f.find(ctx, st, lo, hi, most)
			if err != nil {
				return false, err
			}
			if !ok || len(joined.candidates)+len(w.candidates) > all {
				joined = examined{effort: joined.effort + int64(most)*examinedToo(f)*effortOf(f)}
				return false, nil
			}
			joined.effort += w.examined * effortOf(f)
			joined.add(&w)
		}
		return true, nil
	})
	return joined, err
}

// examineUnit examines the window of lengths up to hi as a unit, and takes what it
// brings into pending and backlog. The designs are not recorded: where the unit is
// replayed, the backlog accounts for them.
func (a *exactSearch) examineUnit(ctx context.Context, hi float64, most int) (examined, error) {
	var w examined
	var part backlogPart
	var pending, listed []candidate
	list, replayed := false, a.log.replaying()
	start := time.Now()
	spent, err := a.log.unit(ctx, recordWindow, func(ctx context.Context) (err error) {
		w, err = a.examine(ctx, a.lo, hi, most)
		w.sample, w.third.sample = draw(a.turned, w.sample, a.lib), draw(a.turnedThird, w.third.sample, a.lib)
		pending = slices.Concat(a.pending, w.candidates)
		sortCandidates(pending, a.lib)
		part = backlogPartOf(a.lo, hi, &w)
		return err
	}, func(e *encoder) {
		e.Float(a.lo)
		e.Float(hi)
		e.Flag(w.ok)
		e.Int64(w.effort)
		e.Int64(w.examined)
		e.Int64(w.noGap)
		wanted, horizon := a.stream.state()
		e.Uvarint(wanted)
		e.Float(horizon)
		for _, n := range w.failed {
			e.Int64(n)
		}
		if a.turned != nil {
			e.Int64(w.blurred)
			e.designs(w.sample)
			e.Int64(w.third.designs)
			e.Int64(w.third.boxed)
			e.Float(w.third.least)
			e.designs(w.third.sample)
		}
		e.Uvarint(part.designs)
		if part.designs > 0 {
			e.Millimetres(part.least, a.lo)
			e.Millimetres(part.most, part.least)
			e.Uint64(part.digest)
		}
		list = w.ok && a.listing.due(&a.backlog, &part)
		e.Flag(list)
		if list {
			e.designs(pending)
		}
	}, func(d *decoder) error {
		if d.Float() != a.lo || d.Float() != hi {
			return journal.ErrUnfit
		}
		w.ok, w.effort, w.examined = d.Flag(), d.Int64(), d.Int64()
		w.noGap = d.Int64()
		a.stream.resume(d.Uvarint(), d.Float())
		for i := range w.failed {
			w.failed[i] = d.Int64()
		}
		if a.turned != nil {
			w.blurred, w.sample = d.Int64(), draw(a.turned, d.designs(a.lib), a.lib)
			w.third = thirdTurned{d.Int64(), d.Int64(), d.Float(), draw(a.turnedThird, d.designs(a.lib), a.lib)}
		}
		part = backlogPart{lo: a.lo, hi: hi, designs: d.Uvarint(), least: math.Inf(1), most: math.Inf(-1), effort: w.effort}
		if part.designs > 0 {
			part.least = d.Millimetres(a.lo)
			part.most = d.Millimetres(part.least)
			part.digest = d.Uint64()
		}
		if list = d.Flag(); list {
			if listed = d.designs(a.lib); len(listed) != a.backlog.left+part.designs {
				return journal.ErrUnfit
			}
		}
		if err := d.End(); err != nil || a.heldStop == 0 {
			return err
		}
		// How many groups are held depends on what was asked for before.
		return a.stream.reach(ctx, hi)
	})
	a.proof.Seconds["search"] += spent.Seconds()
	if err != nil {
		return w, err
	}
	w.designs = part.designs
	a.pending = pending
	a.backlog.owed = replayed
	if w.ok {
		a.backlog.add(part)
	}
	if list {
		a.backlog.list(listed)
	}
	if took := time.Since(start); a.log != nil && !replayed && took > windowEvent {
		a.log.events.Info("window", "point", a.log.point, "from_mm", a.lo, "to_mm", hi, "examined", w.examined,
			"candidates", w.designs, "given_up", !w.ok, "seconds", took.Seconds())
	}
	return w, nil
}

// draw takes what a window turned away into the sample of an audit, and returns what
// that keeps.
func draw(from *auditSample, turned []candidate, lib *objective.Library) []candidate {
	if from == nil {
		return nil
	}
	sortCandidates(turned, lib)
	return from.offer(turned)
}

// account moves what a window examined out of the count of the bound.
func (a *exactSearch) account(w *window) {
	a.proof.Examined += w.examined
	tally(a.proof.SetAside, byBound, big.NewInt(-w.examined))
	tally(a.proof.SetAside, byGap, big.NewInt(w.noGap))
	for r, n := range w.failed {
		tally(a.proof.Failed, objective.Requirement(r).String(), big.NewInt(n))
	}
	tally(a.proof.Failed, raycheck.MaskBlurName, big.NewInt(w.blurred))
	tally(a.byRays, raycheck.MaskBlurName, big.NewInt(w.blurred))
	tally(a.proof.SetAside, byThirdOrder, big.NewInt(w.third.designs))
	boxed := big.NewInt(w.third.boxed - a.boxed)
	a.boxed = w.third.boxed
	tally(a.proof.SetAside, byThirdOrder, boxed)
	tally(a.proof.SetAside, byBound, new(big.Int).Neg(boxed))
	if w.third.designs > 0 {
		a.thirdLeast = math.Min(a.thirdLeast, w.third.least)
	}
}

// safe is the ranked length below which every candidate is known. Ranked
// lengths are rounded, so that one just above the last window may compare
// equal to one inside: the last rounding step is left to the next window.
func (a *exactSearch) safe() float64 {
	if a.over {
		return math.Inf(1)
	}
	return a.lo - objective.RankedStepMM + a.reliefAdded()
}

// effortOf is what examining a train costs, in that of a train of single
// groups: a pair's inner gap is searched for.
func effortOf(f layoutSearch) int64 {
	if _, pair := f.(*pairSearch); pair {
		return 30
	}
	return 1
}
