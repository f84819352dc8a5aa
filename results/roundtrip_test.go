package results

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// sameBits compares numbers by their bits, so that -0 is not 0.
var sameBits = cmp.Options{
	cmp.Comparer(func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }),
	cmp.Comparer(func(a, b Value) bool {
		return a.kind == b.kind && math.Float64bits(a.number) == math.Float64bits(b.number) && a.whole == b.whole && a.text == b.text
	}),
}

func TestRankedRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ranked.parquet")
	rapid.Check(t, func(t *rapid.T) {
		sweep := anySweep(t)
		rows := make([]Design, rapid.IntRange(0, 6).Draw(t, "rows"))
		for i := range rows {
			rows[i] = anyRow[Design](t, sweep)
		}
		if err := WriteRanked(path, sweep, map[string]string{"spec_sha256": "0f"}, rows); err != nil {
			t.Fatal(err)
		}
		got, gotSweep, err := ReadRanked(path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(sweep, gotSweep); diff != "" {
			t.Errorf("swept keys, written - read +:\n%s", diff)
		}
		if diff := cmp.Diff(rows, got, sameBits); diff != "" {
			t.Errorf("rows, written - read +:\n%s", diff)
		}
	})
}

func TestSetpointsRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "setpoints.parquet")
	rapid.Check(t, func(t *rapid.T) {
		rows := make([]Setpoint, rapid.IntRange(0, 12).Draw(t, "rows"))
		for i := range rows {
			rows[i] = anyRow[Setpoint](t, nil)
		}
		if err := WriteSetpoints(path, nil, rows); err != nil {
			t.Fatal(err)
		}
		got, err := ReadSetpoints(path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(rows, got, sameBits); diff != "" {
			t.Errorf("rows, written - read +:\n%s", diff)
		}
	})
}

// More rows than a row group holds, so that lists and nulls cross from one to
// the next.
func TestRowGroups(t *testing.T) {
	path := filepath.Join(t.TempDir(), "setpoints.parquet")
	const n = rowGroupRows + 1000
	rows := madeSetpoints(n)
	if err := WriteSetpoints(path, nil, rows); err != nil {
		t.Fatal(err)
	}
	f, err := file.OpenParquetFile(path, false)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.NumRowGroups() != 2 || f.RowGroup(0).NumRows() > 64*1024 || f.RowGroup(1).NumRows() != 1000 {
		t.Errorf("%d row groups, the first of %d rows", f.NumRowGroups(), f.RowGroup(0).NumRows())
	}
	got, err := ReadSetpoints(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(rows, got, sameBits); diff != "" {
		t.Errorf("written - read +:\n%s", diff)
	}
}

func TestSameRowsSameBytes(t *testing.T) {
	dir := t.TempDir()
	meta := map[string]string{"a": "1", "b": "2", "c": "3", "d": "4", "e": "5"}
	var first []byte
	for i := range 8 { // a map's order may be the same twice, by chance
		path := filepath.Join(dir, "ranked.parquet")
		if err := WriteRanked(path, testAxes, meta, madeDesigns(20, testAxes)); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = data
		} else if !bytes.Equal(first, data) {
			t.Fatalf("write %d of the same rows differs from the first", i+1)
		}
	}
}

func TestRefusedValues(t *testing.T) {
	nan := math.NaN()
	cases := map[string]struct {
		spoil func(*Design)
		want  string // the column, as the error names it
	}{
		"number":        {func(d *Design) { d.LengthMM = nan }, "column length_mm: is NaN"},
		"optional":      {func(d *Design) { d.Price = &nan }, "column price: is NaN"},
		"swept":         {func(d *Design) { d.Swept[0] = FloatValue(nan) }, "column field.width_deg: is NaN"},
		"nested":        {func(d *Design) { d.Samples = []Sample{{}, {ViewDefocusD: nan}} }, "column samples: [1].view_defocus_D is NaN"},
		"kind":          {func(d *Design) { d.Swept[0] = IntValue(3) }, `column field.width_deg: is "3" of kind integer`},
		"text":          {func(d *Design) { d.Seat = "\xff" }, "column seat: is not UTF-8"},
		"nested text":   {func(d *Design) { d.Lenses = []Lens{{Part: "\xff"}} }, "column lenses: [0].part is not UTF-8"},
		"listed text":   {func(d *Design) { d.Active = []string{"gap", "\xff"} }, "column active: [1] is not UTF-8"},
		"too large":     {func(d *Design) { d.LensesCount = 1 << 40 }, "column lenses_count: is 1099511627776"},
		"swept missing": {func(d *Design) { d.Swept = d.Swept[:2] }, "has 2 swept values for 3 swept keys"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			rows := madeDesigns(3, testAxes)
			rows[1].DesignID = "keplerian:rear:one|two"
			c.spoil(&rows[1])
			err := WriteRanked(filepath.Join(dir, "ranked.parquet"), testAxes, nil, rows)
			if err == nil {
				t.Fatal("was written")
			}
			for _, want := range []string{"ranked.parquet", c.want, "keplerian:rear:one|two", "rank 2"} {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("error %q does not name %q", err, want)
				}
			}
			emptyFolder(t, dir)
		})
	}
}

func TestRefusedFiles(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ranked.parquet")
	for _, axes := range [][]Axis{{{Key: "price"}}, {{Key: ""}}, {{Key: "a.b"}, {Key: "a.b"}}, {{Key: "a.b", Kind: 9}}} {
		if err := WriteRanked(path, axes, nil, nil); err == nil {
			t.Errorf("axes %v were accepted", axes)
		}
	}
	if err := WriteSetpoints(path, map[string]string{arrowSchemaKey: ""}, nil); err == nil {
		t.Error("Arrow's own file key was accepted")
	}
	emptyFolder(t, filepath.Dir(path))
}

// A file that is damaged, cut off or another one is an error that names it.
func TestReadingDamagedFiles(t *testing.T) {
	dir := t.TempDir()
	whole := filepath.Join(dir, "ranked.parquet")
	if err := WriteRanked(whole, testAxes, nil, madeDesigns(20, testAxes)); err != nil {
		t.Fatal(err)
	}
	setpoints := filepath.Join(dir, "setpoints.parquet")
	if err := WriteSetpoints(setpoints, nil, madeSetpoints(20)); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	damaged := filepath.Join(dir, "damaged.parquet")
	check := func(what string) {
		t.Helper()
		_, _, err := ReadRanked(damaged)
		if err == nil {
			t.Errorf("%s: was read", what)
		} else if strings.Count(err.Error(), "damaged.parquet") != 1 {
			t.Errorf("%s: error %q does not name the file once", what, err)
		}
	}
	check("missing")
	for _, n := range []int{0, 3, 7, 8, 100, len(data) / 2, len(data) - 8, len(data) - 1} {
		if err := os.WriteFile(damaged, data[:n], 0o666); err != nil {
			t.Fatal(err)
		}
		check("cut off")
	}
	zeroed := append([]byte{}, data...)
	clear(zeroed[4:2000])
	if err := os.WriteFile(damaged, zeroed, 0o666); err != nil {
		t.Fatal(err)
	}
	check("zeros for the first pages")

	// A bad byte anywhere, also inside compressed pages, may give other values
	// (Parquet has no checksums here) but never a panic.
	refused := 0
	for at := 4; at < len(data); at += 1 + len(data)/300 {
		bad := append([]byte{}, data...)
		bad[at] ^= 0xff
		if err := os.WriteFile(damaged, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		if _, _, err := ReadRanked(damaged); err != nil {
			refused++
		}
	}
	if refused == 0 {
		t.Error("no bad byte was noticed")
	}

	if _, _, err := ReadRanked(setpoints); err == nil || !strings.Contains(err.Error(), "the column layout is missing") ||
		!strings.Contains(err.Error(), "the column depth_m is not known") {
		t.Errorf("a stage table read as ranked designs: %v", err)
	}
	if _, err := ReadSetpoints(whole); err == nil || !strings.Contains(err.Error(), "the column depth_m is missing") {
		t.Errorf("ranked designs read as a stage table: %v", err)
	}
	if _, err := ReadSetpoints(filepath.Join(dir, "none")); !strings.Contains(err.Error(), "no such file") {
		t.Errorf("a missing file: %v", err)
	}
}

// limitedWriter fails once so many bytes are through, like a full disk.
type limitedWriter struct{ left int }

var errFull = errors.New("full")

func (w *limitedWriter) Write(p []byte) (int, error) {
	if len(p) > w.left {
		return w.left, errFull
	}
	w.left -= len(p)
	return len(p), nil
}
