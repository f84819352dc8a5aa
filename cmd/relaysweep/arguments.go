package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"relaysweep/catalog"
)

// flagError words what is wrong with a flag for those who do not read the
// program's language.
func flagError(_ *cobra.Command, err error) error {
	var invalid *pflag.InvalidValueError
	if errors.As(err, &invalid) {
		takes := "a text"
		switch invalid.GetFlag().Value.Type() {
		case "int":
			takes = "a whole number"
		case "float64":
			takes = "a number with a decimal point, as 0.05"
		case "bool":
			takes = "true, false or nothing"
		}
		err = fmt.Errorf("--%s takes %s, found %q", invalid.GetFlag().Name, takes, invalid.GetValue())
	}
	return usageError{err}
}

// noCommand tells that there is no such command, and what might be meant.
func noCommand(cmd *cobra.Command, name string) error {
	err := fmt.Errorf("there is no command %q", name)
	if near := cmd.SuggestionsFor(name); name == "version" {
		err = fmt.Errorf("%w; relaysweep --version prints it", err)
	} else if len(near) > 0 {
		err = fmt.Errorf("%w; %s is the nearest", err, near[0])
	}
	return usageError{err}
}

// noPoint tells that a run has no such sweep point, and which it has.
func noPoint(point, points int) error {
	has := fmt.Sprintf("points 0 to %d", points-1)
	if points == 1 {
		has = "point 0 only"
	}
	return usageError{fmt.Errorf("there is no point %d: the run has %s", point, has)}
}

// noRank tells that a sweep point has no such rank, and which it has.
func noRank(point, rank, designs int) error {
	has := fmt.Sprintf("ranks 1 to %d", designs)
	switch designs {
	case 0:
		has = "no designs"
	case 1:
		has = "rank 1 only"
	}
	return usageError{fmt.Errorf("point %d has no rank %d: it has %s", point, rank, has)}
}

// Bounds of the search for results below a folder: deeper, or among more files,
// nobody keeps them.
const (
	levelsBelow  = 3
	entriesBelow = 10_000
	namedBelow   = 20
)

// missingResults words the error of a folder whose manifest could not be read:
// where nothing of a run stands there, it names the folders below that hold
// results.
func missingResults(folder string, err error) error {
	shown := catalog.Visible(folder)
	info, statErr := os.Stat(folder)
	switch {
	case errors.Is(statErr, fs.ErrNotExist):
		return fmt.Errorf("%s: there is no such folder", shown)
	case statErr == nil && !info.IsDir():
		return fmt.Errorf("%s: is a file, and has to be the output folder of a run", shown)
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	below := resultsBelow(folder)
	if len(below) == 0 {
		return fmt.Errorf("%s: holds no results of a run (no %s), nor does any folder below it", shown, manifestFile)
	}
	more := ""
	if n := len(below) - namedBelow; n > 0 {
		below, more = below[:namedBelow], fmt.Sprintf("\n    and %d more", n)
	}
	return fmt.Errorf("%s: holds no results of a run (no %s); those below it are\n    %s%s", shown, manifestFile, strings.Join(below, "\n    "), more)
}

// resultsBelow are the folders below one that hold a manifest, in order.
func resultsBelow(folder string) []string {
	var found []string
	entries := 0
	top := strings.Count(filepath.Clean(folder), string(filepath.Separator))
	// What cannot be read is passed over: it is only for a hint.
	_ = filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if entries++; entries > entriesBelow {
			return fs.SkipAll
		}
		switch {
		case err != nil:
			return fs.SkipDir
		case e.IsDir() && strings.Count(filepath.Clean(path), string(filepath.Separator))-top > levelsBelow:
			return fs.SkipDir
		case !e.IsDir() && e.Name() == manifestFile:
			found = append(found, catalog.Visible(filepath.Dir(path)))
		}
		return nil
	})
	return found
}
