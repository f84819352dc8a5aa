package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"github.com/spf13/cobra"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/spec"
)

// finishedRun is an output folder opened again: the results, and the job that
// they came from, read from its copy.
type finishedRun struct {
	folder    string
	manifest  *results.Manifest
	designs   []results.Design
	axes      []results.Axis
	setpoints []results.Setpoint
	job       *sweep.Job
}

// doAgain tells what to do about results that are not whole.
const doAgain = "\n    relaysweep run --restart SPEC does the job again"

// openResults reads the results of a run, and holds them against their digests.
func openResults(folder string) (*finishedRun, error) {
	path := filepath.Join(folder, manifestFile)
	for {
		before, errBefore := os.Stat(path)
		r, err := readResults(folder)
		if err == nil {
			return r, nil
		}
		// A run that ends meanwhile replaces what is being read.
		after, errAfter := os.Stat(path)
		if errBefore != nil || errAfter != nil || os.SameFile(before, after) {
			return nil, err
		}
	}
}

func readResults(folder string) (*finishedRun, error) {
	r := &finishedRun{folder: folder}
	var err error
	if r.manifest, err = results.ReadManifest(filepath.Join(folder, manifestFile)); err != nil {
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
			return nil, missingResults(folder, err)
		}
		return nil, fmt.Errorf("%w%s", err, doAgain)
	}
	ranked, err := locate(folder, placed{rankedFile, r.manifest.RankedSHA256})
	if err != nil {
		return nil, fmt.Errorf("%w%s", err, doAgain)
	}
	setpoints, err := locate(folder, placed{setpointsFile, r.manifest.SetpointsSHA256})
	if err != nil {
		return nil, fmt.Errorf("%w%s", err, doAgain)
	}
	if r.designs, r.axes, err = results.ReadRanked(ranked); err != nil {
		return nil, err
	}
	if r.setpoints, err = results.ReadSetpoints(setpoints); err != nil {
		return nil, err
	}
	for i := range r.designs {
		if d := &r.designs[i]; d.Point < 0 || d.Point >= len(r.manifest.Points) {
			return nil, fmt.Errorf("%s: has a design of point %d, which %s does not have%s", ranked, d.Point, manifestFile, doAgain)
		}
	}
	return r, nil
}

// openRun reads the results of a run and the copies of its inputs, and holds
// these against the digests in the manifest.
func openRun(folder string) (*finishedRun, error) {
	r, err := openResults(folder)
	if err != nil {
		return nil, err
	}
	return r, r.openInputs()
}

// openInputs reads the job of a run from the copies of its inputs.
func (r *finishedRun) openInputs() error {
	inputs := filepath.Join(r.folder, inputsFolder)
	const again = "\n    run the job again by --restart: it writes the copies anew"
	paths := map[string]string{}
	for _, f := range copiesOf(r.manifest) {
		path, err := locate(r.folder, f)
		if err != nil {
			return fmt.Errorf("%w%s", err, again)
		}
		paths[filepath.Base(f.name)] = path
	}
	job, err := sweep.OpenInputs(func(name string) string {
		return cmp.Or(paths[name], filepath.Join(inputs, name))
	})
	if err != nil {
		// Faults would say that the user's own spec is wrong.
		return fmt.Errorf("%s: the copies of the run's inputs are missing or damaged: %v%s", inputs, err, again)
	}
	// An unfinished run has the points that it came to.
	points := len(r.manifest.Points)
	if len(job.Inputs()) != len(paths) || points > len(job.Points) || r.manifest.Complete && points < len(job.Points) {
		return fmt.Errorf("%s: does not hold the files that the run was made from%s", inputs, again)
	}
	r.job = job
	return nil
}

// find is the design of a rank at a sweep point.
func (r *finishedRun) find(point, rank int) (*results.Design, error) {
	if err := r.knowsPoint(point); err != nil {
		return nil, err
	}
	for i := range r.designs {
		if d := &r.designs[i]; d.Point == point && d.Rank == rank {
			return d, nil
		}
	}
	return nil, noRank(point, rank, designsAt(r.designs, point))
}

// designsAt is how many designs a sweep point has.
func designsAt(designs []results.Design, point int) (n int) {
	for i := range designs {
		if designs[i].Point == point {
			n++
		}
	}
	return n
}

// knowsPoint refuses a sweep point that the run does not have.
func (r *finishedRun) knowsPoint(point int) error {
	if point < 0 || point >= len(r.manifest.Points) {
		return noPoint(point, len(r.manifest.Points))
	}
	return nil
}

// setpointsOf is the stage table of a design, far to near.
func (r *finishedRun) setpointsOf(d *results.Design) []results.Setpoint {
	var rows []results.Setpoint
	for _, s := range r.setpoints {
		if s.Point == d.Point && s.Rank == d.Rank && s.DesignID == d.DesignID {
			rows = append(rows, s)
		}
	}
	return rows
}

// reopened is a design laid out again from its row: lenses from the catalog's
// copy, gaps and eye relief from the row, refined ones too.
type reopened struct {
	problem *objective.Problem
	train   *objective.Train
	design  *results.Design
	stages  [][]results.Setpoint // the stage table of each mask, in the order of its [results.Design.Masks]
	rows    []results.Setpoint   // both, as they stand in the file
	// ranked is the digest of the ranked.parquet that it stands in, and tolerances what
	// its spec says of them.
	ranked     string
	tolerances spec.ToleranceSection
	// doubt is empty where the train traces as the row says, else how it
	// differs.
	doubt string
}

// reopenRank reopens the design of a rank in an output folder, and prints to
// stderr what there is to warn of.
func reopenRank(cmd *cobra.Command, folder string, point, rank int) (*reopened, error) {
	var madeBy string
	b, err := untilInterrupted(cmd.Context(), func() (*reopened, error) {
		run, err := openRun(folder)
		if err != nil {
			return nil, err
		}
		madeBy = run.manifest.Version
		d, err := run.find(point, rank)
		if err != nil {
			return nil, err
		}
		return run.reopen(d)
	})
	if err != nil {
		return nil, err
	}
	if w := b.warning(madeBy); w != "" {
		fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", w)
	}
	return b, nil
}

// retraceTolerance is by how much in mm a setpoint that is traced again may
// differ from the row before that is said: the step in which lengths are
// compared, a hundredth of what any stage resolves.
const retraceTolerance = 1e-6

// reopen lays out a design again and traces it.
func (r *finishedRun) reopen(d *results.Design) (*reopened, error) {
	p := r.job.Points[d.Point].Spec.Problem()
	fault := func(format string, args ...any) error {
		return fmt.Errorf("%s: point %d, rank %d: %s", filepath.Join(r.folder, rankedFile), d.Point, d.Rank, fmt.Sprintf(format, args...))
	}
	space, ok := spaceOf(d)
	if !ok {
		return nil, fault("no layout is called %s with its mask at the %s seat", d.Layout, d.Seat)
	}
	names := space.Layout.GroupNames()
	lib := r.job.LibraryOf(p, partsIn(d))
	elements, stackGaps := make([][]*objective.Element, len(names)), make([][]float64, len(names))
	var gaps []float64
	group := 0
	for i, l := range d.Lenses {
		if i > 0 && l.Position == 1 {
			group++
			gaps = append(gaps, d.Lenses[i-1].GapAfterMM)
		} else if i > 0 {
			stackGaps[group] = append(stackGaps[group], d.Lenses[i-1].GapAfterMM)
		}
		if group >= len(names) || names[group] != l.Group || l.Position != len(elements[group])+1 {
			return nil, fault("lens %d stands as number %d of the %s, where the layout %s has no such place", i+1, l.Position, l.Group, d.Layout)
		}
		e := lib.ElementOf(l.Part, l.Reversed)
		if e == nil {
			return nil, fault("the part %s is not in the tables, or not this way round", l.Part)
		}
		elements[group] = append(elements[group], e)
	}
	if group != len(names)-1 {
		return nil, fault("has %d groups, where the layout %s has %d", group+1, d.Layout, len(names))
	}
	t := p.TrainAt(space, elements, stackGaps, gaps, d.EyeReliefMM)
	given := r.manifest.Points[d.Point].Given
	t.Refined = d.Refined || given != nil && given.Gaps == string(spec.AtGaps)
	b := &reopened{
		problem: p, train: t, design: d, rows: r.setpointsOf(d),
		ranked: r.manifest.RankedSHA256, tolerances: r.job.Points[d.Point].Spec.Tolerance,
	}
	for _, seat := range d.Masks() {
		b.stages = append(b.stages, ofMask(b.rows, seat))
	}
	if len(b.rows) == 0 || len(b.rows) != len(b.stages)*len(b.stages[0]) {
		return nil, fault("%s has no setpoints of it", filepath.Join(r.folder, setpointsFile))
	}
	b.doubt = b.retrace()
	return b, nil
}

// retrace compares the train, traced again, with its row.
func (b *reopened) retrace() string {
	off := math.Abs(b.train.Length - b.design.LengthMM)
	if !(off <= retraceTolerance) {
		return fmt.Sprintf("its length comes out %.3g mm different", off)
	}
	report := raycheck.NewChecker(b.problem).Measure(b.train)
	worst := 0.0
	for k, stage := range b.stages {
		traced := report.Mask(k).Setpoints
		if len(traced) != len(stage) {
			return fmt.Sprintf("it is traced at %d depths and has %d setpoints", len(traced), len(stage))
		}
		for i, s := range traced {
			worst = math.Max(worst, math.Abs(s.MaskMM-stage[i].MaskMM))
		}
	}
	if !(worst <= retraceTolerance) {
		return fmt.Sprintf("its setpoints come out up to %.3g mm different", worst)
	}
	return ""
}

// ofMask are the rows of setpoints that belong to the mask at an image.
func ofMask(rows []results.Setpoint, seat string) []results.Setpoint {
	return slices.DeleteFunc(slices.Clone(rows), func(s results.Setpoint) bool { return s.Seat != seat })
}

// warning tells of a doubt, empty for none.
func (b *reopened) warning(madeBy string) string {
	if b.doubt == "" {
		return ""
	}
	return fmt.Sprintf("point %d, rank %d: traced again by version %s, %s from what the run by version %s wrote; what is drawn and traced here is this version's",
		b.design.Point, b.design.Rank, version, b.doubt, madeBy)
}

// doubt is what to warn of about a row, empty for nothing: how it differs from the
// train traced again, or why that can't be.
func (r *finishedRun) doubt(d *results.Design) string {
	if r.job == nil {
		if err := r.openInputs(); err != nil {
			return fmt.Sprintf("point %d, rank %d: can't be traced again: %v", d.Point, d.Rank, err)
		}
	}
	b, err := r.reopen(d)
	if err != nil {
		return fmt.Sprintf("can't be traced again: %v", err)
	}
	return b.warning(r.manifest.Version)
}

// spaceOf is the layout and seat of a row.
func spaceOf(d *results.Design) (objective.Space, bool) {
	for _, layout := range objective.Layouts {
		for _, seat := range objective.Seats {
			if layout.String() == d.Layout && seat.String() == d.Seat && (layout != objective.Keplerian || seat == objective.SeatRear) {
				return objective.Space{Layout: layout, Seat: seat}, true
			}
		}
	}
	return objective.Space{}, false
}

// partsIn are the parts of a row.
func partsIn(d *results.Design) map[string]bool {
	parts := map[string]bool{}
	for _, l := range d.Lenses {
		parts[l.Part] = true
	}
	return parts
}
