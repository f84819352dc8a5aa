package journal

import (
	"os"
	"path/filepath"
	"testing"
)

// TestReleaseMoved: a lock whose folder was moved away leaves that of another in its
// place alone.
func TestReleaseMoved(t *testing.T) {
	output := t.TempDir()
	folder, away := filepath.Join(output, "here"), filepath.Join(output, "away")
	if err := os.Mkdir(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	first, err := LockFolder(folder)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(folder, away); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	second, err := LockFolder(folder)
	if err != nil {
		t.Fatal(err)
	}
	if err := first.Release(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(folder, LockFile)); err != nil {
		t.Errorf("the other's lock is gone: %v", err)
	}
	if err := second.Release(); err != nil {
		t.Error(err)
	}
}
