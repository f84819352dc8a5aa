package sweep

import (
	"context"
	"log/slog"
	"time"

	"relaysweep/objective"
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
	replay  *unitReader
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
	payload, err := l.replay.next()
	if err != nil {
		return 0, err
	}
	if payload != nil {
		d := &decoder{rest: payload[1:]}
		point, spent := d.uvarint(), d.time()
		if payload[0] != kind || point != l.point {
			d.fail()
		}
		err := replay(d)
		if err == nil {
			err = d.end()
		}
		if err != nil {
			err = &DamagedJournalError{l.journal.path, err}
		}
		return spent, err
	}
	start := time.Now()
	if err := carry(l.work); err != nil {
		return 0, err
	}
	e := &encoder{out: []byte{kind}}
	e.uvarint(l.point)
	e.time(time.Since(start))
	record(e)
	return 0, l.journal.append(e.out)
}

// replaying tells whether the next unit comes from the journal.
func (l *unitLog) replaying() bool { return l != nil && l.replay.left > 0 }

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
	}, func(e *encoder) { e.float(least) }, func(d *decoder) error {
		least = d.float()
		return d.end()
	})
	a.proof.Seconds["search"] += spent.Seconds()
	return least, err
}

// examined is what one window of lengths brought.
type examined struct {
	window
	ok     bool // the window was not given up
	effort int64
}

// examineUnit examines the window of lengths up to hi as a unit.
func (a *ascent) examineUnit(ctx context.Context, hi float64, most int) (examined, error) {
	var w examined
	start := time.Now()
	replayed := a.log.replaying()
	spent, err := a.log.unit(ctx, recordWindow, func(ctx context.Context) (err error) {
		w, err = a.examine(ctx, hi, most)
		return err
	}, func(e *encoder) {
		e.float(a.lo)
		e.float(hi)
		e.flag(w.ok)
		e.int64(w.effort)
		e.int64(w.examined)
		e.int64(w.noGap)
		for _, n := range w.failed {
			e.int64(n)
		}
		e.uvarint(len(w.candidates))
		for _, c := range w.candidates {
			e.design(&c)
		}
	}, func(d *decoder) error {
		if d.float() != a.lo || d.float() != hi {
			return errDamaged
		}
		w.ok, w.effort, w.examined = d.flag(), d.int64(), d.int64()
		w.noGap = d.int64()
		for i := range w.failed {
			w.failed[i] = d.int64()
		}
		for range d.length() {
			w.candidates = append(w.candidates, d.design(a.lib))
		}
		return d.end()
	})
	a.proof.Seconds["search"] += spent.Seconds()
	if took := time.Since(start); err == nil && a.log != nil && !replayed && took > windowEvent {
		a.log.events.Info("window", "point", a.log.point, "from_mm", a.lo, "to_mm", hi, "examined", w.examined,
			"candidates", len(w.candidates), "given_up", !w.ok, "seconds", took.Seconds())
	}
	return w, err
}

// checkUnit checks a batch as a unit. A design that passed is checked again
// when the unit is replayed, for its report.
func (a *ascent) checkUnit(ctx context.Context, checkers chan *objective.Checker, batch []candidate) (trains []*objective.Train, reports []*objective.Report, err error) {
	spent, err := a.log.unit(ctx, recordChecks, func(ctx context.Context) (err error) {
		trains, reports, err = a.check(ctx, checkers, batch)
		return err
	}, func(e *encoder) {
		a.recordChecks(e, batch, reports)
	}, func(d *decoder) error {
		failed, err := replayChecks(d, batch, a.part)
		if err != nil {
			return err
		}
		trains, reports, err = a.recheck(ctx, checkers, batch, failed)
		return err
	})
	a.proof.Seconds["check"] += spent.Seconds()
	return trains, reports, err
}

// recordChecks keeps under which name each design of a batch failed, the empty
// one for those that passed; in a part of a point the designs as well, for the
// merge.
func (a *ascent) recordChecks(e *encoder, batch []candidate, reports []*objective.Report) {
	var names []string
	places := map[string]int{}
	for _, r := range reports {
		if _, known := places[r.FailedBy]; !known {
			places[r.FailedBy] = len(names)
			names = append(names, r.FailedBy)
		}
	}
	e.uvarint(len(names))
	for _, name := range names {
		e.text(name)
	}
	e.uvarint(len(batch))
	e.float(batch[0].ranked)
	for i, c := range batch {
		e.uvarint(places[reports[i].FailedBy])
		if !a.part.Whole() {
			e.design(&c)
		}
	}
}

// checkNames reads the beginning of a record of checks: the names, and how
// many designs follow.
func checkNames(d *decoder) (names []string, designs int, first float64) {
	for range d.length() {
		names = append(names, d.text())
	}
	designs = d.length()
	return names, designs, d.float()
}

// checkName reads which of the names a design has.
func checkName(d *decoder, names []string) string {
	i := d.uvarint()
	if i >= len(names) {
		d.fail()
		return ""
	}
	return names[i]
}

// replayChecks reads under which names the designs of a batch failed.
func replayChecks(d *decoder, batch []candidate, part Part) ([]string, error) {
	names, designs, first := checkNames(d)
	if d.bad || designs != len(batch) || first != batch[0].ranked {
		return nil, errDamaged
	}
	failed := make([]string, designs)
	for i, c := range batch {
		failed[i] = checkName(d, names)
		if part.Whole() {
			continue
		}
		e := &encoder{}
		e.design(&c)
		if len(d.rest) < len(e.out) || string(d.rest[:len(e.out)]) != string(e.out) {
			return nil, errDamaged
		}
		d.rest = d.rest[len(e.out):]
	}
	return failed, d.end()
}

// recheck is check for a batch of which is known what fails: only those that
// passed have trains.
func (a *ascent) recheck(ctx context.Context, checkers chan *objective.Checker, batch []candidate, failed []string) ([]*objective.Train, []*objective.Report, error) {
	var passed []candidate
	for i, name := range failed {
		if name == "" {
			passed = append(passed, batch[i])
		}
	}
	solved, again, err := a.check(ctx, checkers, passed)
	if err != nil {
		return nil, nil, err
	}
	trains, reports := make([]*objective.Train, len(batch)), make([]*objective.Report, len(batch))
	for i, name := range failed {
		if name != "" {
			reports[i] = &objective.Report{FailedBy: name}
			continue
		}
		if again[0].FailedBy != "" {
			return nil, nil, errDamaged
		}
		trains[i], reports[i] = solved[0], again[0]
		solved, again = solved[1:], again[1:]
	}
	return trains, reports, nil
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
