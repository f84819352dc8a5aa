package sweep

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"time"

	"relaysweep/sweep/journal"
)

// next is the next candidates in order, at least one and at most most, and
// more false when the space is exhausted, or as far as designs are wanted. While the journal is replayed there are
// none in hand, and more tells that it has taken some.
func (a *exactSearch) next(ctx context.Context, most int) (batch []candidate, more bool, err error) {
	for {
		kind, err := a.log.kind()
		if err != nil {
			return nil, false, err
		}
		switch {
		case kind == recordChecks || kind == recordEased || kind == recordScreen:
			return nil, true, nil
		case kind != 0 && a.over && a.backlog.left > 0:
			return nil, false, a.log.journal.Damaged(journal.ErrUnfit)
		case kind != 0 && a.over:
			return nil, false, nil
		}
		if err := a.restore(ctx); err != nil {
			return nil, false, err
		}
		n, _ := slices.BinarySearchFunc(a.pending, a.safe(), func(c candidate, safe float64) int {
			return cmp.Compare(c.ranked, safe)
		})
		if n = min(n, most); a.over && n == 0 {
			n = min(len(a.pending), most)
		}
		if n > 0 || a.over {
			batch := a.pending[:n]
			a.pending = a.pending[n:]
			return batch, n > 0, nil
		}
		if a.safe() > a.lengthMost+a.reliefAdded() {
			return nil, false, nil
		}
		if a.effortMax > 0 && a.effort > a.effortMax || a.heldStop > 0 && a.stream.size() > a.heldStop {
			a.stopped = true
			return nil, false, nil
		}
		if err := a.advance(ctx); err != nil {
			return nil, false, err
		}
		a.report("search")
	}
}

// restore puts the designs in hand that the journal accounts for, once it has been
// replayed to its end.
func (a *exactSearch) restore(ctx context.Context) error {
	if !a.backlog.owed || a.log.replaying() {
		return nil
	}
	defer a.clock("search")()
	start := time.Now()
	left, err := a.backlog.restore(ctx, a.lib, func(ctx context.Context, lo, hi float64) ([]candidate, error) {
		w, err := a.examine(ctx, lo, hi, math.MaxInt)
		return w.candidates, err
	})
	if errors.Is(err, journal.ErrUnfit) {
		err = a.log.journal.Damaged(err)
	}
	if err != nil {
		return err
	}
	a.pending, a.backlog.owed = left, false
	a.log.events.Info("searched again", "point", a.log.point, "windows", len(a.backlog.windows), "designs", len(left), "seconds", time.Since(start).Seconds())
	return nil
}

// taking is what a walk did with a batch: it took so many of its designs, all
// but in the last batch, where something ended it.
type taking struct {
	taken int
	ended bool
}

// takeUnit is a unit that takes designs off a walk. carry does with the batch, which
// [exactSearch.next] has given, what is to be done. The record holds how far the
// walk came, and what record adds. Where the unit is replayed there is no batch:
// what record has kept is all there is.
func (a *exactSearch) takeUnit(ctx context.Context, kind byte, batch []candidate, carry func(context.Context) (taking, error),
	record func(*encoder), replay func(*decoder) error,
) (took taking, spent time.Duration, err error) {
	reached, next, replayed := math.Inf(-1), math.Inf(1), a.log.replaying()
	spent, err = a.log.unit(ctx, kind, func(ctx context.Context) (err error) {
		took, err = carry(ctx)
		if took.taken > 0 {
			reached = batch[took.taken-1].ranked
		}
		if took.taken < len(batch) {
			next = batch[took.taken].ranked
		} else if len(a.pending) > 0 {
			next = a.pending[0].ranked
		}
		return err
	}, func(e *encoder) {
		e.taking(took, a.lo, reached, next)
		record(e)
	}, func(d *decoder) error {
		took, reached, next = d.taking(a.lo)
		if d.Failed() || took.taken > a.backlog.left {
			return journal.ErrUnfit
		}
		return replay(d)
	})
	if err != nil {
		took = taking{}
	} else {
		a.backlog.take(took.taken, reached, next)
		a.backlog.owed = replayed
	}
	if took.taken < len(batch) {
		a.pending = slices.Concat(batch[took.taken:], a.pending)
	}
	return took, spent, err
}

// taking writes what was taken, in a walk that has come to lo, up to which ranked
// length, and that of the first design left.
func (e *encoder) taking(t taking, lo, reached, next float64) {
	e.Uvarint(t.taken)
	e.Flag(t.ended)
	if t.taken > 0 {
		e.Millimetres(reached, lo)
	}
	e.Millimetres(next, reached)
}

func (d *decoder) taking(lo float64) (t taking, reached, next float64) {
	t.taken, t.ended = d.Uvarint(), d.Flag()
	reached = math.Inf(-1)
	if t.taken > 0 {
		reached = d.Millimetres(lo)
	}
	return t, reached, d.Millimetres(reached)
}
