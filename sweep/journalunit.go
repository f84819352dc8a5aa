package sweep

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"slices"
	"time"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
)

// grace is how long the unit in hand may go on when a run is interrupted.
// After that it is given up, and done again by the next attempt.
const grace = 10 * time.Second

// outlive is a context that ends the grace after ctx does.
func outlive(ctx context.Context) (context.Context, context.CancelFunc) {
	work, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		timer := time.AfterFunc(grace, cancel)
		context.AfterFunc(work, func() { timer.Stop() })
	})
	return work, func() {
		stop()
		cancel()
	}
}

// unitLog takes the units of one sweep point in their order: those that the
// journal holds are replayed, the others carried out and appended to it. A nil
// one carries out all and keeps nothing.
type unitLog struct {
	journal *Journal
	point   int
	stop    context.Context // ends when no further unit is to be begun
	work    context.Context // of the units, see outlive
	replay  *journal.Units
	events  *slog.Logger
	logged  time.Time // when the status was
	done    int       // units, the replayed ones among them
}

// unit does the next unit. carry does it and returns what record is to keep;
// replay does what a record tells. It returns the time that a replayed unit
// took when it was carried out.
func (l *unitLog) unit(ctx context.Context, kind byte, carry func(context.Context) error,
	record func(*encoder), replay func(*decoder) error,
) (time.Duration, error) {
	if l == nil {
		return 0, carry(ctx)
	}
	if err := l.stop.Err(); err != nil {
		return 0, err
	}
	l.done++
	recorded, err := l.replay.Next()
	if err != nil {
		return 0, err
	}
	if recorded != nil {
		d := decode(recorded.Body)
		spent := d.Time()
		if recorded.Kind != kind || recorded.Point != l.point {
			d.Fail()
		}
		err := replay(d)
		if err == nil {
			err = d.End()
		}
		if err != nil {
			err = l.journal.Damaged(err)
		}
		return spent, err
	}
	start := time.Now()
	if err := carry(l.work); err != nil {
		return 0, err
	}
	e := &encoder{}
	e.Time(time.Since(start))
	record(e)
	return 0, l.journal.Append(journal.Record{Kind: kind, Point: l.point, Body: e.Bytes()})
}

// kind is the kind of the next unit where that comes from the journal, otherwise 0.
func (l *unitLog) kind() (byte, error) {
	if l == nil {
		return 0, nil
	}
	return l.replay.Peek()
}

// replaying tells whether the next unit comes from the journal.
func (l *unitLog) replaying() bool { return l != nil && l.replay.Left() > 0 }

// A window that took longer than windowEvent is logged, and how a point stands
// every pointEvents.
const (
	windowEvent = time.Second
	pointEvents = 30 * time.Second
)

// leastUnit finds the length to start from as a unit.
func (a *ascent) leastUnit(ctx context.Context) (least float64, err error) {
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

// examineUnit examines the window of lengths up to hi as a unit, and takes what it
// brings into pending and backlog. The designs are not recorded: where the unit is
// replayed, the backlog accounts for them.
func (a *ascent) examineUnit(ctx context.Context, hi float64, most int) (examined, error) {
	var w examined
	var part backlogPart
	var pending, listed []candidate
	list, replayed := false, a.log.replaying()
	start := time.Now()
	spent, err := a.log.unit(ctx, recordWindow, func(ctx context.Context) (err error) {
		w, err = a.examine(ctx, a.lo, hi, most)
		w.sample = a.draw(w.sample)
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
		for _, n := range w.failed {
			e.Int64(n)
		}
		if a.turned != nil {
			e.Int64(w.blurred)
			e.designs(w.sample)
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
		for i := range w.failed {
			w.failed[i] = d.Int64()
		}
		if a.turned != nil {
			w.blurred, w.sample = d.Int64(), a.draw(d.designs(a.lib))
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
		return a.source.reach(ctx, hi)
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
func (a *ascent) draw(sample []candidate) []candidate {
	if a.turned == nil {
		return nil
	}
	sortCandidates(sample, a.lib)
	return a.turned.offer(sample)
}

// restore puts the designs in hand that the journal accounts for, once it has been
// replayed to its end.
func (a *ascent) restore(ctx context.Context) error {
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
// [ascent.next] has given, what is to be done. The record holds how far the
// walk came, and what record adds. Where the unit is replayed there is no batch:
// what record has kept is all there is.
func (a *ascent) takeUnit(ctx context.Context, kind byte, batch []candidate, carry func(context.Context) (taking, error),
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
func (a *ascent) checkUnit(ctx context.Context, checkers chan *raycheck.Checker, batch []candidate, reports bool,
	judge func(batch []candidate, verdicts []string) judged,
) (judged, error) {
	var j judged
	var verdicts []string
	took, spent, err := a.takeUnit(ctx, recordChecks, batch, func(ctx context.Context) (taking, error) {
		trains, checked, err := a.check(ctx, checkers, batch)
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
		j.trains, j.reports, err = a.check(ctx, checkers, j.passed)
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

// checked writes designs that were checked and by what each was turned away.
func (e *encoder) checked(designs []candidate, verdicts []string) {
	e.designs(designs)
	e.verdicts(verdicts)
}

func (d *decoder) checked(lib *objective.Library) (designs []candidate, verdicts []string) {
	designs = d.designs(lib)
	return designs, d.verdicts(len(designs))
}

// logStatus logs now and then how a point stands.
func (l *unitLog) logStatus(s Status) {
	if l == nil || l.replaying() || time.Since(l.logged) < pointEvents {
		return
	}
	l.logged = time.Now()
	l.events.Info("status", "point", l.point, "units", l.done, "examined", s.Examined, "checked", s.Checked,
		"passed", s.Passed, "proven_mm", s.ProvenMM)
}
