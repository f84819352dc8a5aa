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
)

// journalFormat is the version of the journal's format. Change it with
// whatever the records hold or mean.
const journalFormat = 5

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

func (h *header) encode() ([]byte, error) {
	data, err := json.Marshal(h)
	return append([]byte{recordHeader}, data...), err
}

func decodeHeader(payload []byte) (header, error) {
	var h header
	if payload[0] != recordHeader {
		return h, errors.New("is no journal of this program")
	}
	if err := json.Unmarshal(payload[1:], &h); err != nil {
		return h, fmt.Errorf("is no journal of this program: %w", err)
	}
	return h, nil
}

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
	for _, t := range slices.Concat(j.Catalog.Tables, j.Catalog.GlassTables) {
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
// [ChangedError]. The caller holds the folder's [Lock].
func (j *Job) OpenJournal(output string, part Part, origin Origin, restart bool) (*Journal, error) {
	path := filepath.Join(part.Folder(output), JournalFile)
	now := j.header(output, part, origin)
	if restart {
		return createJournal(path, now)
	}
	journal, err := readJournal(path, true)
	if errors.Is(err, fs.ErrNotExist) {
		return createJournal(path, now)
	}
	if err != nil {
		return nil, err
	}
	changes := journal.header.changes(&now)
	if len(changes) == 0 {
		return journal, nil
	}
	if err := journal.Close(); err != nil {
		return nil, err
	}
	if journal.units == 0 && !journal.ended {
		return createJournal(path, now)
	}
	return nil, &ChangedError{part.Folder(output), changes}
}
