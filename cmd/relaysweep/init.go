package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/results"
)

// initSpec is the spec to start from, with marks for what depends on the place.
//
//go:embed init.toml
var initSpec string

// initFile is the spec that init writes when no name is given.
const initFile = "bench.toml"

// demoCatalog is the table of invented lenses, from the top of the program's
// sources.
var demoCatalog = filepath.Join("testdata", "demo", "stock.csv")

func newInitCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "init [FILE]",
		Short: "write a commented spec to start from",
		Long: `Writes a commented spec to start from, ` + initFile + ` if no name is given: the
required keys with a question beside each, and the limits that are to be set
first. It names the demo table of invented lenses where that is found in the
folder of the spec, the present one, that of the program, or one above them. It
asks nothing, and never writes over a file.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{fmt.Errorf("init takes one argument, the spec to write; found %d", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			path := initFile
			if len(args) == 1 {
				path = args[0]
			}
			text, found, err := specToStart(path)
			if err != nil {
				return err
			}
			if err := writeNew(path, []byte(text)); err != nil {
				return err
			}
			shown := catalog.Visible(path)
			if !found {
				fmt.Fprintf(cmd.ErrOrStderr(), "the demo table of lenses is not near: put your own under catalog.files in %s\n", shown)
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s written: answer its questions, then relaysweep check %s\n", shown, shown)
			return err
		},
	}
}

// specToStart is the spec for a path, and whether there is a table of lenses
// where it says.
func specToStart(path string) (text string, found bool, err error) {
	folder, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return "", false, err
	}
	table, found := findDemo(folder)
	text = strings.NewReplacer(
		"{{FILE}}", catalog.Visible(filepath.Base(path)),
		"{{NAME}}", nameFrom(path),
		`"{{CATALOG}}"`, strconv.Quote(filepath.ToSlash(table)),
	).Replace(initSpec)
	return text, found, nil
}

// nameFrom makes a job's name of that of the spec's file.
func nameFrom(path string) string {
	base := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	name := strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '_':
			return c
		}
		return '-'
	}, base)
	if strings.Trim(name, "-_") == "" {
		return "bench"
	}
	return name
}

// findDemo looks for the demo's table in the folders given below, and above
// them. It is relative to the spec's folder where that can be.
func findDemo(specFolder string) (string, bool) {
	starts := []string{specFolder}
	if here, err := os.Getwd(); err == nil {
		starts = append(starts, here)
	}
	if program, err := os.Executable(); err == nil {
		starts = append(starts, filepath.Dir(program))
	}
	for _, start := range starts {
		for folder := start; ; folder = filepath.Dir(folder) {
			path := filepath.Join(folder, demoCatalog)
			if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() {
				if relative, err := filepath.Rel(specFolder, path); err == nil {
					path = relative
				}
				return path, true
			}
			if folder == filepath.Dir(folder) {
				break
			}
		}
	}
	return demoCatalog, false
}

// writeNew writes a file that is not there yet, whole or not at all: into
// another one that then gets the name, which fails where it is taken.
func writeNew(path string, data []byte) error {
	taken := func(err error) error {
		shown := catalog.Visible(path)
		if errors.Is(err, fs.ErrExist) {
			return usageError{fmt.Errorf("%s is there already, and is left as it is: name another file", shown)}
		}
		var inPath *fs.PathError
		var link *os.LinkError
		switch {
		case errors.As(err, &inPath):
			err = inPath.Err
		case errors.As(err, &link):
			err = link.Err
		}
		return fmt.Errorf("%s: cannot be written: %w", shown, err)
	}
	if _, err := os.Lstat(path); err == nil {
		return taken(fs.ErrExist)
	}
	folder, base := filepath.Split(path)
	whole := folder + results.TemporaryName(base)
	if err := writeSynced(whole, data); err != nil {
		return taken(err)
	}
	defer func() { _ = os.Remove(whole) }() // it has the other name by then, or is of no use
	err := os.Link(whole, path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		// Some file systems give no second name to a file.
		err = writeSynced(path, data)
	}
	if err != nil {
		return taken(err)
	}
	return nil
}

// writeSynced makes a new file, and removes it again where that fails.
func writeSynced(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		_ = os.Remove(path)
	}
	return err
}
