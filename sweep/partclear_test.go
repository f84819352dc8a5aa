package sweep

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// TestClearParts clears parts that were moved away: whole ones, ones that an
// attempt killed meanwhile has cleared halfway, and ones with someone's own files
// among them, which go back to where they were.
func TestClearParts(t *testing.T) {
	for name, c := range map[string]struct{ files, stay []string }{
		"whole":   {files: []string{"1-of-2/journal", "1-of-2/job.log", "2-of-2/journal", "2-of-2/run.lock", "2-of-2/journal.new"}},
		"halfway": {files: []string{"2-of-2/job.log"}},
		"empty":   {},
		"others": {
			files: []string{"1-of-2/journal", "2-of-2/job.log"},
			stay:  []string{"notes.txt", "1-of-2/mine.csv", "1-of-2x/journal", "3-of-2/journal"},
		},
	} {
		output := t.TempDir()
		away, home := filepath.Join(output, "away"), PartsFolder(output)
		if err := os.MkdirAll(filepath.Join(away, "1-of-2"), 0o777); err != nil {
			t.Fatal(err)
		}
		for _, file := range append(c.files, c.stay...) {
			path := filepath.Join(away, file)
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(file), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		if err := ClearParts(away, home); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(away); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: is not cleared: %v", name, err)
		}
		for _, file := range c.stay {
			if data, err := os.ReadFile(filepath.Join(home, file)); err != nil || string(data) != file {
				t.Errorf("%s: %s has not stayed: %v", name, file, err)
			}
		}
		for _, file := range c.files {
			if _, err := os.Stat(filepath.Join(home, file)); err == nil {
				t.Errorf("%s: %s has stayed", name, file)
			}
		}
		if _, err := os.Stat(home); len(c.stay) == 0 && err == nil {
			t.Errorf("%s: the folder has come back", name)
		}
	}
}

// TestRemoveJournal: what has a journal's name and is none stays.
func TestRemoveJournal(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, JournalFile)
	if err := RemoveJournal(folder); err != nil {
		t.Error(err)
	}
	if err := os.WriteFile(path, []byte("Dear diary"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := RemoveJournal(folder); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Error(err)
	}
	j, err := createJournal(path, header{})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := RemoveJournal(folder); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the journal is still there: %v", err)
	}
}
