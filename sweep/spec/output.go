package spec

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"relaysweep/catalog"
)

// CheckOutput refuses an output folder that contains the spec or one of its
// tables: what a run replaces and what it is made from stand apart.
func (s *Spec) CheckOutput() catalog.Faults {
	output := realPath(s.OutputDir())
	var inside []string
	files := slices.Concat([]catalog.File{{Path: s.File, Shown: s.File}}, s.LensFiles(), s.GlassFiles())
	if owned := s.OwnedFile(); owned != nil {
		files = append(files, *owned)
	}
	for _, f := range files {
		// A link counts where it stands, and what it leads to as well.
		place := filepath.Join(realPath(filepath.Dir(f.Path)), filepath.Base(f.Path))
		if contains(output, place) || contains(output, realPath(f.Path)) {
			inside = append(inside, f.Shown)
		}
	}
	if len(inside) == 0 {
		return nil
	}
	fault := catalog.Fault{
		File: s.File, Key: "job.output",
		Found: fmt.Sprintf("%s is a folder that contains %s", showValue(s.Job.Output), joinWords(inside, "and")),
		Want:  "a folder that holds neither the spec nor its tables, as \"out/" + s.Job.Name + "\"",
	}
	if data, err := os.ReadFile(s.File); err == nil {
		fault.Line = indexLines(string(data)).of("job", "output")
	}
	return catalog.Faults{fault}
}

// realPath is a path without links in it, as far as it exists.
func realPath(path string) string {
	path, err := filepath.Abs(path)
	if err != nil {
		return filepath.Clean(path)
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real
	}
	parent := filepath.Dir(path)
	if parent == path {
		return path
	}
	return filepath.Join(realPath(parent), filepath.Base(path))
}

// contains reports whether a path lies in a folder. Both are without links.
func contains(folder, path string) bool {
	rel, err := filepath.Rel(folder, path)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}
