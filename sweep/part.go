package sweep

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// Part is one of several parts of a job that are done apart, on one machine or
// many, and joined by [Job.Merge]. The zero value is the whole job.
//
// A job of at least as many sweep points as parts is divided by points, one
// after the other to each part. With fewer points each point is divided: a part
// has the designs with the front groups that fall to it.
type Part struct {
	Index int // from 0
	Count int // of parts; 0 for the whole job
}

// partsFolder is the folder of an output folder in which parts keep their
// journals, each in a folder named as partName tells.
const partsFolder = "parts"

// LogFile is the name of the log of events in the folder of a job or of a part.
const LogFile = "job.log"

// partsMost bounds the number of parts.
const partsMost = 10_000

var (
	partText = regexp.MustCompile(`^(\d{1,6})/(\d{1,6})$`)
	partName = regexp.MustCompile(`^(\d{1,6})-of-(\d{1,6})$`)
)

// ParsePart reads a part as I/N, the I-th of N parts, from 1.
func ParsePart(text string) (Part, error) {
	if p, ok := partOf(partText.FindStringSubmatch(text)); ok {
		return p, nil
	}
	return Part{}, fmt.Errorf("%q is no part: has to be I/N, the I-th of N parts, as 2/4; N is at most %d", text, partsMost)
}

func partOf(match []string) (Part, bool) {
	if match == nil {
		return Part{}, false
	}
	i, errIndex := strconv.Atoi(match[1])
	n, errCount := strconv.Atoi(match[2])
	ok := errIndex == nil && errCount == nil && 1 <= i && i <= n && n <= partsMost
	return Part{i - 1, n}, ok
}

// Whole reports whether it is the whole job.
func (p Part) Whole() bool { return p.Count == 0 }

// String is the part as [ParsePart] reads it.
func (p Part) String() string { return fmt.Sprintf("%d/%d", p.Index+1, p.Count) }

// Folder is where the part keeps its journal, given the output folder: that
// folder itself for the whole job.
func (p Part) Folder(output string) string {
	if p.Whole() {
		return output
	}
	return filepath.Join(output, partsFolder, fmt.Sprintf("%d-of-%d", p.Index+1, p.Count))
}

// PartsFolder is the folder of all parts, given the output folder.
func PartsFolder(output string) string { return filepath.Join(output, partsFolder) }

// byPoints reports whether parts are made of whole points.
func (p Part) byPoints(points int) bool { return p.Whole() || points >= p.Count }

// takesPoint reports whether a point falls to the part, of a job divided by
// points.
func (p Part) takesPoint(index int) bool { return p.Whole() || index%p.Count == p.Index }

// takesFront reports whether the designs with a group in front fall to the part.
// It depends on the group's lenses only, so that a group falls to the same part
// whatever is asked of it.
func (p Part) takesFront(front []*objective.Element) bool {
	if p.Whole() {
		return true
	}
	h := fnv.New64a()
	for _, e := range front {
		var place [4]byte
		binary.LittleEndian.PutUint32(place[:], uint32(e.Index))
		_, _ = h.Write(place[:]) // never fails
	}
	sum := h.Sum64()
	return (sum^sum>>32)%uint64(p.Count) == uint64(p.Index)
}

// partsIn are the parts that have a folder in an output folder, by number of
// parts and index.
func partsIn(output string) ([]Part, error) {
	entries, err := os.ReadDir(PartsFolder(output))
	if err != nil {
		if os.IsNotExist(err) {
			return nil, nil
		}
		return nil, err
	}
	var parts []Part
	for _, e := range entries {
		if p, ok := partOf(partName.FindStringSubmatch(e.Name())); ok && e.IsDir() {
			parts = append(parts, p)
		}
	}
	slices.SortFunc(parts, func(a, b Part) int {
		if a.Count != b.Count {
			return a.Count - b.Count
		}
		return a.Index - b.Index
	})
	return parts, nil
}

// OtherParts returns an error where the output folder holds parts of the job
// that was divided otherwise: parts of two divisions do not go together.
func (p Part) OtherParts(output string) error {
	parts, err := partsIn(output)
	if err != nil {
		return err
	}
	for _, q := range parts {
		if q.Count != p.Count {
			return fmt.Errorf("%s: holds parts of %d, which don't go together with parts of %d\n    go on with those, or remove that folder",
				PartsFolder(output), q.Count, p.Count)
		}
	}
	return nil
}

// Divides reports whether the job can be done in the parts of which this is one:
// an error where it can't.
func (j *Job) Divides(part Part) error {
	if !part.Whole() && j.Spec.Gives() {
		return &GivenPartError{part}
	}
	if part.byPoints(len(j.Points)) {
		return nil
	}
	for _, p := range j.Points {
		o := j.options(p.Spec)
		if o.optimize.wanted {
			return &OptimizePartError{part, len(j.Points)}
		}
		if o.refine.wanted() && (o.checksMax > 0 || o.refine.candidates > 0) {
			return &CappedPartError{part, len(j.Points)}
		}
	}
	return nil
}

// OptimizePartError refuses a population search in parts of a sweep point: it is
// not divided.
type OptimizePartError struct {
	Part   Part
	Points int
}

func (e *OptimizePartError) Error() string {
	return fmt.Sprintf("part %s would divide a sweep point, of which the job has %d: with search.method %q a job can be divided into at most as many parts as it has points",
		e.Part, e.Points, spec.SearchOptimize)
}

// CappedPartError refuses a capped search with refinement in parts of a sweep point: which
// designs come before the cap is known to no part alone.
type CappedPartError struct {
	Part   Part
	Points int
}

func (e *CappedPartError) Error() string {
	return fmt.Sprintf("part %s would divide a sweep point, of which the job has %d: with search.checks_max or refine.candidates a job that refines can be divided into at most as many parts as it has points\n    leave them at 0, or set refine.method = %q",
		e.Part, e.Points, spec.RefineNone)
}
