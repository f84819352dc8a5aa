package results

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

// TestIndependentReaders reads both files with two readers that are written in
// other languages and share nothing with the writer, and compares every value,
// type and unit. The readers come from npm.
func TestIndependentReaders(t *testing.T) {
	const readers = "../testdata/readers"
	if _, err := os.Stat(filepath.Join(readers, "node_modules")); err != nil {
		t.Fatal("the independent Parquet readers are not installed; with Node 20 or later and at the top of the repository:\n\tnpm ci --prefix testdata/readers")
	}
	dir := t.TempDir()
	designs := madeDesigns(400, testAxes)
	stage := madeSetpoints(900)
	meta := map[string]string{"spec_sha256": "0f", "program": "relaysweep"}
	if err := WriteRanked(filepath.Join(dir, "ranked.parquet"), testAxes, meta, designs); err != nil {
		t.Fatal(err)
	}
	if err := WriteSetpoints(filepath.Join(dir, "setpoints.parquet"), meta, stage); err != nil {
		t.Fatal(err)
	}
	// Files without a row are what a run leaves that found nothing.
	if err := WriteRanked(filepath.Join(dir, "empty.parquet"), testAxes, meta, nil); err != nil {
		t.Fatal(err)
	}
	// And files with more rows than a row group holds.
	many := madeSetpoints(2*rowGroupRows + 1)
	if err := WriteSetpoints(filepath.Join(dir, "many.parquet"), meta, many); err != nil {
		t.Fatal(err)
	}
	expect := filepath.Join(dir, "expect.json")
	data, err := json.Marshal(map[string]any{
		"keys": meta,
		"files": map[string]any{
			"ranked":    expected(wantRanked(testAxes, testUnits...), designs),
			"setpoints": expected(wantSetpoints(), stage),
			"empty":     expected(wantRanked(testAxes, testUnits...), nil),
			"many":      expected(wantSetpoints(), many),
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(expect, data, 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "node", filepath.Join(readers, "check.mjs"), dir, expect).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	t.Logf("%s", out)
}

// expectedFile is what check.mjs compares a file with.
type expectedFile struct {
	Columns []expectedColumn `json:"columns"`
	Rows    []map[string]any `json:"rows"`
}

type expectedColumn struct {
	Name     string           `json:"name"`
	Type     string           `json:"type"`
	Unit     string           `json:"unit"`
	Nullable bool             `json:"nullable"`
	Element  []expectedColumn `json:"element,omitempty"`
}

func expected[T any](columns []wantColumn[T], rows []T) expectedFile {
	e := expectedFile{Columns: expectedColumns(columns), Rows: []map[string]any{}}
	for i := range rows {
		e.Rows = append(e.Rows, jsonRow(wantRow(columns, &rows[i])))
	}
	return e
}

func expectedColumns[T any](columns []wantColumn[T]) []expectedColumn {
	var out []expectedColumn
	for _, c := range columns {
		out = append(out, expectedColumn{c.Name, c.Type, c.Unit, c.Nullable, expectedColumns(c.Element)})
	}
	return out
}

// jsonRow replaces what JSON cannot hold: an infinity and a 64-bit integer
// become text.
func jsonRow(row map[string]any) map[string]any {
	for name, value := range row {
		switch v := value.(type) {
		case float64:
			if math.IsInf(v, 1) {
				row[name] = "Infinity"
			} else if math.IsInf(v, -1) {
				row[name] = "-Infinity"
			}
		case int64:
			row[name] = strconv.FormatInt(v, 10)
		case []map[string]any:
			for i := range v {
				jsonRow(v[i])
			}
		}
	}
	return row
}
