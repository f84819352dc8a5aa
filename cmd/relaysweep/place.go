package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/journal"
)

// How the results of a run take their places, so that at no instant a kill or a
// full disk costs anything.
//
// Everything is made in a folder of a name of its own beside the old results: the
// stage. When all of it is on the disk, the new run.json takes the place of the old
// one by one rename: before it the old results stand whole, after it the new ones
// do. For run.json holds the digests of all other files, and whoever reads them
// takes each from its place or from the stage, wherever its digest holds. Then they
// are moved to their places. The stage has a copy of the old run.json as well: what
// that lists, and has its digest, is replaced or removed. Everything else that
// stands in the way is kept under another name.

// What temporary names stand beside, see [results.TemporaryName].
const (
	stageBase = "results"
	partsBase = "parts"
	tryBase   = "try"
)

// replacedFile is the copy of the old run.json in a stage.
const replacedFile = "replaced.json"

// beforeChange is called before each change of an output folder. Tests end the
// process there, or fill the disk.
var beforeChange = func(string) error { return nil }

// placed is a file of a run's results.
type placed struct {
	name   string // in the output folder
	sha256 string
}

// placedBy are the files that belong to a run.json.
func placedBy(m *results.Manifest) []placed {
	files := []placed{{rankedFile, m.RankedSHA256}, {setpointsFile, m.SetpointsSHA256}}
	return append(files, copiesOf(m)...)
}

// copiesOf are the copies of a run's inputs.
func copiesOf(m *results.Manifest) []placed {
	digests := []string{m.SpecSHA256}
	for _, t := range m.Catalogs {
		digests = append(digests, t.SHA256)
	}
	for _, t := range m.GlassTables {
		digests = append(digests, t.SHA256)
	}
	if m.Owned != nil {
		digests = append(digests, m.Owned.SHA256)
	}
	var files []placed
	for i, name := range sweep.CopyNames(len(m.Catalogs), len(m.GlassTables), m.Owned != nil) {
		files = append(files, placed{filepath.Join(inputsFolder, name), digests[i]})
	}
	return files
}

// digestOfFile is the digest of a regular file. What is something else, or a link,
// is an error.
func digestOfFile(path string) (string, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", fmt.Errorf("%s: is not a regular file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// isFile reports whether a file with the digest stands at path.
func isFile(path, digest string) bool {
	found, err := digestOfFile(path)
	return err == nil && found == digest
}

// temporaries are the temporary names beside a base name in a folder.
func temporaries(folder, base string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var paths []string
	for _, e := range entries {
		if results.IsTemporary(e.Name(), base) {
			paths = append(paths, filepath.Join(folder, e.Name()))
		}
	}
	return paths, nil
}

// locate finds a file of a run, in its place or in a stage.
func locate(folder string, f placed) (string, error) {
	path := filepath.Join(folder, f.name)
	found, err := digestOfFile(path)
	if err == nil && found == f.sha256 {
		return path, nil
	}
	stages, errRead := temporaries(folder, stageBase)
	if errRead != nil {
		return "", errRead
	}
	for _, stage := range stages {
		if staged := filepath.Join(stage, f.name); isFile(staged, f.sha256) {
			return staged, nil
		}
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("%s: is missing", path)
	case err != nil:
		return "", err
	}
	return "", fmt.Errorf("%s: is not the file that the run wrote: its digest is not the one in %s", path, manifestFile)
}

// inspect reads the manifest of the results in a folder, nil where there are none.
// What can't be known for a run's, or is not whole, is an error.
func inspect(folder string) (*results.Manifest, error) {
	m, err := results.ReadManifest(filepath.Join(folder, manifestFile))
	if errors.Is(err, fs.ErrNotExist) {
		for _, name := range []string{rankedFile, setpointsFile} {
			path := filepath.Join(folder, name)
			if _, err := os.Lstat(path); err == nil {
				return nil, fmt.Errorf("%s: stands there without a %s that would tell whose it is", path, manifestFile)
			}
		}
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	for _, f := range placedBy(m) {
		if _, err := locate(folder, f); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// checkPlaces sees, before anything is computed, that the files of a run can take
// their places: where one goes a folder, a pipe or a link may not stand.
func checkPlaces(folder string, inputs []inputCopy) error {
	var wrong []error
	check := func(name string, dir bool) {
		path := filepath.Join(folder, name)
		info, err := os.Lstat(path)
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
			return
		}
		what, wanted := "", "a file"
		if dir {
			wanted = "a folder"
		}
		switch {
		case err != nil:
			wrong = append(wrong, err)
			return
		case dir == info.IsDir() && (dir || info.Mode().IsRegular()):
			return
		case info.IsDir():
			what = "a folder"
		case info.Mode().IsRegular():
			what = "a file"
		case info.Mode()&fs.ModeSymlink != 0:
			what = "a link"
		default:
			what = "a pipe or device"
		}
		wrong = append(wrong, fmt.Errorf("%s: is %s, where the run has to make %s: move it away, or choose another output folder", path, what, wanted))
	}
	for _, name := range []string{rankedFile, setpointsFile, manifestFile, logFile, sweep.JournalFile, journal.LockFile} {
		check(name, false)
	}
	for _, path := range []string{filepath.Join(folder, inputsFolder), sweep.PartsFolder(folder)} {
		check(filepath.Base(path), true)
	}
	if len(wrong) == 0 {
		for _, in := range inputs {
			check(filepath.Join(inputsFolder, in.name), false)
		}
	}
	return errors.Join(wrong...)
}

// settle finishes what earlier attempts, killed meanwhile, have begun in a folder.
// The folder has to be locked.
func settle(folder string, notes io.Writer) error {
	stages, err := temporaries(folder, stageBase)
	if err != nil {
		return err
	}
	for _, stage := range stages {
		m, err := results.ReadManifest(filepath.Join(folder, manifestFile))
		switch {
		case err == nil:
			err = moveFrom(folder, stage, m, notes)
		case errors.Is(err, fs.ErrNotExist):
			err = removeStage(stage)
		default:
			continue // it may be the last copy of what a damaged run.json lists
		}
		if err != nil {
			return err
		}
	}
	merged, err := temporaries(folder, partsBase)
	if err != nil {
		return err
	}
	for _, away := range merged {
		if err := clearParts(folder, away); err != nil {
			return err
		}
	}
	tried, err := temporaries(folder, tryBase)
	for _, path := range tried {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// clearParts removes the parts of a job that were moved away.
func clearParts(folder, away string) error {
	if err := beforeChange("remove parts"); err != nil {
		return err
	}
	return sweep.ClearParts(away, sweep.PartsFolder(folder))
}

// writeAll writes the three files of a run and the copies of what it was made
// from. What it keeps under another name it tells to notes.
func writeAll(folder string, inputs []inputCopy, rows *jobRows, notes io.Writer) error {
	if err := settle(folder, notes); err != nil {
		return err
	}
	stage := filepath.Join(folder, results.TemporaryName(stageBase))
	if err := fillStage(folder, stage, inputs, rows); err != nil {
		return errors.Join(err, removeStage(stage))
	}
	path := filepath.Join(folder, manifestFile)
	if _, err := results.ReadManifest(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		if err := setAside(path, notes); err != nil {
			return errors.Join(err, removeStage(stage))
		}
	}
	if err := rename(filepath.Join(stage, manifestFile), path); err != nil {
		return errors.Join(err, removeStage(stage))
	}
	// From here on the new results count: whatever fails, the stage stays.
	if err := journal.SyncFolder(folder); err != nil {
		return err
	}
	return moveFrom(folder, stage, rows.manifest, notes)
}

// fillStage makes the results in the stage and sees that they are on the disk.
func fillStage(folder, stage string, inputs []inputCopy, rows *jobRows) error {
	for _, path := range []string{stage, filepath.Join(stage, inputsFolder)} {
		if err := beforeChange("make " + filepath.Base(path)); err != nil {
			return err
		}
		if err := os.Mkdir(path, 0o777); err != nil {
			return err
		}
	}
	// The spec's digest stands in the manifest only: a change of the spec that
	// changes no result, as of the number of workers, changes no byte here.
	meta := map[string]string{"program": rows.manifest.Program, "version": rows.manifest.Version}
	write := func(name string, f func(path string) error) error {
		if err := beforeChange("write " + name); err != nil {
			return err
		}
		return f(filepath.Join(stage, name))
	}
	whole := func(data []byte) func(string) error {
		return func(path string) error {
			return results.WriteWhole(path, func(w io.Writer) error {
				_, err := w.Write(data)
				return err
			})
		}
	}
	err := write(rankedFile, func(path string) error { return results.WriteRanked(path, rows.axes, meta, rows.designs) })
	if err != nil {
		return err
	}
	err = write(setpointsFile, func(path string) error { return results.WriteSetpoints(path, meta, rows.setpoints) })
	if err != nil {
		return err
	}
	for _, in := range inputs {
		if err := write(filepath.Join(inputsFolder, in.name), whole(in.data)); err != nil {
			return err
		}
	}
	// What was written is read again: a digest of what was meant would not tell.
	if rows.manifest.RankedSHA256, err = digestOfFile(filepath.Join(stage, rankedFile)); err != nil {
		return err
	}
	if rows.manifest.SetpointsSHA256, err = digestOfFile(filepath.Join(stage, setpointsFile)); err != nil {
		return err
	}
	err = write(manifestFile, func(path string) error { return results.WriteManifest(path, rows.manifest) })
	if err != nil {
		return err
	}
	if old := filepath.Join(folder, manifestFile); readable(old) {
		data, err := os.ReadFile(old)
		if err != nil {
			return err
		}
		if err := write(replacedFile, whole(data)); err != nil {
			return err
		}
	}
	// Of the room on the disk the moving may take nothing more.
	if err := os.MkdirAll(filepath.Join(folder, inputsFolder), 0o777); err != nil {
		return err
	}
	return journal.SyncFolder(folder)
}

// readable reports whether a whole run.json stands at path.
func readable(path string) bool {
	_, err := results.ReadManifest(path)
	return err == nil
}

// moveFrom moves those files of a manifest that stand in the stage only to their
// places, removes those of the manifest replaced that have none any more, and
// removes the stage.
func moveFrom(folder, stage string, m *results.Manifest, notes io.Writer) error {
	known := map[string]string{} // digests of what the replaced manifest lists
	if old, err := results.ReadManifest(filepath.Join(stage, replacedFile)); err == nil {
		for _, f := range placedBy(old) {
			known[f.name] = f.sha256
		}
	}
	for _, f := range placedBy(m) {
		path, staged := filepath.Join(folder, f.name), filepath.Join(stage, f.name)
		if !isFile(path, f.sha256) && isFile(staged, f.sha256) {
			if _, err := os.Lstat(path); err == nil && !isFile(path, known[f.name]) {
				if err := setAside(path, notes); err != nil {
					return err
				}
			}
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				return err
			}
			if err := rename(staged, path); err != nil {
				return err
			}
		}
		delete(known, f.name)
	}
	// Where the manifest was not replaced, known are the files of this very one.
	for name, digest := range known {
		if path := filepath.Join(folder, name); isFile(path, digest) {
			if err := beforeChange("remove " + name); err != nil {
				return err
			}
			if err := os.Remove(path); err != nil {
				return err
			}
		}
	}
	if err := journal.SyncFolder(filepath.Join(folder, inputsFolder)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := journal.SyncFolder(folder); err != nil {
		return err
	}
	return removeStage(stage)
}

// setAside keeps what stands in the way, and is not known to be a run's, under
// another name.
func setAside(path string, notes io.Writer) error {
	for i := 1; ; i++ {
		kept := fmt.Sprintf("%s.old-%d", path, i)
		if _, err := os.Lstat(kept); err == nil {
			continue
		}
		if err := rename(path, kept); err != nil {
			return err
		}
		_, err := fmt.Fprintf(notes, "%s: is not known to be a run's; kept as %s\n", path, filepath.Base(kept))
		return err
	}
}

// keepForeign sets a file aside that is none of ours.
func keepForeign(path string, ours func(path string) bool, notes io.Writer) error {
	if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() || ours(path) {
		return nil
	}
	return setAside(path, notes)
}

// isLog reports whether a file begins as a log of events does.
func isLog(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	begun, err := io.ReadAll(io.LimitReader(f, int64(len("time="))))
	return err == nil && strings.HasPrefix("time=", string(begun))
}

func rename(from, to string) error {
	if err := beforeChange("rename to " + filepath.Base(to)); err != nil {
		return err
	}
	return os.Rename(from, to)
}

// removeStage removes a stage with what a run makes in it. Anything else stays, and
// the folder with it.
func removeStage(stage string) error {
	inputs := filepath.Join(stage, inputsFolder)
	for _, folder := range []string{inputs, stage} {
		entries, err := os.ReadDir(folder)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		for _, e := range entries {
			if e.Type().IsRegular() && isStaged(folder == inputs, e.Name()) {
				if err := beforeChange("remove " + e.Name()); err != nil {
					return err
				}
				if err := os.Remove(filepath.Join(folder, e.Name())); err != nil {
					return err
				}
			}
		}
		// Fails on a folder that holds something else, which is to stay.
		_ = os.Remove(folder)
	}
	return nil
}

// isStaged reports whether a run makes a file of the name in its stage, or in the
// folder of inputs there, or begins one.
func isStaged(input bool, name string) bool {
	if base, ok := results.TemporaryBase(name); ok {
		name = base
	}
	if input {
		return sweep.IsCopyName(name)
	}
	return name == rankedFile || name == setpointsFile || name == manifestFile || name == replacedFile
}
