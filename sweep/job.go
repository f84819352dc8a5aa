package sweep

import (
	"context"
	"errors"
	"log/slog"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/ideal"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
	"relaysweep/sweep/spec"
)

// Job is a spec with the catalogs that it names, all read and found sound.
type Job struct {
	Spec    *spec.Spec
	Catalog *catalog.Catalog
	Points  []spec.Point
	beat    beatOptions
	// boxesAfter and held are those of the options.
	boxesAfter int64
	held       int
}

// Open reads a spec and its catalogs. What is wrong in them comes as one
// [catalog.Faults]. When ctx ends before, its error comes at once: nothing ends a
// read of a pipe into which nobody writes, or of a drive that is gone, so that it
// is left to itself.
func Open(ctx context.Context, path string) (*Job, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var job *Job
	read := make(chan error, 1)
	go func() {
		var err error
		job, err = open(path)
		read <- err
	}()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case err := <-read:
		return job, err
	}
}

func open(path string) (*Job, error) {
	s, err := spec.Read(path)
	if err != nil {
		return nil, err
	}
	faults := s.CheckOutput()
	job, err := openTables(s, s.LensFiles(), s.GlassFiles(), s.OwnedFile())
	var more catalog.Faults
	if err != nil && !errors.As(err, &more) {
		return nil, err
	}
	if err := append(faults, more...).Err(); err != nil {
		return nil, err
	}
	return job, nil
}

// Doubts are what does not keep the job from being run, but is probably not what was
// meant, see [spec.Spec.Doubts].
func (j *Job) Doubts() []catalog.Fault { return j.Spec.Doubts(j.Catalog.Lenses) }

// PointOutcome is a sweep point with what its search brought.
type PointOutcome struct {
	Point   spec.Point
	Problem *objective.Problem
	Lenses  int // in use, after the spec's filters
	// Ideal is nil for a part of the job, an unfinished run, or no lens.
	Ideal *ideal.Limit
	Outcome
}

// Workers is how many goroutines a run uses.
func (j *Job) Workers() int {
	if j.Spec.Job.Workers > 0 {
		return j.Spec.Job.Workers
	}
	return runtime.GOMAXPROCS(0)
}

// Attempt is what a run reports to and keeps its work in.
type Attempt struct {
	// Journal is where finished units are kept and earlier ones found. It also
	// tells of which part of the job the run is.
	Journal  *Journal
	Part     Part
	Progress Progress     // may be nil; called from one goroutine
	Events   *slog.Logger // may be nil
}

// Run searches the sweep points of its part in order. When ctx ends, the unit
// in hand is finished, within some seconds, and kept in the journal. With an
// error come the outcomes up to then, that of the point in hand among them as
// far as it was known.
func (j *Job) Run(ctx context.Context, at Attempt) ([]PointOutcome, error) {
	if at.Events == nil {
		at.Events = slog.New(slog.DiscardHandler)
	}
	work, done := outlive(ctx)
	defer done()
	byPoints := at.Part.byPoints(len(j.Points))
	points := j.PointsOf(at.Part)
	var outcomes []PointOutcome
	for i, point := range points {
		run := &pointRun{job: j, at: at, point: point, place: i, places: len(points), work: work}
		o := j.options(point.Spec)
		if !byPoints {
			o.part = at.Part
		}
		out, err := run.search(ctx, o)
		if out != nil {
			outcomes = append(outcomes, *out)
		}
		if err != nil {
			return outcomes, err
		}
	}
	if at.Part.Whole() {
		if err := j.addIdeals(ctx, at.Journal, outcomes, at.Progress); err != nil {
			return outcomes, err
		}
	}
	if at.Journal != nil && !at.Part.Whole() && !at.Journal.ended() {
		if err := at.Journal.Append(journal.Record{Kind: recordEnd}); err != nil {
			return outcomes, err
		}
	}
	if at.Journal != nil {
		return outcomes, at.Journal.Sync()
	}
	return outcomes, nil
}

// PointsOf are the sweep points at which a part of the job has something to do.
func (j *Job) PointsOf(part Part) []spec.Point {
	if !part.byPoints(len(j.Points)) {
		return j.Points
	}
	var points []spec.Point
	for _, p := range j.Points {
		if part.takesPoint(p.Index) {
			points = append(points, p)
		}
	}
	return points
}

// pointRun is one sweep point's part of a run.
type pointRun struct {
	job   *Job
	at    Attempt
	point spec.Point
	// place is the point's among those of the run, of which there are places.
	place, places int
	work          context.Context
}

func (r *pointRun) search(ctx context.Context, o options) (*PointOutcome, error) {
	s, index := r.point.Spec, r.point.Index
	p := s.Problem()
	lib := r.job.library(s, p)
	outcome := func(out *Outcome) *PointOutcome {
		if out == nil {
			return nil
		}
		return &PointOutcome{Point: r.point, Problem: p, Lenses: len(lib.Lenses), Outcome: *out}
	}
	o.progress = func(s Status) {
		if r.at.Progress != nil {
			s.Point, s.Points = r.place, r.places
			r.at.Progress(s)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if s.Train.Given != "" { // a matter of seconds: it is not kept
		out, err := r.job.measureGiven(ctx, s, p, o)
		return outcome(out), err
	}
	if r.at.Journal == nil {
		out, err := searchPoint(ctx, s, lib, o)
		return outcome(out), err
	}
	kept, done := r.at.Journal.Kept(recordPoint, index)
	units := r.at.Journal.Units(index)
	o.progress(Status{Stage: StageStacks, Replayed: units.Left() > 0 || done, Wanted: o.top, ChecksMax: o.checksMax})
	if done {
		out, err := readOutcome(r.work, lib, o, kept)
		if err != nil && r.work.Err() == nil {
			err = r.at.Journal.Damaged(err)
		}
		if err != nil { // designs without a report are of no use
			return nil, err
		}
		return outcome(out), nil
	}
	events := r.at.Events
	events.Info("point", "point", index, "points", len(r.job.Points), "lenses", len(lib.Lenses), "units_kept", units.Left())
	start := time.Now()
	o.log = &unitLog{
		journal: r.at.Journal, point: index, stop: ctx, work: r.work,
		replay: units, events: events, logged: start,
	}
	out, err := searchPoint(ctx, s, lib, o)
	if err != nil {
		return outcome(out), err
	}
	e := &encoder{}
	e.outcome(out)
	events.Info("point done", "point", index, "units", o.log.done, "examined", out.Proof.Examined, "checked", out.Proof.Checked,
		"passed", out.Proof.Passed, "seconds", time.Since(start).Seconds())
	return outcome(out), r.at.Journal.Append(journal.Record{Kind: recordPoint, Point: index, Body: e.Bytes()})
}

// readOutcome reads a finished point's record and makes the reports of what
// was found again.
func readOutcome(ctx context.Context, lib *objective.Library, o options, body []byte) (*Outcome, error) {
	d := decode(body)
	out := d.outcome(lib)
	if err := d.End(); err != nil {
		return nil, err
	}
	return out, report(ctx, lib, o, out.Found)
}

// report solves and measures designs of which is known that they pass.
func report(ctx context.Context, lib *objective.Library, o options, found []Found) error {
	group, ctx := errgroup.WithContext(ctx)
	for first := range o.workers {
		group.Go(func() error {
			checker := raycheck.NewChecker(lib.Problem)
			var refiner *raycheck.Refiner
			for i := first; i < len(found); i += o.workers {
				if err := ctx.Err(); err != nil {
					return err
				}
				f := &found[i]
				if f.moved != nil {
					if refiner == nil {
						refiner = raycheck.NewRefiner(lib.Problem, o.by)
					}
					if err := f.again(refiner, lib, o.by); err != nil {
						return err
					}
					continue
				}
				var err error
				if f.Train, err = f.design.solve(lib); err != nil {
					return err
				}
				f.Report = checker.Check(f.Train).Clone()
				if f.Report.FailedBy != "" {
					return journal.ErrUnfit
				}
			}
			return nil
		})
	}
	return group.Wait()
}

// library is the catalog's lenses that a point's spec leaves, prepared for its
// problem.
func (j *Job) library(s *spec.Spec, p *objective.Problem) *objective.Library {
	return objective.NewLibrary(p, j.inUse(s, p))
}

// inUse are the catalog's lenses that a point's spec leaves, and that may stand in some
// slot of its layouts.
func (j *Job) inUse(s *spec.Spec, p *objective.Problem) []*catalog.Lens {
	var slots objective.Slots
	for _, space := range s.Spaces() {
		for _, slot := range space.Layout.SlotsOf() {
			slots |= slot
		}
	}
	lenses := s.CatalogFilter().Apply(j.Catalog.Lenses, p.WavelengthsNM[p.Reference()])
	return slices.DeleteFunc(lenses, func(l *catalog.Lens) bool { return p.SlotsFor(l.Part)&slots == 0 })
}

// groupBytes is what a group that is held takes of the memory that a spec allows:
// some 200 bytes with its share of the trees, more for one of a pair relay, and as
// much again for what the collector of garbage has not got round to.
const groupBytes = 500

func (j *Job) options(s *spec.Spec) options {
	o := options{
		top: s.Job.Top, checksMax: int64(s.Search.ChecksMax), workers: j.Workers(),
		onePerParts: s.Search.OnePer == "parts", lensesPerGroup: s.Train.LensesPerGroup,
		spaces: s.Spaces(), heldMost: int(s.Job.MemoryGB * 1e9 / groupBytes), listing: seldom, boxesAfter: j.boxesAfter, held: j.held,
		refine: refineOptions{
			method: s.Refine.Method, candidates: s.Refine.Candidates, audit: s.Refine.Audit, seed: s.Job.Seed, beat: j.beat,
			thirdOrder: s.Search.ThirdOrder,
		},
		optimize: optimizeOptions{
			wanted: s.Search.Method == spec.SearchOptimize, seed: s.Job.Seed,
			evaluations: int64(s.Search.EvaluationsMax), stall: int64(s.Search.StallEvaluations),
			farFactor: s.Search.ThirdOrder,
		},
		built: buildOptionsOf(s),
	}
	if o.refine.wanted() {
		o.optimize.nearFactor = s.Search.ThirdOrder * s.Refine.NearMissFactor
	}
	if s.Job.MemoryGB > 0 {
		o.heldMost = max(o.heldMost, 1)
	}
	if s.Search.RankBy == "length_to_eye_mm" {
		o.by = objective.ByLengthToEye
	}
	return o
}

// searchPoint searches one point, with refinement where that is asked for, and finds, when
// nothing passes although everything was looked at, how far the point is from something
// that would, at its paraxial gaps.
func searchPoint(ctx context.Context, s *spec.Spec, lib *objective.Library, o options) (*Outcome, error) {
	if o.optimize.wanted {
		return optimizePoint(ctx, lib, o)
	}
	a, err := newExactSearch(ctx, lib, o)
	if err != nil {
		return nil, err
	}
	var out *Outcome
	if o.refine.wanted() {
		out, err = newRefineWalk(a).run(ctx)
	} else {
		out, err = a.run(ctx)
	}
	if err != nil {
		return out, err
	}
	// What would fit is about designs without errors: where these pass, it has no answer.
	if len(out.Found) == 0 && out.Proof.Exact && out.Proof.Failed[yieldLimit] == nil {
		start := time.Now()
		out.Proof.WouldFit, err = wouldFit(ctx, s, unrefined(lib), o, &out.Proof)
		out.Proof.Seconds["would_fit"] = time.Since(start).Seconds()
	}
	return out, err
}

// Interrupted reports whether a run's error is that it was asked to stop.
func Interrupted(err error) bool { return errors.Is(err, context.Canceled) }
