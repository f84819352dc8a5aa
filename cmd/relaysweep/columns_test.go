package main

import (
	"encoding/json"
	"math"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/google/go-cmp/cmp"

	"relaysweep/results"
)

var (
	compareBig   = cmp.Comparer(func(a, b *big.Int) bool { return a.Cmp(b) == 0 })
	compareValue = cmp.Comparer(func(a, b results.Value) bool { return a == b })
)

// fileColumn is a column as scripts rely on it, and as the readers' script
// takes it.
type fileColumn struct {
	Name     string       `json:"name"`
	Type     string       `json:"type"` // double, int32, string, bool, list, or texts for a list of them
	Unit     string       `json:"unit"`
	Nullable bool         `json:"nullable"`
	Element  []fileColumn `json:"element,omitempty"`
}

func number(name, unit string) fileColumn { return fileColumn{name, "double", unit, false, nil} }
func count(name string) fileColumn        { return fileColumn{name, "int32", "1", false, nil} }
func label(name string) fileColumn        { return fileColumn{name, "string", "none", false, nil} }
func yesNo(name string) fileColumn        { return fileColumn{name, "bool", "none", false, nil} }

func texts(name string) fileColumn { return fileColumn{name, "texts", "none", false, nil} }

func (c fileColumn) orNull() fileColumn {
	c.Nullable = true
	return c
}

func listOf(name string, element ...fileColumn) fileColumn {
	return fileColumn{name, "list", "none", false, element}
}

// rankedColumns are the columns of ranked.parquet that scripts rely on.
func rankedColumns(swept ...fileColumn) []fileColumn {
	columns := append([]fileColumn{count("point")}, swept...)
	return append(columns,
		count("rank"), label("design_id"), label("layout"), label("seat"), yesNo("exact"), yesNo("screened"), yesNo("refined"),
		number("start_length_mm", "mm").orNull(), texts("active").orNull(), texts("fails").orNull(),
		number("length_mm", "mm"), number("length_to_eye_mm", "mm"), number("eye_relief_mm", "mm"),
		number("viewpoint_shift_mm", "mm"), number("angular_magnification", "1"),
		count("lenses_count"), count("distinct_parts"), number("price", "currency of the catalog").orNull(),
		number("mass_g", "g").orNull(), number("transmission", "1"),
		number("f_front_mm", "mm"), number("f_relay_mm", "mm").orNull(), number("f_rear_mm", "mm"),
		number("field_max_deg", "deg"), number("field_asked_deg", "deg"),
		number("travel_mm", "mm"), number("travel_paraxial_mm", "mm"), number("mask_far_mm", "mm"), number("mask_near_mm", "mm"),
		number("depth_step_D", "D"), number("refocus_s", "s"), number("pixel_arcmin", "arcmin"), number("mask_scale_change_pct", "%"),
		number("mask_blur_arcmin", "arcmin"), number("view_defocus_D", "D"), number("view_astigmatism_D", "D"),
		number("view_blur_arcmin", "arcmin"), number("view_refocus_D", "D"), number("axis_vergence_D", "D"),
		number("distortion_pct", "%"), number("lateral_colour_arcmin", "arcmin"), number("axial_colour_D", "D"),
		number("vignetted_pct", "%"), number("blur_mismatch_pct", "%").orNull(), number("ghost_arcmin", "arcmin"), number("ghost_pct", "%").orNull(),
		number("groove_blur_arcmin", "arcmin").orNull(), number("groove_visible_arcmin", "arcmin").orNull(),
		number("front_travel_mm", "mm").orNull(), number("front_travel_paraxial_mm", "mm").orNull(), number("front_mask_far_mm", "mm").orNull(),
		number("front_mask_near_mm", "mm").orNull(), number("front_depth_step_D", "D").orNull(), number("front_refocus_s", "s").orNull(),
		number("front_pixel_arcmin", "arcmin").orNull(), number("front_mask_scale_change_pct", "%").orNull(), number("front_mask_blur_arcmin", "arcmin").orNull(),
		number("front_blur_mismatch_pct", "%").orNull(), number("front_ghost_arcmin", "arcmin").orNull(), number("front_ghost_pct", "%").orNull(),
		number("gap1_mm", "mm"), number("gap2_mm", "mm").orNull(), number("gap_inner_mm", "mm").orNull(),
		listOf("lenses", label("group"), count("position"), label("part"), label("vendor"), yesNo("reversed"), number("gap_after_mm", "mm")),
		listOf("surfaces", number("z_mm", "mm"), number("radius_mm", "mm"), label("glass_after"), number("semi_diameter_mm", "mm"), number("pitch_mm", "mm").orNull()),
		listOf("samples", number("field_fraction", "1"), number("vergence_D", "D"), number("mask_blur_arcmin", "arcmin"),
			number("view_blur_arcmin", "arcmin"), number("view_defocus_D", "D"), number("view_astigmatism_D", "D"), number("front_mask_blur_arcmin", "arcmin").orNull()),
	)
}

// setpointColumns are the columns of setpoints.parquet.
var setpointColumns = []fileColumn{
	count("point"), count("rank"), label("design_id"), number("depth_m", "m"), number("vergence_D", "D"),
	number("mask_mm", "mm"), number("mask_paraxial_mm", "mm"), number("stage_mm", "mm"),
	number("mask_blur_arcmin", "arcmin"), number("view_blur_arcmin", "arcmin"), number("pixel_arcmin", "arcmin"), label("seat"),
}

// sweptColumns are those that sweptJob adds.
var sweptColumns = []fileColumn{number("field.width_deg", "deg"), label("mask.seat")}

// readTable reads a Parquet file with the Arrow library.
func readTable(t *testing.T, path string) arrow.Table {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := pqarrow.ReadTable(t.Context(), f, parquet.NewReaderProperties(memory.DefaultAllocator),
		pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(table.Release)
	return table
}

// columnsOf are the columns of fields as they say themselves.
func columnsOf(t *testing.T, fields []arrow.Field) []fileColumn {
	t.Helper()
	types := map[arrow.Type]string{
		arrow.FLOAT64: "double", arrow.INT32: "int32", arrow.STRING: "string", arrow.BOOL: "bool", arrow.LIST: "list",
	}
	var columns []fileColumn
	for _, f := range fields {
		unit, _ := f.Metadata.GetValue("unit")
		if description, _ := f.Metadata.GetValue("description"); len(description) < 4 {
			t.Errorf("%s is described as %q", f.Name, description)
		}
		c := fileColumn{f.Name, types[f.Type.ID()], unit, f.Nullable, nil}
		if list, ok := f.Type.(*arrow.ListType); ok && list.Elem().ID() == arrow.STRING {
			c.Type = "texts"
		} else if ok {
			c.Element = columnsOf(t, list.Elem().(*arrow.StructType).Fields())
		}
		columns = append(columns, c)
	}
	return columns
}

func TestColumns(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	plain := finishedJob(t)
	for _, c := range []struct {
		path string
		want []fileColumn
	}{
		{filepath.Join(output, rankedFile), rankedColumns(sweptColumns...)},
		{filepath.Join(plain, rankedFile), rankedColumns()},
		{filepath.Join(output, setpointsFile), setpointColumns},
	} {
		schema := readTable(t, c.path).Schema()
		if diff := cmp.Diff(c.want, columnsOf(t, schema.Fields())); diff != "" {
			t.Errorf("%s: documented -, written +\n%s", c.path, diff)
		}
	}
}

// TestReadersOnARun reads the files of a real run with DuckDB and a strict
// reader, both written in other languages, and compares every value with what
// the Arrow library reads, and every type and unit with the columns above.
func TestReadersOnARun(t *testing.T) {
	readers := filepath.Join("..", "..", "testdata", "readers")
	if _, err := os.Stat(filepath.Join(readers, "node_modules")); err != nil {
		t.Fatal("the independent Parquet readers are not installed; with Node 20 or later and at the top of the repository:\n\tnpm ci --prefix testdata/readers")
	}
	output := finishedJob(t, sweptJob...)
	type file struct {
		Columns []fileColumn     `json:"columns"`
		Rows    []map[string]any `json:"rows"`
	}
	files := map[string]file{
		"ranked":    {rankedColumns(sweptColumns...), rowsOf(readTable(t, filepath.Join(output, rankedFile)))},
		"setpoints": {setpointColumns, rowsOf(readTable(t, filepath.Join(output, setpointsFile)))},
	}
	for name, f := range files {
		if len(f.Rows) < 8 {
			t.Fatalf("%s has only %d rows to compare", name, len(f.Rows))
		}
	}
	data, err := json.Marshal(map[string]any{
		"keys": map[string]string{
			"program": "relaysweep", "version": version,
		},
		"files": files,
	})
	if err != nil {
		t.Fatal(err)
	}
	expect := filepath.Join(t.TempDir(), "expect.json")
	if err := os.WriteFile(expect, data, 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "node", filepath.Join(readers, "check.mjs"), output, expect).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

// rowsOf are the rows of a table as JSON can hold them.
func rowsOf(table arrow.Table) []map[string]any {
	rows := make([]map[string]any, table.NumRows())
	for i := range rows {
		rows[i] = map[string]any{}
	}
	for c := range int(table.NumCols()) {
		row := 0
		for _, chunk := range table.Column(c).Data().Chunks() {
			for i := range chunk.Len() {
				rows[row][table.Column(c).Name()] = valueIn(chunk, i)
				row++
			}
		}
	}
	return rows
}

// valueIn is one value of an array; an infinity becomes text.
func valueIn(a arrow.Array, i int) any {
	if a.IsNull(i) {
		return nil
	}
	switch a := a.(type) {
	case *array.Float64:
		if x := a.Value(i); !math.IsInf(x, 0) {
			return x
		}
		return map[bool]string{true: "-Infinity", false: "Infinity"}[a.Value(i) < 0]
	case *array.Int32:
		return a.Value(i)
	case *array.String:
		return a.Value(i)
	case *array.Boolean:
		return a.Value(i)
	case *array.List:
		from, to := a.ValueOffsets(i)
		if held, ok := a.ListValues().(*array.String); ok {
			list := []string{}
			for k := int(from); k < int(to); k++ {
				list = append(list, held.Value(k))
			}
			return list
		}
		elements := a.ListValues().(*array.Struct)
		list := []map[string]any{}
		for k := int(from); k < int(to); k++ {
			row := map[string]any{}
			for f, field := range elements.DataType().(*arrow.StructType).Fields() {
				row[field.Name] = valueIn(elements.Field(f), k)
			}
			list = append(list, row)
		}
		return list
	}
	panic("a column of type " + strconv.Quote(a.DataType().Name()))
}
