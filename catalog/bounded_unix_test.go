//go:build unix

package catalog

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// What is no regular file, or too large, is refused before it is read: a pipe
// and a device would never end.
func TestReadFileIsBounded(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	large := filepath.Join(dir, "large")
	if err := os.WriteFile(large, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(large, 1<<30); err != nil {
		t.Fatal(err)
	}
	small := filepath.Join(dir, "small")
	if err := os.WriteFile(small, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(dir, "link")
	if err := os.Symlink(small, link); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ path, want string }{
		{pipe, "it is a device, pipe or socket, and has to be a regular file"},
		{"/dev/zero", "it is a device, pipe or socket"},
		{dir, "it is a directory"},
		{large, "it holds 1024 MB, and at most 32 MB are read"},
		{filepath.Join(dir, "none"), "no such file"},
	} {
		if _, err := ReadFile(c.path, TableBytesMost); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.path, err, c.want)
		}
	}
	if data, err := ReadFile(link, 3); err != nil || string(data) != "abc" {
		t.Errorf("%q, %v", data, err)
	}
	if _, err := ReadFile(small, 2); err == nil || !strings.Contains(err.Error(), "at most 1 kB") {
		t.Errorf("one byte too many: %v", err)
	}
	_, err := Load([]File{{pipe, "pipe.csv"}, {large, "large.csv"}}, nil)
	for _, want := range []string{"pipe.csv: cannot read", "large.csv: cannot read", "at most 32 MB"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
}
