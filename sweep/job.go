package sweep

import (
	"context"
	"runtime"
	"time"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// Job is a spec with the catalogs that it names, all read and found sound.
type Job struct {
	Spec    *Spec
	Catalog *catalog.Catalog
	Points  []Point
}

// Open reads a spec and its catalogs. What is wrong in them comes as one
// [catalog.Faults].
func Open(path string) (*Job, error) {
	spec, err := ReadSpec(path)
	if err != nil {
		return nil, err
	}
	return openTables(spec, spec.LensFiles(), spec.GlassFiles())
}

// PointOutcome is a sweep point with what its search brought.
type PointOutcome struct {
	Point   Point
	Problem *objective.Problem
	Lenses  int // in use, after the spec's filters
	Outcome
}

// Workers is how many goroutines a run uses.
func (j *Job) Workers() int {
	if j.Spec.Job.Workers > 0 {
		return j.Spec.Job.Workers
	}
	return runtime.GOMAXPROCS(0)
}

// Run searches every sweep point in order. progress may be nil; it is called
// from one goroutine at a time.
func (j *Job) Run(ctx context.Context, progress Progress) ([]PointOutcome, error) {
	outcomes := make([]PointOutcome, 0, len(j.Points))
	for _, point := range j.Points {
		p := point.Spec.Problem()
		lib := j.library(point.Spec, p)
		o := j.options(point.Spec)
		o.progress = func(s Status) {
			if progress != nil {
				s.Point, s.Points = point.Index, len(j.Points)
				progress(s)
			}
		}
		out, err := searchPoint(ctx, point.Spec, lib, o)
		if err != nil {
			return outcomes, err
		}
		outcomes = append(outcomes, PointOutcome{point, p, len(lib.Lenses), *out})
	}
	return outcomes, nil
}

// library is the catalog's lenses that a point's spec leaves, prepared for its
// problem.
func (j *Job) library(spec *Spec, p *objective.Problem) *objective.Library {
	lenses := spec.CatalogFilter().Apply(j.Catalog.Lenses, p.WavelengthsNM[p.Reference()])
	return objective.NewLibrary(p, lenses)
}

func (j *Job) options(spec *Spec) options {
	o := options{
		top: spec.Job.Top, checksMax: int64(spec.Search.ChecksMax), workers: j.Workers(),
		onePerParts: spec.Search.OnePer == "parts", lensesPerGroup: spec.Train.LensesPerGroup,
		spaces: spec.spaces(),
	}
	if spec.Search.RankBy == "length_to_eye_mm" {
		o.by = objective.ByLengthToEye
	}
	return o
}

// spaces are the layouts and seats that the spec asks for.
func (s *Spec) spaces() []objective.Space {
	var spaces []objective.Space
	for _, layout := range s.Train.Layouts {
		for _, seat := range s.Seats(layout) {
			spaces = append(spaces, objective.Space{Layout: layout, Seat: seat})
		}
	}
	return spaces
}

// searchPoint searches one point and, when nothing passes although everything
// was looked at, how far the point is from something that would.
func searchPoint(ctx context.Context, spec *Spec, lib *objective.Library, o options) (*Outcome, error) {
	a, err := newAscent(ctx, lib, o)
	if err != nil {
		return nil, err
	}
	out, err := a.run(ctx)
	if err != nil {
		return nil, err
	}
	if len(out.Found) == 0 && out.Proof.Exact {
		start := time.Now()
		out.Proof.WouldFit, err = wouldFit(ctx, spec, lib, o)
		out.Proof.Seconds["would_fit"] = time.Since(start).Seconds()
	}
	return out, err
}
