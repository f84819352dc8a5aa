package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	built "relaysweep/objective/bench"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/journal"
	"relaysweep/sweep/yield"
)

// What the tolerance command writes into an output folder.
const (
	buildsFile       = "tolerance.parquet"
	yieldFile        = "yield.parquet"
	toleranceJournal = "tolerance.journal"
)

// buildsMost bounds the builds of a design, as the spec does.
const buildsMost = 100_000

// toleranceOptions are which designs are built, and how often.
type toleranceOptions struct {
	point    int
	anyPoint bool
	designs  int // 0: as the spec says
	builds   int // 0: as the spec says
	quiet    bool
	restart  bool
}

func newToleranceCommand() *cobra.Command {
	var o toleranceOptions
	var rank, number int
	cmd := &cobra.Command{
		Use:   "tolerance OUTPUT",
		Short: "build the leading designs many times with parts and places that are off: yield, and what to tighten",
		Long: `tolerance draws builds of the leading designs of a run within the tolerances of
its spec ([tolerance]), traces real rays through each as it would stand, with
every lens and group decentred and tilted, lets the compensators of the bench
put right what they can, and holds the result against the limits of the spec.

It writes two files into the output folder:

  yield.parquet      a row a design: the share of builds that meet every limit
                     with its 95 % interval, percentiles of every figure before
                     and after the compensators, the part of each tolerance in
                     the variance of each figure, and what each error does alone
  tolerance.parquet  a row a build

Each design has --builds builds with the compensators, as many without them, and
some thousands in which the errors of one tolerance at a time are swapped: these
tell what to tighten first. Draws depend on seed and number of a build only.
--rank N --build B prints all errors of build B of a design. What is done is
kept in a journal, and the same command goes on with it.`,
		Args: oneArgument("the output folder of a run"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.anyPoint = !cmd.Flags().Changed("point")
			for _, f := range []struct {
				name        string
				value, most int
			}{{"designs", o.designs, 1000}, {"builds", o.builds, buildsMost}} {
				if cmd.Flags().Changed(f.name) && (f.value < 1 || f.value > f.most) {
					return usageError{fmt.Errorf("--%s is %d; it takes 1 to %d", f.name, f.value, f.most)}
				}
			}
			if one := cmd.Flags().Changed("build"); one != cmd.Flags().Changed("rank") {
				return usageError{errors.New("--rank and --build go together: they name the one build whose errors are printed")}
			} else if one {
				if number < 0 {
					return usageError{fmt.Errorf("--build is %d; builds count from 0", number)}
				}
				return printBuild(cmd, args[0], o.point, rank, number)
			}
			return runTolerance(cmd, args[0], o)
		},
	}
	cmd.Flags().IntVar(&o.point, "point", 0, "sweep point, from 0; without it all of them")
	cmd.Flags().IntVar(&o.designs, "designs", 0, "how many leading designs of each sweep point; without it tolerance.designs of the spec")
	cmd.Flags().IntVar(&o.builds, "builds", 0, "builds of each design; without it tolerance.builds of the spec, or 1000 where that is 0")
	cmd.Flags().BoolVarP(&o.quiet, "quiet", "q", false, "show no progress")
	cmd.Flags().BoolVar(&o.restart, "restart", false, "begin anew: drop what an unfinished study has done")
	cmd.Flags().IntVar(&rank, "rank", 0, "with --build: rank of the design")
	cmd.Flags().IntVar(&number, "build", 0, "with --rank: print the errors of this build, from 0, as CSV")
	return cmd
}

func runTolerance(cmd *cobra.Command, folder string, o toleranceOptions) (err error) {
	run, err := untilInterrupted(cmd.Context(), func() (*finishedRun, error) { return openRun(folder) })
	if err != nil {
		return err
	}
	if !o.anyPoint {
		if err := run.knowsPoint(o.point); err != nil {
			return err
		}
	}
	lock, err := journal.LockFolder(folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Release()) }()
	rows, err := studyTolerances(cmd, run, o)
	if err != nil {
		return err
	}
	return printYields(cmd.OutOrStdout(), folder, run, rows)
}

// study is a design of a run with what its builds need.
type study struct {
	*yield.Study
	design *results.Design
	builds int
	doubt  string // what to warn of, empty for nothing
}

// studyOf lays out a design for its builds.
func (r *finishedRun) studyOf(d *results.Design, builds int) (*study, error) {
	b, err := r.reopen(d)
	if err != nil {
		return nil, err
	}
	s := r.job.Points[d.Point].Spec
	if builds == 0 {
		builds = s.Tolerance.BuildsMade()
	}
	tolerances, compensators := sweep.Tolerances(&s.Tolerance)
	return &study{&yield.Study{
		Problem: b.problem, Train: b.train, Tolerances: tolerances, Compensators: compensators,
		Seed: uint64(s.Job.Seed), Vignetting: true, Workers: r.job.Workers(),
	}, d, builds, b.warning(r.manifest.Version)}, nil
}

// studies are the leading designs of the points asked for. What there is to warn of goes to
// notes.
func (r *finishedRun) studies(ctx context.Context, o toleranceOptions, notes io.Writer) ([]*study, error) {
	var all []*study
	for i := range r.designs {
		d := &r.designs[i]
		if d.Point >= len(r.job.Points) || !o.anyPoint && d.Point != o.point {
			continue
		}
		designs := o.designs
		if designs == 0 {
			designs = r.job.Points[d.Point].Spec.Tolerance.Designs
		}
		if d.Rank > designs {
			continue
		}
		s, err := untilInterrupted(ctx, func() (*study, error) { return r.studyOf(d, o.builds) })
		if err != nil {
			return nil, err
		}
		if s.doubt != "" {
			fmt.Fprintf(notes, "warning: %s\n", s.doubt)
		}
		all = append(all, s)
	}
	return all, nil
}

// studyTolerances makes the builds and writes both files. The folder has to be locked.
func studyTolerances(cmd *cobra.Command, run *finishedRun, o toleranceOptions) (rows []results.Yield, err error) {
	ctx, stderr := cmd.Context(), cmd.ErrOrStderr()
	all, err := run.studies(ctx, o, stderr)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%s: has no design to build", run.folder)
	}
	for _, name := range []string{buildsFile, yieldFile} {
		ours := func(path string) bool { _, ours := results.TableOf(path); return ours }
		if err := keepForeign(filepath.Join(run.folder, name), ours, stderr); err != nil {
			return nil, err
		}
	}
	j, err := openStudyJournal(run, all, o.restart, stderr)
	if err != nil {
		return nil, err
	}
	closed := false
	defer func() {
		if !closed {
			err = errors.Join(err, j.Close())
		}
	}()
	steps, yields := 0, 0
	for _, s := range all {
		steps += s.Steps(s.builds)
		yields += 2 * s.builds // with and without compensators
	}
	shown := &buildsProgress{w: stderr, terminal: isTerminal(stderr), quiet: o.quiet, started: time.Now(), steps: steps, yields: yields}
	meta := map[string]string{"program": run.manifest.Program, "version": version, "seed": strconv.FormatInt(run.job.Spec.Job.Seed, 10)}
	if err := beforeChange("write a table of builds"); err != nil {
		return nil, err
	}
	// A design's builds are written as it is done: those of one are held at a time.
	var failed error
	err = results.WriteBuilds(filepath.Join(run.folder, buildsFile), run.manifest.RankedSHA256, figures(), meta, func(put func(*results.Build) error) error {
		for i, s := range all {
			found, err := s.Whole(ctx, s.builds, yield.NewLog(j, i), func(n int) { shown.add(n, i+1, len(all)) })
			if err != nil {
				failed = err
				return err
			}
			rows = append(rows, yieldRow(s, found))
			if err := putBuilds(s, found, put); err != nil {
				return err
			}
		}
		return nil
	})
	shown.end()
	switch {
	case failed != nil && ctx.Err() != nil && errors.Is(failed, context.Canceled):
		return nil, &interruptedError{fmt.Sprintf("; what is done stands in %s\n    the same command goes on from there", filepath.Join(run.folder, toleranceJournal))}
	case failed != nil:
		return nil, failed
	case err != nil:
		return nil, err
	}
	if err := beforeChange("write a table of yields"); err != nil {
		return nil, err
	}
	if err := results.WriteYields(filepath.Join(run.folder, yieldFile), run.manifest.RankedSHA256, meta, rows); err != nil {
		return nil, err
	}
	closed = true
	return rows, j.Remove()
}

// studyMark begins the header of a journal of builds.
const studyMark = "relaysweep builds\n"

// openStudyJournal opens the journal of the same studies by the same program, or begins
// one.
func openStudyJournal(run *finishedRun, all []*study, restart bool, stderr io.Writer) (*journal.Journal, error) {
	var b strings.Builder
	fmt.Fprintf(&b, "%s%s\n%s\n%s\n", studyMark, buildDigest(), run.manifest.RankedSHA256, run.manifest.SpecSHA256)
	for _, s := range all {
		fmt.Fprintf(&b, "%d %d %d\n", s.design.Point, s.design.Rank, s.builds)
	}
	path := filepath.Join(run.folder, toleranceJournal)
	ours := func(path string) bool {
		j, err := journal.OpenToRead(path, "")
		return err == nil && strings.HasPrefix(string(j.Header()), studyMark) && j.Close() == nil
	}
	if err := keepForeign(path, ours, stderr); err != nil {
		return nil, err
	}
	if !restart {
		j, err := journal.Open(path, "")
		switch {
		case err == nil && string(j.Header()) == b.String():
			return j, nil
		case err == nil:
			if err := j.Close(); err != nil {
				return nil, err
			}
		case !errors.Is(err, fs.ErrNotExist):
			return nil, err
		}
	}
	if err := beforeChange("make a journal of builds"); err != nil {
		return nil, err
	}
	return journal.Create(path, []byte(b.String()))
}

// figures are what is measured of builds, as columns.
func figures() []results.Figure {
	var all []results.Figure
	for _, m := range built.Measures {
		all = append(all, results.Figure{Name: m.Name, Unit: m.Unit, Description: m.Doc})
	}
	return all
}

// putBuilds puts the rows of a design's builds.
func putBuilds(s *study, found *yield.Result, put func(*results.Build) error) error {
	for i := range found.Builds {
		made := &found.Builds[i]
		if err := put(&results.Build{
			Point: s.design.Point, Rank: s.design.Rank, DesignID: s.design.DesignID, Number: i,
			FailedBy: made.FailedBy, Figures: made.Outcome[:],
		}); err != nil {
			return err
		}
	}
	return nil
}

// yieldRow is the row of a design.
func yieldRow(s *study, found *yield.Result) results.Yield {
	y := results.Yield{
		Point: s.design.Point, Rank: s.design.Rank, DesignID: s.design.DesignID, Seed: strconv.FormatInt(int64(s.Seed), 10),
		Builds: len(found.Builds),
	}
	failed := map[string]int{}
	for i := range found.Builds {
		if by := found.Builds[i].FailedBy; by == "" {
			y.Passed++
		} else {
			failed[by]++
		}
	}
	bare := 0
	for i := range found.Uncompensated {
		if found.Uncompensated[i].FailedBy == "" {
			bare++
		}
	}
	lo, hi := yield.Wilson(y.Passed, y.Builds)
	y.YieldPct, y.YieldLoPct, y.YieldHiPct = 100*float64(y.Passed)/float64(y.Builds), 100*lo, 100*hi
	y.UncompensatedPct = 100 * float64(bare) / float64(y.Builds)
	y.EyesHeightArcmin, y.EyesVergenceD = apart(found.Builds, built.PointingUp), apart(found.Builds, built.AxisVergence)
	magnitudes := func(made []yield.Made, figure int) []float64 {
		var all []float64
		for i := range made {
			all = append(all, math.Abs(made[i].Outcome[figure]))
		}
		return all
	}
	for k, m := range built.Measures {
		if n := failed[m.Name]; n > 0 {
			y.Failed = append(y.Failed, results.YieldFailure{Limit: m.Name, Builds: n})
		}
		p := yield.Percentiles(magnitudes(found.Builds, k), []float64{0.05, 0.5, 0.9, 0.95, 0.99})
		f := results.YieldFigure{
			Figure: m.Name, Unit: m.Unit, Nominal: math.Abs(found.Nominal.Outcome[k]), P5: p[0], P50: p[1], P90: p[2], P95: p[3], P99: p[4],
			UncompensatedP95: yield.Percentiles(magnitudes(found.Uncompensated, k), []float64{0.95})[0],
		}
		if limit := s.Problem.Limits.Limit(m.Name); m.Limited && !math.IsInf(limit, 1) {
			f.Limit = &limit
		}
		y.Figures = append(y.Figures, f)
	}
	for _, c := range found.Contributions {
		if !math.IsNaN(c.First) && !math.IsNaN(c.Total) {
			y.Contributions = append(y.Contributions, results.YieldContribution{
				Figure: built.Measures[c.Figure].Name, Tolerance: c.Kind.String(),
				First: c.First, FirstError: c.FirstError, Total: c.Total, TotalError: c.TotalError,
			})
		}
	}
	for _, one := range found.Sensitivities {
		for k, change := range one.Change {
			if !math.IsNaN(change) {
				y.Sensitivities = append(y.Sensitivities, results.YieldSensitivity{
					Figure: built.Measures[k].Name, Tolerance: one.Variable.Kind.String(), Part: one.Variable.Name(), Change: change,
				})
			}
		}
	}
	return y
}

// apart is by what a figure of two builds differs, in 95 % of builds taken two by two; 0
// where there is one build only.
func apart(made []yield.Made, figure int) float64 {
	var all []float64
	for i := 0; i+1 < len(made); i += 2 {
		d := math.Abs(made[i].Outcome[figure] - made[i+1].Outcome[figure])
		if math.IsNaN(d) { // both are lost
			d = math.Inf(1)
		}
		all = append(all, d)
	}
	if len(all) == 0 {
		return 0
	}
	return yield.Percentiles(all, []float64{0.95})[0]
}

// afterRun makes the builds that the spec of a complete run asks for, unless they stand there,
// and prints what they tell. Tables of builds of results that were replaced go. The folder
// has to be locked.
func afterRun(cmd *cobra.Command, folder string, job *sweep.Job, quiet bool) error {
	m, err := results.ReadManifest(filepath.Join(folder, manifestFile))
	if err != nil {
		return err
	}
	for _, name := range []string{buildsFile, yieldFile} {
		path := filepath.Join(folder, name)
		if ranked, ours := results.TableOf(path); ours && ranked != m.RankedSHA256 {
			if err := beforeChange("remove " + name); err != nil {
				return err
			}
			if err := os.Remove(path); err != nil {
				return err
			}
		}
	}
	if job.Spec.Tolerance.Builds == 0 {
		return nil
	}
	run, err := untilInterrupted(cmd.Context(), func() (*finishedRun, error) { return openRun(folder) })
	if err != nil {
		return err
	}
	if len(run.designs) == 0 {
		return nil
	}
	rows, err := run.yields(io.Discard)
	if err != nil || rows == nil {
		if rows, err = studyTolerances(cmd, run, toleranceOptions{anyPoint: true, quiet: quiet}); err != nil {
			return err
		}
	}
	fmt.Fprintln(cmd.OutOrStdout())
	return printYields(cmd.OutOrStdout(), folder, run, rows)
}

// yields are those that the tolerance command found of this very run, none where there are
// none. Those of another run it tells to notes, and leaves out.
func (r *finishedRun) yields(notes io.Writer) ([]results.Yield, error) {
	path := filepath.Join(r.folder, yieldFile)
	if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	rows, ranked, err := results.ReadYields(path)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%w\n    relaysweep tolerance %s makes it again", err, r.folder)
	case ranked != r.manifest.RankedSHA256:
		_, err := fmt.Fprintf(notes, "warning: %s: belongs to other results than those that stand here, and is left out; relaysweep tolerance %s makes it anew\n", path, r.folder)
		return nil, err
	}
	return rows, nil
}

// printYields prints the table of yields.
func printYields(w io.Writer, folder string, run *finishedRun, rows []results.Yield) error {
	if err := results.PrintYields(w, rows, len(run.axes) > 0, isTerminal(w)); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nwritten to %s: %s, %s\nrelaysweep report %s tells it whole\n\n%s", folder, yieldFile, buildsFile, folder, cautionLine)
	return err
}

// printBuild prints what is off in one build.
func printBuild(cmd *cobra.Command, folder string, point, rank, number int) error {
	run, err := openRun(folder)
	if err != nil {
		return err
	}
	d, err := run.find(point, rank)
	if err != nil {
		return err
	}
	s, err := run.studyOf(d, 0)
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	if _, err := fmt.Fprintln(out, "tolerance,part,error"); err != nil {
		return err
	}
	variables, values := s.Errors(number)
	for i := range variables {
		if s.Tolerances.Of[variables[i].Kind] == 0 {
			continue
		}
		if _, err := fmt.Fprintf(out, "%s,%s,%s\n", variables[i].Kind, variables[i].Name(), rounded(values[i])); err != nil {
			return err
		}
	}
	return nil
}

// buildsProgress shows how many builds are made, and how many of all are for yields.
type buildsProgress struct {
	w               io.Writer
	terminal, quiet bool
	started, shown  time.Time
	done            int
	steps, yields   int
	drawn           bool
}

func (p *buildsProgress) add(n, design, designs int) {
	p.done += n
	interval, now := lineInterval, time.Now()
	if p.terminal {
		interval = terminalInterval
	}
	if p.shown.IsZero() {
		p.shown = p.started
	}
	if p.quiet || now.Sub(p.shown) < interval {
		return
	}
	p.shown = now
	line := fmt.Sprintf("%s  design %d of %d  %d of %d builds (%d for yields, with and without compensators, %d for what to tighten)",
		now.Sub(p.started).Round(time.Second), design, designs, p.done, p.steps, p.yields, p.steps-p.yields)
	if p.terminal {
		fmt.Fprintf(p.w, "\r\x1b[K%s", line)
		p.drawn = true
		return
	}
	fmt.Fprintln(p.w, line)
}

// end leaves the terminal's line.
func (p *buildsProgress) end() {
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
