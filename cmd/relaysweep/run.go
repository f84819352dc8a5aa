package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"relaysweep/results"
	"relaysweep/sweep"
)

func newRunCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "run SPEC",
		Short: "search, check by rays, and write the ranked designs",
		Args:  oneArgument("the spec"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJob(cmd, args[0])
		},
	}
}

// openJob reads a job and prints the warnings about its catalogs.
func openJob(cmd *cobra.Command, path string) (*sweep.Job, error) {
	job, err := sweep.Open(path)
	if err != nil {
		return nil, err
	}
	for _, w := range job.Catalog.Warnings {
		fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", w.Error())
	}
	return job, nil
}

func runJob(cmd *cobra.Command, path string) error {
	job, err := openJob(cmd, path)
	if err != nil {
		return err
	}
	folder := job.Spec.OutputDir()
	tidy, err := makeFolder(folder)
	if err != nil {
		return err
	}
	defer tidy()
	inputs, err := readInputs(job)
	if err != nil {
		return err
	}
	started := time.Now().UTC().Truncate(time.Second)
	progress := newProgress(cmd.ErrOrStderr())
	outcomes, err := job.Run(cmd.Context(), progress.show)
	progress.end()
	if err != nil {
		return err
	}
	axes := axesOf(job.Spec)
	manifest := &results.Manifest{
		Program: "relaysweep", Version: version, SpecSHA256: job.Spec.SHA256, Started: started, Complete: true,
	}
	for _, t := range job.Catalog.Tables {
		manifest.Catalogs = append(manifest.Catalogs, results.CatalogFile{File: t.File, SHA256: t.SHA256, Lenses: t.Lenses})
	}
	for _, t := range job.Catalog.GlassTables {
		manifest.GlassTables = append(manifest.GlassTables, results.GlassFile{File: t.File, SHA256: t.SHA256, Glasses: t.Glasses})
	}
	var designs []results.Design
	var setpoints []results.Setpoint
	for i := range outcomes {
		o := &outcomes[i]
		for rank := range o.Found {
			designs = append(designs, designRow(o, rank+1, &o.Found[rank]))
			setpoints = append(setpoints, setpointRows(o, rank+1, &o.Found[rank])...)
		}
		manifest.Points = append(manifest.Points, manifestPoint(o, axes))
	}
	finished := time.Now().UTC().Truncate(time.Second)
	manifest.Finished = &finished
	if err := writeAll(folder, inputs, axes, manifest, designs, setpoints); err != nil {
		return err
	}
	return summarise(cmd.OutOrStdout(), folder, manifest, designs, axes)
}

// shownDesigns is how many designs of a point the summary of a run shows.
const shownDesigns = 10

// summarise prints what a run found and what is proven of it.
func summarise(w io.Writer, folder string, m *results.Manifest, designs []results.Design, axes []results.Axis) error {
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
		fmt.Fprintln(w)
	}
	nothing := false
	for i := range m.Points {
		p := &m.Points[i]
		if err := results.PrintProof(w, p); err != nil {
			return err
		}
		nothing = nothing || p.Passed == 0
	}
	fmt.Fprintf(w, "\nwritten to %s: %s, %s, %s\n", folder, rankedFile, setpointsFile, manifestFile)
	if len(designs) == 0 {
		return errNothing
	}
	fmt.Fprintf(w, "relaysweep show %s --rank 1 tells what to buy and where it stands\n", folder)
	fmt.Fprintf(w, "relaysweep report %s makes a page of it to order and build from\n\n%s", folder, cautions)
	if nothing {
		fmt.Fprintln(w, "\nsome sweep points have no design")
	}
	return nil
}
