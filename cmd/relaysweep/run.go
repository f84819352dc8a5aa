package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/journal"
)

// runFlags are what the command line says of how to run.
type runFlags struct {
	quiet   bool
	restart bool
	part    string
}

func newRunCommand() *cobra.Command {
	var flags runFlags
	cmd := &cobra.Command{
		Use:   "run SPEC",
		Short: "search, check by rays, and write the ranked designs",
		Long: `run does the job of a spec and writes its results into the job's output folder.

What is done is kept in a journal there. A run that ended before its end, for
whatever reason, is gone on with by the same command. Ctrl-C ends a run in good
order, a second one at once; neither loses what stands in the journal.`,
		Args: oneArgument("the spec"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var part sweep.Part
			if cmd.Flags().Changed("part") {
				var err error
				if part, err = sweep.ParsePart(flags.part); err != nil {
					return usageError{fmt.Errorf("--part: %w", err)}
				}
			}
			return runJob(cmd, args[0], part, flags)
		},
	}
	cmd.Flags().BoolVarP(&flags.quiet, "quiet", "q", false, "show no progress")
	cmd.Flags().BoolVar(&flags.restart, "restart", false, "begin anew: drop the journal of an unfinished run, and don't settle for complete results")
	cmd.Flags().StringVar(&flags.part, "part", "", "do only the I-th of N parts of the job, given as I/N; merge joins them")
	return cmd
}

// openJob reads a job and prints the warnings about its catalogs and its spec.
func openJob(cmd *cobra.Command, path string) (*sweep.Job, error) {
	job, err := sweep.Open(cmd.Context(), path)
	if err != nil {
		return nil, err
	}
	for _, w := range append(slices.Clone(job.Catalog.Warnings), job.Doubts()...) {
		fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", w.Error())
	}
	return job, nil
}

// interruptedError tells that a run was asked to stop.
type interruptedError struct {
	kept string // what remains of it, and how to go on
}

func (e *interruptedError) Error() string { return "interrupted" + e.kept }

// runJob does a job in its output folder, which it holds meanwhile.
func runJob(cmd *cobra.Command, path string, part sweep.Part, flags runFlags) (err error) {
	job, err := openJob(cmd, path)
	if err != nil {
		return err
	}
	if err := job.Divides(part); err != nil {
		return usageError{fmt.Errorf("--part: %w", err)}
	}
	if gb := job.Spec.Job.MemoryGB; gb > 0 {
		debug.SetMemoryLimit(int64(gb * 1e9)) // the collector of garbage keeps to it
	}
	r := &runner{cmd: cmd, job: job, spec: path, part: part, output: job.Spec.OutputDir(), by: origin()}
	if r.inputs, err = readInputs(job); err != nil {
		return err
	}
	if err := checkPlaces(r.output, r.inputs); err != nil {
		return err
	}
	if !part.Whole() {
		if err := part.OtherParts(r.output); err != nil {
			return err
		}
	}
	tidy, err := makeFolder(r.folder())
	if err != nil {
		return err
	}
	defer tidy()
	lock, err := journal.LockFolder(r.folder())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Release()) }()
	if part.Whole() {
		if err := settle(r.output, cmd.ErrOrStderr()); err != nil {
			return err
		}
	}
	if !flags.restart {
		if done, err := r.doneBefore(); done || err != nil {
			if err != nil || !part.Whole() {
				return err
			}
			return afterRun(cmd, r.output, job, flags.quiet)
		}
	}
	warnReplaced(cmd.ErrOrStderr(), r.output, job)
	if err := r.goOn(flags); err != nil || !part.Whole() {
		return err
	}
	return afterRun(cmd, r.output, job, flags.quiet)
}

// folder is where the run keeps its journal and its log.
func (r *runner) folder() string { return r.part.Folder(r.output) }

// doneBefore reports whether the folder holds the results of this very job, and
// shows them.
func (r *runner) doneBefore() (done bool, err error) {
	m, err := readFinished(r.output, r.job, r.by)
	if err != nil && r.part.Whole() {
		return false, err
	}
	if m == nil {
		return false, nil
	}
	fmt.Fprintf(r.cmd.ErrOrStderr(), "%s: complete since %s; --restart does the job again\n", r.output, m.Finished.Format(time.RFC3339))
	if r.part.Whole() {
		// One that was killed between its last result and this.
		if err := sweep.RemoveJournal(r.folder()); err != nil {
			return true, err
		}
	}
	return true, showFinished(r.cmd.OutOrStdout(), r.output, r.part, cautions)
}

// goOn opens journal and log, and goes on from there to the end of the job.
func (r *runner) goOn(flags runFlags) (err error) {
	stderr := r.cmd.ErrOrStderr()
	if flags.restart {
		if err := keepForeign(filepath.Join(r.folder(), sweep.JournalFile), sweep.IsJournal, stderr); err != nil {
			return err
		}
	}
	if err := keepForeign(filepath.Join(r.folder(), logFile), isLog, stderr); err != nil {
		return err
	}
	if r.journal, err = r.job.OpenJournal(r.output, r.part, r.by, flags.restart); err != nil {
		return err
	}
	closed := false
	defer func() {
		if closed {
			return
		}
		// What ended the run may be what closing meets again.
		if fault := r.journal.Close(); fault != nil && (err == nil || !strings.Contains(err.Error(), fault.Error())) {
			err = errors.Join(err, fault)
		}
	}()
	events, eventsFile, err := openLog(r.folder())
	if err != nil {
		return err
	}
	defer eventsFile.Close()
	r.events = events
	err = r.run(flags.quiet)
	if err == nil && r.part.Whole() {
		closed = true
		err = r.journal.Remove()
	}
	if err == nil {
		err = r.summary()
	}
	return err
}

// warnReplaced says, before a run begins, that the complete results of another
// job stand in its folder.
func warnReplaced(w io.Writer, output string, job *sweep.Job) {
	m, err := results.ReadManifest(filepath.Join(output, manifestFile))
	if err != nil || !m.Complete || m.SpecSHA256 == job.Spec.SHA256 &&
		slices.Equal(m.Catalogs, catalogFiles(job)) && slices.Equal(m.GlassTables, glassFiles(job)) && m.Owned.Same(ownedFile(job, nil)) {
		return
	}
	when := ""
	if m.Finished != nil {
		when = " of " + m.Finished.Format(time.RFC3339)
	}
	fmt.Fprintf(w, "warning: %s: holds the complete results%s of another spec or other tables: they stay until this run is complete, which takes their place\n"+
		"    to keep them, end the run and give it a folder of its own (job.output)\n", catalog.Visible(output), when)
}

// runner is a run of a job. Journal and log are there once it goes on.
type runner struct {
	cmd     *cobra.Command
	job     *sweep.Job
	spec    string // as on the command line
	part    sweep.Part
	output  string
	by      sweep.Origin
	journal *sweep.Journal
	events  *slog.Logger
	rows    *jobRows
	inputs  []inputCopy
}

func (r *runner) run(quiet bool) error {
	ctx, stderr := r.cmd.Context(), r.cmd.ErrOrStderr()
	points := len(r.job.PointsOf(r.part))
	about := []any{"version", r.by.Version, "spec", r.job.Spec.File, "spec_sha256", r.job.Spec.SHA256, "points", points,
		"workers", r.job.Workers()}
	if !r.part.Whole() {
		about = append(about, "part", r.part.String())
	}
	if units := r.journal.UnitsKept(); units > 0 {
		r.events.Info("resume", append(about, "units_kept", units, "points_done", r.journal.PointsDone())...)
		if !quiet {
			fmt.Fprintf(stderr, "goes on where it stopped: %d of %s done, %s in the journal\n",
				r.journal.PointsDone(), counted(points, "sweep point"), counted(units, "unit"))
		}
	} else {
		r.events.Info("start", about...)
	}
	show := func(sweep.Status) {}
	end := func() {}
	if !quiet {
		p := newProgress(stderr)
		show, end = p.show, p.end
	}
	noticed := context.AfterFunc(ctx, func() {
		fmt.Fprintln(stderr, "relaysweep: finishes the unit in hand, some seconds at most; a second signal stops at once")
	})
	outcomes, err := r.job.Run(ctx, sweep.Attempt{Journal: r.journal, Part: r.part, Progress: show, Events: r.events})
	noticed()
	end()
	switch {
	case err != nil && ctx.Err() != nil && sweep.Interrupted(err):
		return r.interrupted(outcomes)
	case err != nil:
		r.events.Error("failed", "error", err.Error())
		return err
	}
	if r.part.Whole() {
		finished := time.Now().UTC().Truncate(time.Second)
		r.rows = rowsFrom(r.job, outcomes, r.by)
		r.rows.manifest.Started, r.rows.manifest.Finished, r.rows.manifest.Complete = r.journal.Started(), &finished, true
		if err := writeAll(r.output, r.inputs, r.rows, stderr); err != nil {
			r.events.Error("failed", "error", err.Error())
			return err
		}
	}
	r.events.Info("done")
	return nil
}

// interrupted writes what is known so far, unless complete results of an
// earlier job stand there, and tells how to go on.
func (r *runner) interrupted(outcomes []sweep.PointOutcome) error {
	r.events.Info("interrupted", "points_done", len(outcomes))
	again := "relaysweep run " + r.spec
	if !r.part.Whole() {
		again += " --part " + r.part.String()
	}
	kept := fmt.Sprintf("; what is done stands in %s\n    %s goes on from there",
		filepath.Join(r.folder(), sweep.JournalFile), again)
	if !r.part.Whole() || len(outcomes) == 0 || holdsComplete(r.output) {
		return &interruptedError{kept}
	}
	rows := rowsFrom(r.job, outcomes, r.by)
	rows.manifest.Started = r.journal.Started()
	if err := writeAll(r.output, r.inputs, rows, r.cmd.ErrOrStderr()); err != nil {
		return &interruptedError{fmt.Sprintf("%s\n    what was found up to now could not be written: %v", kept, err)}
	}
	return &interruptedError{fmt.Sprintf("%s\n    relaysweep show %s shows the %s found up to now", kept, r.output, counted(len(rows.designs), "design"))}
}

func (r *runner) summary() error {
	w := r.cmd.OutOrStdout()
	if r.part.Whole() {
		return summarise(w, r.output, r.rows.manifest, r.rows.designs, r.rows.axes, cautions)
	}
	fmt.Fprintf(w, "part %s of the job is done\nwhen all parts are: relaysweep merge %s\n", r.part, r.output)
	return nil
}

// showFinished prints again what a complete run has printed; of a part there
// is nothing to print.
func showFinished(w io.Writer, output string, part sweep.Part, caution string) error {
	if !part.Whole() {
		return nil
	}
	run, err := openResults(output)
	if err != nil {
		return err
	}
	return summarise(w, output, run.manifest, run.designs, run.axes, caution)
}

// shownDesigns is how many designs of a point the summary of a run shows.
const shownDesigns = 10

// summarise prints what a run found and what is proven of it, with cautions
// where there are designs.
func summarise(w io.Writer, folder string, m *results.Manifest, designs []results.Design, axes []results.Axis, caution string) error {
	var shown []results.Design
	for _, d := range designs {
		if d.Rank <= shownDesigns {
			shown = append(shown, d)
		}
	}
	if len(shown) > 0 {
		if err := results.PrintRanked(w, shown, axes, isTerminal(w)); err != nil {
			return err
		}
		if len(shown) < len(designs) {
			fmt.Fprintf(w, "%d of %d rows; relaysweep show %s prints all\n", len(shown), len(designs), folder)
		}
		fmt.Fprintln(w)
	}
	nothing := false
	for i := range m.Points {
		p := &m.Points[i]
		if err := results.PrintProof(w, p, designsAt(designs, p.Point)); err != nil {
			return err
		}
		nothing = nothing || p.Nothing()
	}
	fmt.Fprintf(w, "\nwritten to %s: %s, %s, %s\n", folder, rankedFile, setpointsFile, manifestFile)
	if len(designs) == 0 {
		return errNothing
	}
	if len(m.Points) > 1 {
		fmt.Fprintf(w, "relaysweep show %s --point %d --rank 1 tells what to buy and where it stands, of point %d\n",
			folder, designs[0].Point, designs[0].Point)
	} else {
		fmt.Fprintf(w, "relaysweep show %s --rank 1 tells what to buy and where it stands\n", folder)
	}
	fmt.Fprintf(w, "relaysweep report %s makes a page of it to order and build from\n\n%s", folder, caution)
	if nothing {
		fmt.Fprintln(w, "\nsome sweep points have no design")
	}
	return nil
}
