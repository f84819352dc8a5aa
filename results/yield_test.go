package results

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestYields: what is written is read again, with the digest of the run it belongs to.
func TestYields(t *testing.T) {
	limit := 2.5
	rows := []Yield{{
		Point: 1, Rank: 2, DesignID: "a", Seed: "-3", Builds: 100, Passed: 95, YieldPct: 95, YieldLoPct: 88.825, YieldHiPct: 97.8456,
		UncompensatedPct: 3, EyesHeightArcmin: 12, EyesVergenceD: 0.2, Failed: []YieldFailure{{"view_blur_arcmin", 5}},
		Figures:       []YieldFigure{{"view_blur_arcmin", "arcmin", &limit, 1, 1.1, 1.2, 1.3, 1.4, math.Inf(1), 5}, {Figure: "pointing_arcmin", Unit: "arcmin"}},
		Contributions: []YieldContribution{{"view_blur_arcmin", "focal_pct", 0.4, 0.05, 0.5, 0.04}},
		Sensitivities: []YieldSensitivity{{"view_blur_arcmin", "focal_pct", "rear.1", 0.3}},
	}, {DesignID: "b", Seed: "1"}}
	path := filepath.Join(t.TempDir(), "yield.parquet")
	if _, ours := TableOf(path); ours {
		t.Error("a file that is not there is ours")
	}
	if err := WriteYields(path, "digest", map[string]string{"program": "relaysweep"}, rows); err != nil {
		t.Fatal(err)
	}
	got, ranked, err := ReadYields(path)
	if err != nil || ranked != "digest" {
		t.Fatalf("digest %q, %v", ranked, err)
	}
	if diff := cmp.Diff(rows, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if of, ours := TableOf(path); !ours || of != "digest" {
		t.Errorf("the table is not known to be ours: %q", of)
	}
	if err := os.WriteFile(path, []byte("PAR1 of someone else"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, ours := TableOf(path); ours {
		t.Error("another file is taken for ours")
	}
}

// TestBuilds: a figure that was not measured is null, one that is infinite stays so.
func TestBuilds(t *testing.T) {
	figures := []Figure{{"view_blur_arcmin", "arcmin", "blur"}, {"vignetted_pct", "%", "lost"}}
	path := filepath.Join(t.TempDir(), "tolerance.parquet")
	rows := []Build{{1, 2, "a", 0, "", []float64{1.5, math.NaN()}}, {1, 2, "a", 1, "view_blur_arcmin", []float64{math.Inf(1), 3}}}
	each := func(rows []Build, end error) func(put func(*Build) error) error {
		return func(put func(*Build) error) error {
			for i := range rows {
				if err := put(&rows[i]); err != nil {
					return err
				}
			}
			return end
		}
	}
	if err := WriteBuilds(path, "digest", figures, nil, each(rows, nil)); err != nil {
		t.Fatal(err)
	}
	var got [2][2]float64
	err := openRows(path, func(f *rowFile) error {
		if err := sameColumns(f.schema, fieldsOf(buildColumns(figures))); err != nil {
			return err
		}
		for k := range figures {
			c, err := f.column(5 + k)
			if err != nil {
				return err
			}
			at := 0
			for _, chunk := range c.Chunks() {
				for i := range chunk.Len() {
					got[at][k] = math.NaN()
					if row := (&Build{Figures: make([]float64, 2)}); !chunk.IsNull(i) {
						var x *float64
						maybe("", "", "", func(*Build) **float64 { return &x }).get(chunk, i, row)
						got[at][k] = *x
					}
					at++
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows {
		for k, want := range row.Figures {
			if got[i][k] != want && !(math.IsNaN(got[i][k]) && math.IsNaN(want)) {
				t.Errorf("row %d, %s: %v, want %v", i, figures[k].Name, got[i][k], want)
			}
		}
	}
	// Rows that end in an error after some row groups leave what stood there, and nothing else.
	before, errRead := os.ReadFile(path)
	if errRead != nil {
		t.Fatal(errRead)
	}
	stop := errors.New("stop")
	many := slices.Repeat(rows, rowGroupRows)
	if err := WriteBuilds(path, "digest", figures, nil, each(many, stop)); !errors.Is(err, stop) {
		t.Errorf("the error of the rows comes out as %v", err)
	}
	after, errRead := os.ReadFile(path)
	entries, errDir := os.ReadDir(filepath.Dir(path))
	if !bytes.Equal(before, after) || len(entries) != 1 || errRead != nil || errDir != nil {
		t.Errorf("a write that failed leaves %v: %v, %v", entries, errRead, errDir)
	}
	// Row groups are full ones wherever the rows come from.
	if err := WriteBuilds(path, "digest", figures, nil, each(many[:2*rowGroupRows-1], nil)); err != nil {
		t.Fatal(err)
	}
	if err := openRows(path, func(f *rowFile) error {
		if n := f.reader.ParquetReader().NumRowGroups(); n != 2 || f.rows != 2*rowGroupRows-1 {
			t.Errorf("%d row groups of %d rows", n, f.rows)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}
