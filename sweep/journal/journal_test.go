package journal

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// TestDamage breaks a journal at every byte of its records, ends it there,
// or goes on in zeros as a file does whose end the disk has not seen: whatever
// is read is a beginning of what was written.
func TestDamage(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "journal")
	j, err := Create(path, []byte("header"))
	if err != nil {
		t.Fatal(err)
	}
	ends := []int64{j.end}
	for i := range 4 {
		if err := j.Append(Record{Kind: 'W', Point: i / 2, Body: []byte{7, 7, 7}}); err != nil {
			t.Fatal(err)
		}
		ends = append(ends, j.end)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	read := func(data []byte) *Journal {
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		j, err := Open(path, "")
		if err != nil {
			t.Fatal(err)
		}
		defer j.file.Close()
		if left, err := os.ReadFile(path); err != nil || !bytes.Equal(left, whole[:j.end]) {
			t.Fatalf("%d bytes are left, %v", len(left), err)
		}
		return j
	}
	before := func(at int) int { // whole records before a byte, without the header
		n := 0
		for n+1 < len(ends) && ends[n+1] <= int64(at) {
			n++
		}
		return n
	}
	for at := int(ends[0]); at < len(whole); at++ {
		if j := read(whole[:at]); j.Recorded() != before(at) {
			t.Errorf("cut at %d: %d units, not %d", at, j.Recorded(), before(at))
		}
		zeros := append(bytes.Clone(whole[:at]), make([]byte, 4096)...)
		if j := read(zeros); j.Recorded() != before(at) {
			t.Errorf("zeros from %d: %d units, not %d", at, j.Recorded(), before(at))
		}
		for bit := range 8 {
			broken := bytes.Clone(whole)
			broken[at] ^= 1 << bit
			if j := read(broken); j.Recorded() != before(at) {
				t.Errorf("bit %d of byte %d: %d units, not %d", bit, at, j.Recorded(), before(at))
			}
		}
	}
	// A record is bound to its place.
	second := append(bytes.Clone(whole[:ends[0]]), whole[ends[1]:]...)
	if j := read(second); j.Recorded() != 0 {
		t.Errorf("without the first unit there are %d", j.Recorded())
	}
	// Without a whole header there is nothing to go on from.
	for at := range int(ends[0]) {
		if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
			t.Fatal(err)
		}
		var damaged *DamagedError
		if _, err := Open(path, ""); !errors.As(err, &damaged) {
			t.Fatalf("a header of %d bytes: %v", at, err)
		}
	}
}

// TestKeptAndUnits: records of the kinds kept come by kind, the last of each, the others
// in the order in which they were appended, each at its point.
func TestKeptAndUnits(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal")
	j, err := Create(path, []byte("header"))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []Record{
		{'W', 1, []byte("a")}, {'K', 1, []byte("old")}, {'C', 1, nil}, {'W', 300, []byte("c")}, {'K', 1, []byte("new")}, {'W', 1, []byte("d")},
	} {
		if err := j.Append(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if j, err = OpenToRead(path, "K"); err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if string(j.Header()) != "header" || j.Recorded() != 6 || j.PointsWith('K') != 1 {
		t.Errorf("header %q, %d records, %d points with K", j.Header(), j.Recorded(), j.PointsWith('K'))
	}
	if body, ok := j.Kept('K', 1); !ok || string(body) != "new" {
		t.Errorf("kept %q, %v", body, ok)
	}
	if _, ok := j.Kept('K', 300); ok {
		t.Error("a point has a record of another")
	}
	for point, want := range map[int][]string{1: {"Wa", "C", "Wd"}, 300: {"Wc"}, 2: nil} {
		var got []string
		for units := j.Units(point); ; {
			kind, err := units.Peek()
			if err != nil {
				t.Fatal(err)
			}
			r, err := units.Next()
			if err != nil {
				t.Fatal(err)
			}
			if r == nil {
				break
			}
			if r.Kind != kind || r.Point != point {
				t.Errorf("%c of point %d, seen as %c of %d", r.Kind, r.Point, kind, point)
			}
			got = append(got, string(r.Kind)+string(r.Body))
		}
		if !slices.Equal(got, want) {
			t.Errorf("point %d has %q, not %q", point, got, want)
		}
	}
}

// TestCreateBeside: what a killed process left under the name of a new journal is replaced;
// a file or link of another stays.
func TestCreateBeside(t *testing.T) {
	for name, c := range map[string]struct {
		make func(path string) error
		ours bool
	}{
		"torn":   {func(path string) error { return os.WriteFile(path, []byte("\x20\x00\x00\x00sum.H{"), 0o666) }, true},
		"empty":  {func(path string) error { return os.WriteFile(path, nil, 0o666) }, true},
		"diary":  {func(path string) error { return os.WriteFile(path, []byte("Dear diary"), 0o666) }, false},
		"short":  {func(path string) error { return os.WriteFile(path, []byte("a"), 0o666) }, false},
		"link":   {func(path string) error { return os.Symlink("elsewhere", path) }, false},
		"folder": {func(path string) error { return os.Mkdir(path, 0o777) }, false},
	} {
		path := filepath.Join(t.TempDir(), "journal")
		if err := c.make(path + NewSuffix); err != nil {
			t.Fatal(err)
		}
		j, err := Create(path, []byte("header"))
		if (err == nil) != c.ours {
			t.Errorf("%s: %v", name, err)
		}
		_, left := os.Lstat(path + NewSuffix)
		if (left == nil) == c.ours {
			t.Errorf("%s: afterwards %v", name, left)
		}
		if err == nil {
			_ = j.Close()
		}
	}
}

// FuzzOpen reads whatever a file can hold.
func FuzzOpen(f *testing.F) {
	record, sum := frame(0, []byte("Hheader"))
	unit, _ := frame(sum, []byte{'W', 0, 1, 2})
	f.Add(append(record, unit...))
	path := filepath.Join(f.TempDir(), "journal")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		j, err := Open(path, "P")
		if err != nil {
			return
		}
		defer j.file.Close()
		for point := range j.points {
			for units := j.Units(point); ; {
				r, err := units.Next()
				if err != nil {
					t.Fatal(err)
				}
				if r == nil {
					break
				}
			}
		}
	})
}
