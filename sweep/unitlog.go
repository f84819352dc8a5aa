package sweep

import (
	"context"
	"log/slog"
	"time"

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

// replaying reports whether the next unit comes from the journal.
func (l *unitLog) replaying() bool { return l != nil && l.replay.Left() > 0 }

// logStatus logs now and then how a point stands.
func (l *unitLog) logStatus(s Status) {
	if l == nil || l.replaying() || time.Since(l.logged) < pointEvents {
		return
	}
	l.logged = time.Now()
	l.events.Info("status", "point", l.point, "units", l.done, "examined", s.Examined, "checked", s.Checked,
		"passed", s.Passed, "proven_mm", s.ProvenMM)
}
