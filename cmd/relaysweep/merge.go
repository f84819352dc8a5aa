package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/journal"
)

func newMergeCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "merge OUTPUT",
		Short: "join the parts of a job to the results of the whole",
		Long: `merge joins the parts that run --part has done to the results that one run
of the whole job would have written, and removes the parts. Where parts of a
point refine ([refine]), it audits their screen.`,
		Args: oneArgument("the output folder of the job's parts"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return mergeParts(cmd, args[0])
		},
	}
}

func mergeParts(cmd *cobra.Command, output string) (err error) {
	if _, err := os.Stat(output); err != nil {
		return err
	}
	lock, err := journal.LockFolder(output)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Release()) }()
	if err := settle(output, cmd.ErrOrStderr()); err != nil {
		return err
	}
	parts, err := sweep.OpenParts(output)
	if errors.Is(err, sweep.ErrNoParts) {
		m, damage := inspect(output)
		switch {
		case damage != nil:
			return fmt.Errorf("%w\n    and what stands there is not whole: %w\n    relaysweep run --restart SPEC does the job again", err, damage)
		case m != nil && m.Complete:
			// The same merge has been done: a cluster may run a task twice.
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: is merged already\n", output)
			return showFinished(cmd.OutOrStdout(), output, sweep.Part{}, cautionLine)
		}
	}
	var unfinished *sweep.UnfinishedPartsError
	if errors.As(err, &unfinished) && isMergeOf(cmd.Context(), output, unfinished.Spec) {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: is merged already\n", output)
		if !unfinished.Running {
			if err := dropParts(output); err != nil {
				return err
			}
		}
		return showFinished(cmd.OutOrStdout(), output, sweep.Part{}, cautionLine)
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, parts.Close()) }()
	job, err := openJob(cmd, parts.SpecFile())
	if err != nil {
		return err
	}
	inputs, err := readInputs(job)
	if err != nil {
		return err
	}
	if err := checkPlaces(output, inputs); err != nil {
		return err
	}
	by := origin()
	progress := newProgress(cmd.ErrOrStderr())
	outcomes, err := job.Merge(cmd.Context(), parts, by, progress.show)
	progress.end()
	if err != nil {
		return err
	}
	finished := time.Now().UTC().Truncate(time.Second)
	rows := rowsFrom(job, outcomes, by)
	rows.manifest.Started, rows.manifest.Finished, rows.manifest.Complete = parts.Started(), &finished, true
	if err := writeAll(output, inputs, rows, cmd.ErrOrStderr()); err != nil {
		return err
	}
	if err := keepLogs(output, parts.Folders()); err != nil {
		return err
	}
	if err := dropParts(output); err != nil {
		return err
	}
	if err := summarise(cmd.OutOrStdout(), output, rows.manifest, rows.designs, rows.axes, cautionLine); err != nil {
		return err
	}
	return afterRun(cmd, output, job, false)
}

// isMergeOf reports whether a folder holds the complete results of the job of a
// spec: whatever is left there of its parts, or has been begun of them anew, can
// only come to the same.
func isMergeOf(ctx context.Context, output, spec string) bool {
	job, err := sweep.Open(ctx, spec)
	if err != nil {
		return false
	}
	m, err := readFinished(output, job, origin())
	return err == nil && m != nil
}

// dropParts removes the parts of a job: by one rename, and then file by file.
func dropParts(output string) error {
	away := filepath.Join(output, results.TemporaryName(partsBase))
	if err := rename(sweep.PartsFolder(output), away); err != nil {
		return err
	}
	return clearParts(output, away)
}

// keepLogs appends the logs of the parts to that of the job.
func keepLogs(output string, folders []string) error {
	var all bytes.Buffer
	for _, folder := range folders {
		data, err := os.ReadFile(filepath.Join(folder, logFile))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
		all.Write(data)
	}
	events, f, err := openLog(output)
	if err != nil {
		return err
	}
	_, err = f.Write(all.Bytes())
	events.Info("merged", "parts", len(folders))
	return errors.Join(err, f.Close())
}
