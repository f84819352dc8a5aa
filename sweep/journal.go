package sweep

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"relaysweep/sweep/journal"
)

// journalFormat is the version of the journal's format. Change it with
// whatever the records hold or mean.
const journalFormat = 8

// Origin is the program that does a job. What one program has begun another
// may do in other steps, so that it must not go on with it.
type Origin struct {
	Version string
	Build   string // digest of the program
}

// header is the first record of a journal: what has to be the same for the
// rest to be gone on with.
type header struct {
	Format   int               `json:"format"`
	Version  string            `json:"version"`
	Build    string            `json:"build"`
	Part     string            `json:"part,omitempty"`
	Spec     string            `json:"spec"` // its file as seen from the output folder, with slashes
	SpecSHA  string            `json:"spec_sha256"`
	Keys     map[string]string `json:"keys"`     // values of the spec, to tell what changed
	Catalogs map[string]string `json:"catalogs"` // digests by file
	Started  time.Time         `json:"started"`
}

// JournalFile is the name of an unfinished job's journal in its folder.
const JournalFile = "journal"

// Journal is the log of a job's finished units of work, from which the same
// job goes on where it stopped. A unit is a step of the search that depends on
// the steps before it only: a window of lengths, a batch of ray checks, a whole
// sweep point. The same job does the same units in the same order, so that
// replaying what they brought leads to where the journal ends. The points of its records
// are the sweep points.
type Journal struct {
	*journal.Journal
	header header
}

// The kinds of records.
const (
	recordLeast  = 'L' // the length to start from
	recordWindow = 'W' // one window of lengths
	recordChecks = 'C' // one batch of ray checks, taken off a walk
	recordEased  = 'F' // one batch of checks with limits lifted, likewise
	recordScreen = 'N' // one batch of screens for refinement, likewise
	recordRefine = 'R' // one batch of refinements
	recordGrades = 'G' // one batch of a population search
	recordPoint  = 'P' // a finished sweep point
	recordIdeal  = 'I' // a sweep point's ideal limit
	recordEnd    = 'E' // all of a part's sweep points are finished; as of the first point
)

// recordsKept are the kinds that are no units of a search.
var recordsKept = string([]byte{recordPoint, recordIdeal, recordEnd})

// createJournal begins a journal in place of any other.
func createJournal(path string, h header) (*Journal, error) {
	data, err := json.Marshal(h)
	if err != nil {
		return nil, err
	}
	j, err := journal.Create(path, data)
	if err != nil {
		return nil, err
	}
	return &Journal{j, h}, nil
}

// journalOf is a journal that was opened, with the header of its job.
func journalOf(j *journal.Journal, err error) (*Journal, error) {
	if err != nil {
		return nil, err
	}
	var h header
	if err := json.Unmarshal(j.Header(), &h); err != nil {
		_ = j.Close()
		return nil, j.Damaged(fmt.Errorf("is no journal of this program: %w", err))
	}
	return &Journal{j, h}, nil
}

// readJournal reads a journal, to be appended to. The error is fs.ErrNotExist where there
// is none.
func readJournal(path string) (*Journal, error) { return journalOf(journal.Open(path, recordsKept)) }

// lookInto reads a journal and leaves the file as it is.
func lookInto(path string) (*Journal, error) {
	return journalOf(journal.OpenToRead(path, recordsKept))
}

// UnitsKept is how many units earlier attempts have recorded, finished points among them.
func (j *Journal) UnitsKept() int {
	n := j.Recorded()
	if j.ended() {
		n--
	}
	return n
}

// PointsDone is how many sweep points earlier attempts have finished.
func (j *Journal) PointsDone() int { return j.PointsWith(recordPoint) }

// ended reports whether earlier attempts have finished all of the job's part.
func (j *Journal) ended() bool {
	_, ok := j.Kept(recordEnd, 0)
	return ok
}

// Started is when the first attempt began.
func (j *Journal) Started() time.Time { return j.header.Started }

// header describes the job as it stands.
func (j *Job) header(output string, part Part, origin Origin) header {
	h := header{
		Format: journalFormat, Version: origin.Version, Build: origin.Build,
		Spec: seenFrom(output, j.Spec.File), SpecSHA: j.Spec.SHA256, Keys: j.Spec.Values(),
		Catalogs: map[string]string{}, Started: time.Now().UTC().Truncate(time.Second),
	}
	if !part.Whole() {
		h.Part = part.String()
	}
	for _, t := range slices.Concat(j.Catalog.Tables, j.Catalog.GlassTables, j.Catalog.Drawers()) {
		h.Catalogs[t.File] = t.SHA256
	}
	return h
}

// seenFrom is a file's path relative to a folder where there is one: a tree
// that holds both can then be moved, or be mounted elsewhere.
func seenFrom(folder, file string) string {
	folder, errFolder := filepath.Abs(folder)
	file, errFile := filepath.Abs(file)
	path, errRel := filepath.Rel(folder, file)
	if errors.Join(errFolder, errFile, errRel) != nil {
		path = file
	}
	return filepath.ToSlash(path)
}

// specFile is the spec's file for a header read from a folder's journal.
func (h *header) specFile(output string) string {
	path := filepath.FromSlash(h.Spec)
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(output, path)
}

// changes are what differs between two headers so that the journal of one
// can't be gone on with by the other, each a line.
func (h *header) changes(now *header) []string {
	var changes []string
	changed := func(what, then, now string) {
		if then != now {
			changes = append(changes, fmt.Sprintf("%s: %s then, %s now", what, then, now))
		}
	}
	if h.Format != now.Format {
		// What follows the format may mean something else.
		changed("format of the journal", fmt.Sprint(h.Format), fmt.Sprint(now.Format))
		return changes
	}
	changed("version of relaysweep", h.Version, now.Version)
	if h.Version == now.Version && h.Build != now.Build {
		changes = append(changes, "relaysweep: another build of version "+now.Version)
	}
	changed("part", h.Part, now.Part)
	if h.SpecSHA != now.SpecSHA {
		before := len(changes)
		for _, key := range unionOfKeys(h.Keys, now.Keys) {
			changed("spec: "+key, orNone(h.Keys[key]), orNone(now.Keys[key]))
		}
		if len(changes) == before {
			changes = append(changes, "spec: its text, but no value")
		}
	}
	for _, file := range unionOfKeys(h.Catalogs, now.Catalogs) {
		then, before := h.Catalogs[file]
		digest, still := now.Catalogs[file]
		switch {
		case !before:
			changes = append(changes, "catalog: "+file+" is new")
		case !still:
			changes = append(changes, "catalog: "+file+" is no more in use")
		case then != digest:
			changes = append(changes, "catalog: "+file+" has changed")
		}
	}
	return changes
}

func unionOfKeys(a, b map[string]string) []string {
	all := maps.Clone(a)
	if all == nil {
		all = map[string]string{}
	}
	maps.Copy(all, b)
	return slices.Sorted(maps.Keys(all))
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

// ChangedError tells that a folder holds the unfinished job of another spec,
// catalog or program.
type ChangedError struct {
	Folder  string
	Changes []string // each a line
}

func (e *ChangedError) Error() string {
	return fmt.Sprintf("%s: holds an unfinished job of something else:\n    %s\n    put that back, or drop what was done by --restart",
		e.Folder, strings.Join(e.Changes, "\n    "))
}

// OpenJournal opens the journal of the job, or of a part of it, below the
// output folder, or begins one: where there is none, where restart drops it,
// or where nothing was recorded. A journal of something else is a
// [ChangedError]. The caller holds the folder's [journal.Lock].
func (j *Job) OpenJournal(output string, part Part, origin Origin, restart bool) (*Journal, error) {
	path := filepath.Join(part.Folder(output), JournalFile)
	now := j.header(output, part, origin)
	if restart {
		return createJournal(path, now)
	}
	kept, err := readJournal(path)
	if errors.Is(err, fs.ErrNotExist) {
		return createJournal(path, now)
	}
	if err != nil {
		return nil, err
	}
	changes := kept.header.changes(&now)
	if len(changes) == 0 {
		return kept, nil
	}
	if err := kept.Close(); err != nil {
		return nil, err
	}
	if kept.Recorded() == 0 {
		return createJournal(path, now)
	}
	return nil, &ChangedError{part.Folder(output), changes}
}
