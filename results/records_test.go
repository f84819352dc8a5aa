package results

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestRankedJSON reads the designs back by the standard library's decoder and
// compares every value with the columns as the tests have them by hand.
func TestRankedJSON(t *testing.T) {
	designs := madeDesigns(40, testAxes)
	stage := madeSetpoints(3)
	for i := range stage {
		stage[i].Point, stage[i].Rank, stage[i].DesignID = designs[7].Point, designs[7].Rank, designs[7].DesignID
	}
	var out bytes.Buffer
	if err := WriteRankedJSON(&out, testAxes, designs, stage); err != nil {
		t.Fatal(err)
	}
	var got []map[string]any
	d := json.NewDecoder(&out)
	d.UseNumber()
	if err := d.Decode(&got); err != nil {
		t.Fatal(err)
	}
	if len(got) != len(designs) {
		t.Fatalf("%d objects for %d designs", len(got), len(designs))
	}
	for i := range designs {
		if n := len(got[i]["setpoints"].([]any)); (n == len(stage)) != (i == 7) || i != 7 && n != 0 {
			t.Errorf("design %d has %d setpoints", i, n)
		}
		delete(got[i], "setpoints")
		want := wantRow(wantRanked(testAxes, testUnits...), &designs[i])
		if len(got[i]) != len(want) {
			t.Errorf("design %d has %d keys, not %d", i, len(got[i]), len(want))
		}
		for name, w := range want {
			if a, b := asJSON(t, w), asJSON(t, got[i][name]); a != b {
				t.Errorf("design %d: %s is %s, not %s", i, name, b, a)
			}
		}
	}
}

// asJSON is a value as JSON, infinities as text.
func asJSON(t *testing.T, v any) string {
	t.Helper()
	var plain func(v any) any
	plain = func(v any) any {
		switch v := v.(type) {
		case float64:
			if math.IsInf(v, 0) {
				return strings.TrimPrefix(strings.ToLower(strconv.FormatFloat(v, 'f', -1, 64)), "+")
			}
		case []map[string]any:
			list := []any{}
			for _, row := range v {
				list = append(list, plain(row))
			}
			return list
		case map[string]any:
			row := map[string]any{}
			for name, x := range v {
				row[name] = plain(x)
			}
			return row
		}
		return v
	}
	data, err := json.Marshal(plain(v))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestRankedCSV: the rows of CSV have a cell for every column that is no list of
// structs, and numbers read back to the last bit.
func TestRankedCSV(t *testing.T) {
	designs := madeDesigns(40, testAxes)
	var out bytes.Buffer
	if err := WriteRankedCSV(&out, testAxes, designs); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	columns := wantRanked(testAxes, testUnits...)
	var names []string
	for _, c := range columns {
		if c.Element == nil {
			names = append(names, c.Name)
		}
	}
	if strings.Join(rows[0], " ") != strings.Join(names, " ") {
		t.Errorf("the header is %q, not %q", rows[0], names)
	}
	for i := range designs {
		want := wantRow(columns, &designs[i])
		for c, name := range names {
			cell := rows[i+1][c]
			switch v := want[name].(type) {
			case nil:
				if cell != "" {
					t.Errorf("design %d: %s is %q, not empty", i, name, cell)
				}
			case float64:
				if x, err := strconv.ParseFloat(cell, 64); err != nil || x != v {
					t.Errorf("design %d: %s is %q, not %v", i, name, cell, v)
				}
			case string:
				if strings.TrimPrefix(cell, "'") != strings.TrimPrefix(v, "'") {
					t.Errorf("design %d: %s is %q, not %q", i, name, cell, v)
				}
			}
		}
	}
}

// TestSafeText: no cell of text begins as a formula does, and nothing of it is lost.
// Which characters begin one is common practice (guidance on CSV injection).
func TestSafeText(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1": "'=1+1", "+49": "'+49", "-A1": "'-A1", "@SUM(A1)": "'@SUM(A1)", "\tx": "'\tx", "\rx": "'\rx", "＝1": "'＝1",
		"": "", "A-1": "A-1", "TAT-A36x25": "TAT-A36x25", "3": "3", "'": "'",
	} {
		if got := SafeText(text); got != want {
			t.Errorf("%q becomes %q, not %q", text, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		safe := SafeText(text)
		if safe != text && safe != "'"+text {
			t.Fatalf("%q becomes %q", text, safe)
		}
		if safe != "" && strings.ContainsAny(safe[:1], "=+-@\t\r") {
			t.Fatalf("%q still begins as a formula", safe)
		}
	})
}

// TestLensesCSV writes parts and vendors that a spreadsheet would run.
func TestLensesCSV(t *testing.T) {
	d := Design{Lenses: []Lens{
		{Group: "front", Position: 1, Part: "=HYPERLINK(0)", Vendor: "@home", GapAfterMM: -1.5},
		{Group: "rear", Position: 1, Part: "-7", Vendor: "a, \"b\"\nc", Reversed: true, GapAfterMM: 20},
	}}
	var out bytes.Buffer
	if err := WriteLensesCSV(&out, &d); err != nil {
		t.Fatal(err)
	}
	const want = "group,position,part,vendor,reversed,gap_after_mm\n" +
		"front,1,'=HYPERLINK(0),'@home,false,-1.5\n" +
		"rear,1,'-7,\"a, \"\"b\"\"\nc\",true,20\n"
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}
