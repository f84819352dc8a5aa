package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"

	"relaysweep/results"
	"relaysweep/sweep"
)

// The files of an output folder, besides the journal and the lock.
const (
	rankedFile    = "ranked.parquet"
	setpointsFile = "setpoints.parquet"
	manifestFile  = "run.json"
	logFile       = sweep.LogFile
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
	f, err := os.OpenFile(filepath.Join(folder, results.TemporaryName(tryBase)), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		var cause *fs.PathError
		if errors.As(err, &cause) {
			err = cause.Err // the name of that file helps nobody
		}
		return fmt.Errorf("%s: no file can be made there: %w", folder, err)
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// origin is this program.
func origin() sweep.Origin {
	return sweep.Origin{Version: version, Build: buildDigest()}
}

// buildDigest is the digest of the program's own file, empty where that can't
// be read: what another build does in other steps can't be gone on with.
func buildDigest() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}

// openLog opens a folder's log of events, to append to it.
func openLog(folder string) (*slog.Logger, *os.File, error) {
	f, err := os.OpenFile(filepath.Join(folder, logFile), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666)
	if err != nil {
		return nil, nil, err
	}
	return slog.New(slog.NewTextHandler(f, nil)).With("pid", os.Getpid()), f, nil
}

// readFinished reads the manifest of a folder that holds the complete results
// of this very job, by this very program; nil where it does not. What stands there
// and can't be known for results of any run is an error, unless an unfinished job
// is to be gone on with.
func readFinished(folder string, job *sweep.Job, by sweep.Origin) (*results.Manifest, error) {
	m, err := inspect(folder)
	if err != nil {
		if _, unfinished := os.Lstat(filepath.Join(folder, sweep.JournalFile)); unfinished == nil {
			return nil, nil
		}
		return nil, fmt.Errorf("%w\n    relaysweep run --restart SPEC does the job again, and keeps beside its results what it can't tell to be a run's", err)
	}
	if m == nil || !m.Complete || m.Version != by.Version || m.Build != by.Build ||
		m.SpecSHA256 != job.Spec.SHA256 || !slices.Equal(m.Catalogs, catalogFiles(job)) ||
		!slices.Equal(m.GlassTables, glassFiles(job)) || !m.Owned.Same(ownedFile(job, nil)) || len(m.Points) != len(job.Points) {
		return nil, nil
	}
	return m, nil
}

// holdsComplete reports whether a folder holds the complete results of any run.
func holdsComplete(folder string) bool {
	m, err := inspect(folder)
	return err == nil && m != nil && m.Complete
}
