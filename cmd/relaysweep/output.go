package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"relaysweep/results"
)

// The files of an output folder.
const (
	rankedFile    = "ranked.parquet"
	setpointsFile = "setpoints.parquet"
	manifestFile  = "run.json"
)

// makeFolder makes the output folder and tries whether files can be made in it:
// a search of a night should not end there. tidy removes those of the folders
// made that are still empty.
func makeFolder(path string) (tidy func(), err error) {
	var made []string // deepest first
	for p := path; ; p = filepath.Dir(p) {
		if _, err := os.Lstat(p); !errors.Is(err, fs.ErrNotExist) || p == filepath.Dir(p) {
			break
		}
		made = append(made, p)
	}
	tidy = func() {
		for _, p := range made {
			// Fails on a folder that holds something, which is to stay.
			_ = os.Remove(p)
		}
	}
	if err = os.MkdirAll(path, 0o777); err == nil {
		err = tryFile(path)
	}
	if err != nil {
		tidy()
		return nil, err
	}
	return tidy, nil
}

func tryFile(folder string) error {
	f, err := os.CreateTemp(folder, ".try-*")
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// writeAll writes the three files of a finished run and the copies of what it
// was made from. The manifest of an older
// run goes first and the new one comes last: where a manifest stands, the other
// files are of the same run.
func writeAll(folder string, inputs []inputCopy, axes []results.Axis, manifest *results.Manifest, designs []results.Design, setpoints []results.Setpoint) error {
	// The folder may have gone while the search ran.
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	if err := os.Remove(filepath.Join(folder, manifestFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := writeInputs(folder, inputs); err != nil {
		return err
	}
	// The spec's digest stands in the manifest only: a change of the spec that
	// changes no result, as of the number of workers, changes no byte here.
	meta := map[string]string{"program": manifest.Program, "version": manifest.Version}
	if err := results.WriteRanked(filepath.Join(folder, rankedFile), axes, meta, designs); err != nil {
		return err
	}
	if err := results.WriteSetpoints(filepath.Join(folder, setpointsFile), meta, setpoints); err != nil {
		return err
	}
	return results.WriteManifest(filepath.Join(folder, manifestFile), manifest)
}
