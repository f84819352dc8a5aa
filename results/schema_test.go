package results

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/google/go-cmp/cmp"
)

// flatColumn is what a schema says of a column, named by its path.
type flatColumn struct {
	Path, Type, Unit string
	Nullable         bool
}

func flatten[T any](columns []wantColumn[T]) []flatColumn {
	var out []flatColumn
	for _, c := range columns {
		out = append(out, flatColumn{c.Name, c.Type, c.Unit, c.Nullable})
		if c.Type == "list" {
			for _, e := range flatten(c.Element) {
				e.Path = c.Name + "." + e.Path
				out = append(out, e)
			}
		}
	}
	return out
}

// flattenFields is the same of an Arrow schema. It reports columns that do not
// say their meaning. The struct between a list and its columns is passed over:
// Arrow's reader drops what the file says of it.
func flattenFields(t *testing.T, prefix string, fields []arrow.Field) []flatColumn {
	var out []flatColumn
	for _, f := range fields {
		unit, _ := f.Metadata.GetValue("unit")
		if description, _ := f.Metadata.GetValue("description"); description == "" {
			t.Errorf("%s%s has no description", prefix, f.Name)
		}
		types := map[arrow.Type]string{arrow.FLOAT64: "double", arrow.INT32: "int32", arrow.INT64: "int64",
			arrow.STRING: "string", arrow.BOOL: "bool", arrow.LIST: "list"}
		out = append(out, flatColumn{prefix + f.Name, types[f.Type.ID()], unit, f.Nullable})
		if list, ok := f.Type.(*arrow.ListType); ok {
			if list.Elem().ID() == arrow.STRING {
				out[len(out)-1].Type = "texts"
				continue
			}
			out = append(out, flattenFields(t, prefix+f.Name+".", list.Elem().(*arrow.StructType).Fields())...)
		}
	}
	return out
}

// readSchema is the Arrow schema that a file's reader sees, and the file's
// key-values.
func readSchema(t *testing.T, path string) (*arrow.Schema, metadata.KeyValueMetadata) {
	t.Helper()
	pf, err := file.OpenParquetFile(path, false)
	if err != nil {
		t.Fatal(err)
	}
	defer pf.Close()
	r, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	table, err := r.ReadTable(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer table.Release()
	return table.Schema(), pf.MetaData().KeyValueMetadata()
}

func TestSchema(t *testing.T) {
	dir := t.TempDir()
	ranked, setpoints := filepath.Join(dir, "ranked.parquet"), filepath.Join(dir, "setpoints.parquet")
	meta := map[string]string{"spec_sha256": "0f", "version": "1.0"}
	if err := WriteRanked(ranked, testAxes, meta, madeDesigns(2, testAxes)); err != nil {
		t.Fatal(err)
	}
	if err := WriteSetpoints(setpoints, meta, madeSetpoints(2)); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string][]flatColumn{
		ranked:    flatten(wantRanked(testAxes, testUnits...)),
		setpoints: flatten(wantSetpoints()),
	} {
		schema, keys := readSchema(t, path)
		if diff := cmp.Diff(want, flattenFields(t, "", schema.Fields())); diff != "" {
			t.Errorf("%s: documented -, read +\n%s", filepath.Base(path), diff)
		}
		for k, v := range meta {
			if got := keys.FindValue(k); got == nil || *got != v {
				t.Errorf("%s: file key %s is not %q", filepath.Base(path), k, v)
			}
		}
	}
}

func TestUnitOfSweptKey(t *testing.T) {
	for key, want := range map[string]string{
		"stage.travel_mm": "mm", "stage.speed_mm_s": "mm/s", "mask.pixel_um": "um", "light.wavelengths_nm": "nm",
		"depth.near_m": "m", "field.width_deg": "deg", "eye.refocus_max_D": "D", "limits.vignetted_pct": "%",
		"limits.mask_blur_arcmin": "arcmin", "limits.mass_g": "g", "job.memory_gb": "GB",
		"limits.price": "currency of the catalog", "catalog.price_max": "currency of the catalog",
		"train.magnification": "1", "train.lenses_max": "1", "mask.transmission": "1", "eye.combiner_index": "1",
	} {
		if got := unitOf(Axis{key, KindFloat}); got != want {
			t.Errorf("%s: %q, not %q", key, got, want)
		}
	}
	if got := unitOf(Axis{"mask.seat_mm", KindString}); got != "none" {
		t.Errorf("a string has the unit %q", got)
	}
}
