package results

import (
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
)

// A second Go reader, which shares no code with the writer and trusts the
// file's own schema only, reads every value back. There are enough rows for
// two row groups.
func TestStrictReader(t *testing.T) {
	dir := t.TempDir()
	ranked, setpoints := filepath.Join(dir, "ranked.parquet"), filepath.Join(dir, "setpoints.parquet")
	designs, stage := madeDesigns(rowGroupRows+1000, testAxes), madeSetpoints(2*rowGroupRows)
	if err := WriteRanked(ranked, testAxes, nil, designs); err != nil {
		t.Fatal(err)
	}
	if err := WriteSetpoints(setpoints, nil, stage); err != nil {
		t.Fatal(err)
	}
	strictly(t, ranked, wantRanked(testAxes, testUnits...), designs)
	strictly(t, setpoints, wantSetpoints(), stage)
}

func strictly[T any](t *testing.T, path string, columns []wantColumn[T], rows []T) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	pf, err := parquet.OpenFile(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	r := parquet.NewGenericReader[any](pf, pf.Schema())
	defer r.Close()
	var got []any
	for {
		batch := make([]any, 1000)
		n, err := r.Read(batch)
		got = append(got, batch[:n]...)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(got) != len(rows) {
		t.Fatalf("%s: read %d rows of %d", filepath.Base(path), len(got), len(rows))
	}
	for i := range rows {
		want := plainRow(wantRow(columns, &rows[i]))
		if !same(want, got[i]) {
			t.Fatalf("%s: row %d, written - read +\n%s", filepath.Base(path), i, cmp.Diff(any(want), got[i], sameBits))
		}
	}
}

// plainRow is a row in the types that the reader gives.
func plainRow(row map[string]any) map[string]any {
	out := make(map[string]any, len(row))
	for name, value := range row {
		switch v := value.(type) {
		case int:
			value = int32(v)
		case []string:
			list := make([]any, len(v))
			for i := range v {
				list[i] = v[i]
			}
			value = list
		case []map[string]any:
			list := make([]any, len(v))
			for i := range v {
				list[i] = plainRow(v[i])
			}
			value = list
		}
		out[name] = value
	}
	return out
}

// same is cmp.Equal for the few types of plain rows, many times faster.
func same(a, b any) bool {
	switch a := a.(type) {
	case float64:
		b, ok := b.(float64)
		return ok && math.Float64bits(a) == math.Float64bits(b)
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for i := range a {
			if !same(a[i], b[i]) {
				return false
			}
		}
		return true
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for k := range a {
			value, ok := b[k]
			if !ok || !same(a[k], value) {
				return false
			}
		}
		return true
	}
	return a == b
}
