package sweep

import (
	"fmt"
	"regexp"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// specCopy is the name of a spec's copy among the inputs of a run.
const specCopy = "spec.toml"

// ownedCopy is that of the table of what is there already.
const ownedCopy = "owned.csv"

// Input is a file that a job was read from.
type Input struct {
	Copy   string       // name of its copy in a folder of inputs
	File   catalog.File // where it is and how the user named it
	SHA256 string       // digest of the bytes that were read, hexadecimal
}

// Inputs are the files that the job was read from: the spec, the lens tables,
// the glass tables, the table of what is there already, each in the order of the spec. Copies under the names in
// Copy make a folder that [OpenInputs] reads.
func (j *Job) Inputs() []Input {
	inputs := []Input{{specCopy, catalog.File{Path: j.Spec.File, Shown: j.Spec.File}, j.Spec.SHA256}}
	for i, f := range j.Spec.LensFiles() {
		inputs = append(inputs, Input{lensCopy(i), f, j.Catalog.Tables[i].SHA256})
	}
	for i, f := range j.Spec.GlassFiles() {
		inputs = append(inputs, Input{glassCopy(i), f, j.Catalog.GlassTables[i].SHA256})
	}
	if f := j.Spec.OwnedFile(); f != nil {
		inputs = append(inputs, Input{ownedCopy, *f, j.Catalog.Drawer.SHA256})
	}
	return inputs
}

// CopyNames are the names of the copies of a spec, so many lens tables, so many glass
// tables, and the table of what is there already, where there is one, in the order of
// [Job.Inputs].
func CopyNames(lenses, glasses int, owned bool) []string {
	names := []string{specCopy}
	for i := range lenses {
		names = append(names, lensCopy(i))
	}
	for i := range glasses {
		names = append(names, glassCopy(i))
	}
	if owned {
		names = append(names, ownedCopy)
	}
	return names
}

// copyName matches the names of copies.
var copyName = regexp.MustCompile(`^(spec\.toml|owned\.csv|(lenses|glasses)-[1-9][0-9]*\.csv)$`)

// IsCopyName reports whether a copy of an input can have the name.
func IsCopyName(name string) bool { return copyName.MatchString(name) }

func lensCopy(i int) string  { return fmt.Sprintf("lenses-%d.csv", i+1) }
func glassCopy(i int) string { return fmt.Sprintf("glasses-%d.csv", i+1) }

// OpenInputs reads a job from copies, see [Job.Inputs], of which path tells where
// each stands: the spec's tables are read from there, wherever the spec says that
// they are. Messages and the catalog call them by the names in the spec. What is
// wrong comes as one [catalog.Faults].
func OpenInputs(path func(name string) string) (*Job, error) {
	s, err := spec.Read(path(specCopy))
	if err != nil {
		return nil, err
	}
	lenses, glasses := s.LensFiles(), s.GlassFiles()
	for i := range lenses {
		lenses[i].Path = path(lensCopy(i))
	}
	for i := range glasses {
		glasses[i].Path = path(glassCopy(i))
	}
	owned := s.OwnedFile()
	if owned != nil {
		owned.Path = path(ownedCopy)
	}
	return openTables(s, lenses, glasses, owned)
}

// openTables makes a job of a spec and its tables; owned may be nil.
func openTables(s *spec.Spec, lensFiles, glassFiles []catalog.File, owned *catalog.File) (*Job, error) {
	tables, err := catalog.Load(lensFiles, glassFiles)
	if err != nil {
		return nil, err
	}
	if owned != nil {
		if err := tables.Own(*owned); err != nil {
			return nil, err
		}
	}
	job := &Job{Spec: s, Catalog: tables, Points: s.Grid()}
	return job, job.givenFaults()
}

// LibraryOf is the catalog's lenses of the parts named, prepared for a problem
// of the job.
func (j *Job) LibraryOf(p *objective.Problem, parts map[string]bool) *objective.Library {
	var lenses []*catalog.Lens
	for _, l := range j.Catalog.Lenses {
		if parts[l.Part] {
			lenses = append(lenses, l)
		}
	}
	return objective.NewLibrary(p, lenses)
}
