package results

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func emptyFolder(t *testing.T, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		t.Errorf("left behind: %s", e.Name())
	}
}

func TestWriteWhole(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "run.json")
	for _, text := range []string{"first", "", "a longer third"} {
		err := WriteWhole(path, func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := os.ReadFile(path); string(got) != text {
			t.Errorf("holds %q, not %q", got, text)
		}
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("the folder holds %v", entries)
	}
	// Whoever may read a file made in the usual way may read this one.
	usual := filepath.Join(dir, "usual")
	if err := os.WriteFile(usual, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	a, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.Stat(usual)
	if err != nil {
		t.Fatal(err)
	}
	if a.Mode() != b.Mode() {
		t.Errorf("mode %v, a usual file has %v", a.Mode(), b.Mode())
	}
}

func TestWriteWholeFails(t *testing.T) {
	errHalfWay := errors.New("no more ink")
	halfWay := func(w io.Writer) error {
		// More than is buffered, so that the half is on the disk.
		if _, err := w.Write(make([]byte, 1<<20)); err != nil {
			return err
		}
		return errHalfWay
	}

	t.Run("half way", func(t *testing.T) {
		dir := t.TempDir()
		path := filepath.Join(dir, "x")
		if err := WriteWhole(path, halfWay); !errors.Is(err, errHalfWay) || !strings.Contains(err.Error(), path) {
			t.Errorf("error %v", err)
		}
		emptyFolder(t, dir)
	})
	t.Run("old file stays", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "x")
		if err := os.WriteFile(path, []byte("old"), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := WriteWhole(path, halfWay); err == nil {
			t.Error("no error")
		}
		if got, _ := os.ReadFile(path); string(got) != "old" {
			t.Errorf("holds %d bytes that are not the old ones", len(got))
		}
		if entries, _ := os.ReadDir(filepath.Dir(path)); len(entries) != 1 {
			t.Errorf("the folder holds %v", entries)
		}
	})
	t.Run("panic", func(t *testing.T) {
		dir := t.TempDir()
		func() {
			defer func() {
				if recover() == nil {
					t.Error("the panic did not come through")
				}
			}()
			_ = WriteWhole(filepath.Join(dir, "x"), func(io.Writer) error { panic("torn paper") })
		}()
		emptyFolder(t, dir)
	})
	t.Run("missing folder", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "none", "x")
		err := WriteWhole(path, func(io.Writer) error { return nil })
		if !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), path) || strings.Contains(err.Error(), ".tmp") {
			t.Errorf("error %v", err)
		}
	})
	t.Run("folder in the way", func(t *testing.T) {
		dir := t.TempDir()
		path := filepath.Join(dir, "x")
		if err := os.MkdirAll(filepath.Join(path, "full"), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := WriteWhole(path, func(io.Writer) error { return nil }); err == nil {
			t.Error("no error")
		}
		if entries, _ := os.ReadDir(dir); len(entries) != 1 {
			t.Errorf("the folder holds %v", entries)
		}
	})
	t.Run("read-only folder", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.Chmod(dir, 0o555); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, "x")
		err := WriteSetpoints(path, nil, madeSetpoints(1))
		if os.Geteuid() == 0 {
			// Root may write into any folder: all there is to see is that it
			// did so whole.
			if err != nil {
				t.Error(err)
			}
			return
		}
		if !errors.Is(err, fs.ErrPermission) {
			t.Errorf("error %v", err)
		}
		emptyFolder(t, dir)
	})
}

// A disk that fills up at any place of a Parquet file is an error, also where
// the encoder swallows it.
func TestEncodingToAFullDisk(t *testing.T) {
	rows := madeSetpoints(40)
	encode := func(w io.Writer) error {
		b := bufio.NewWriterSize(w, 16) // small: every place is a boundary
		if err := encodeRows(b, setpointColumns, nil, rows, (*Setpoint).name); err != nil {
			return err
		}
		return b.Flush()
	}
	var whole bytes.Buffer
	if err := encode(&whole); err != nil {
		t.Fatal(err)
	}
	for left := 0; left < whole.Len(); left += 1 + whole.Len()/60 {
		if err := encode(&limitedWriter{left}); err == nil {
			t.Errorf("no error when full after %d of %d bytes", left, whole.Len())
		}
	}
	if err := encode(&limitedWriter{whole.Len()}); err != nil {
		t.Errorf("error on a disk that just holds it: %v", err)
	}
}

// TestLeftBehind: the beginning of a file that a killed process has left is removed
// by the next one that writes it; what another one is at stays, and so does what
// only looks alike.
func TestLeftBehind(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "x")
	alike := []string{".x.0123456789abcdef01234567.tmp", ".x.tmp", TemporaryName("y")}
	left, held := TemporaryName("x"), TemporaryName("x")
	for _, name := range append(alike, left, held) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("half"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.OpenFile(filepath.Join(dir, held), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := hold(f); holds && err != nil {
		t.Fatal(err)
	}
	if err := WriteWhole(path, func(io.Writer) error { return nil }); err != nil {
		t.Fatal(err)
	}
	for _, name := range append(alike, held, "x") {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, left)); holds && err == nil {
		t.Error("what was left behind is still there")
	}
	if !IsTemporary(left, "x") || IsTemporary(left, "y") || IsTemporary(alike[0], "x") || IsTemporary("x", "x") {
		t.Error("temporary names are not told apart")
	}
}
