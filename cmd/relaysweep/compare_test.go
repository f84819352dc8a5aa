package main

import (
	"encoding/csv"
	"encoding/json"
	"strconv"
	"strings"
	"testing"

	"relaysweep/results"
)

// TestCompare holds what is printed side by side against the rows, across sweep
// points and across runs.
func TestCompare(t *testing.T) {
	swept, plain := finishedJob(t, sweptJob...), finishedJob(t)
	for _, args := range [][]string{
		{plain, "--rank", "1,2,4"},
		{plain, swept, "--rank", "1,2"},
		{swept, "--point", "0,1", "--rank", "1"},
		{swept, plain},
	} {
		var want []results.Design
		var folders []string
		ranks, points := []int{1}, []int{0}
		for i := 0; i < len(args); i++ {
			switch args[i] {
			case "--rank":
				ranks, _ = numbersOf("", args[i+1], 0)
				i++
			case "--point":
				points, _ = numbersOf("", args[i+1], 0)
				i++
			default:
				folders = append(folders, args[i])
			}
		}
		for _, folder := range folders {
			for _, d := range readRanked(t, folder) {
				for _, p := range points {
					for _, r := range ranks {
						if d.Point == p && d.Rank == r {
							want = append(want, d)
						}
					}
				}
			}
		}
		page := must(t, exitDone, append([]string{"compare"}, args...)...).stdout
		for i, d := range want {
			line := lineOf(page, name(i))
			if line == nil || line[len(line)-1] != d.DesignID {
				t.Errorf("%v: %s is %q, not %s", args, name(i), line, d.DesignID)
			}
		}
		for _, column := range []string{"length_mm", "view_blur_arcmin", "gap2_mm", "price"} {
			var cells []string
			differ := false
			for i := range want {
				value, _, ok := want[i].Number(column)
				cell := results.Null
				if ok {
					cell = results.Fixed(value, 3)
				}
				cells = append(cells, cell)
				differ = differ || cell != cells[0]
			}
			row := []string{column}
			if differ {
				row = []string{"*", column}
			}
			line := lineOf(page, row...)
			if line == nil || strings.Join(line[len(line)-len(cells):], " ") != strings.Join(cells, " ") {
				t.Errorf("%v: %s is shown as %q, not %q with the mark %v\n%s", args, column, line, cells, differ, page)
			}
		}
		for i := range want {
			for _, l := range want[i].Lenses {
				part := l.Part
				if l.Reversed {
					part += "/r"
				}
				found := false
				for line := range strings.Lines(page) {
					f := strings.Fields(strings.TrimPrefix(line, "*"))
					found = found || len(f) == len(want)+1 && f[0] == l.Group && f[i+1] == part
				}
				if !found {
					t.Errorf("%v: %s does not show %s as %s\n%s", args, name(i), part, l.Group, page)
				}
			}
		}
		// The margin of travel is what is left of the spec's 15 mm.
		line := lineOf(page, "*", "travel_mm", "<=", "15.000", "mm")
		for i := range want {
			if cell := results.Fixed(15-want[i].TravelMM, 3); len(line) != 5+len(want) || line[5+i] != cell {
				t.Errorf("%v: the margin of travel of %s is not %s in %q", args, name(i), cell, line)
			}
		}
	}
	// What only one run asks for has a line that says so.
	eased := finishedJob(t, "travel_mm = 15", "travel_mm = 16")
	if page := must(t, exitDone, "compare", plain, eased).stdout; !strings.Contains(page, "not asked") {
		t.Errorf("requirements of one run only are not told apart:\n%s", page)
	}
}

func TestCompareRefuses(t *testing.T) {
	output := finishedJob(t)
	n := len(readRanked(t, output))
	for _, args := range [][]string{
		{}, {output}, {output, "--rank", "1,1"}, {output, "--rank", "0,1"}, {output, "--rank", "1,x"},
		{output, "--rank", "1," + strconv.Itoa(n+1)}, {output, "--rank", "1,2", "--point", "3"},
	} {
		if out := must(t, exitWrong, append([]string{"compare"}, args...)...); out.stdout != "" {
			t.Errorf("%v prints %q", args, out.stdout)
		}
	}
}

// TestCompareRecords holds what compare prints for other programs against the rows: the same rows
// in both formats, numbers in full, margins of what was asked only.
func TestCompareRecords(t *testing.T) {
	plain, eased := finishedJob(t), finishedJob(t, "travel_mm = 15", "travel_mm = 16")
	a, b := readRanked(t, plain)[0], readRanked(t, eased)[0]
	args := []string{"compare", plain, eased, "--rank", "1", "--format"}
	var objects []map[string]any
	if err := json.Unmarshal([]byte(must(t, exitDone, append(args, "json")...).stdout), &objects); err != nil {
		t.Fatal(err)
	}
	cells, err := csv.NewReader(strings.NewReader(must(t, exitDone, append(args, "csv")...).stdout)).ReadAll()
	if err != nil || len(cells) != len(objects)+1 {
		t.Fatalf("%d lines of CSV, %d objects: %v", len(cells), len(objects), err)
	}
	if head := strings.Join(cells[0], " "); head != "table name vendor unit bound asked A B" {
		t.Errorf("columns %s", head)
	}
	for i, o := range objects {
		for k, column := range cells[0] {
			cell := cells[i+1][k]
			if v, is := o[column].(float64); is {
				if got, err := strconv.ParseFloat(cell, 64); err != nil || got != v {
					t.Errorf("%s of %v: %q in CSV, %v in JSON", column, o["name"], cell, v)
				}
			} else if s, _ := o[column].(string); s != cell {
				t.Errorf("%s of %v: %q in CSV, %v in JSON", column, o["name"], cell, o[column])
			}
		}
	}
	find := func(table, name string, asked any) map[string]any {
		for _, o := range objects {
			if o["table"] == table && o["name"] == name && (asked == nil || o["asked"] == asked) {
				return o
			}
		}
		t.Errorf("no row %s of %s", name, table)
		return nil
	}
	if o := find("design", "design_id", nil); o["A"] != a.DesignID || o["B"] != b.DesignID {
		t.Errorf("designs %v", o)
	}
	if o := find("design", "run", nil); o["A"] != plain || o["B"] != eased {
		t.Errorf("runs %v", o)
	}
	if o := find("reached", "view_blur_arcmin", nil); o["A"] != a.ViewBlurArcmin || o["B"] != b.ViewBlurArcmin || o["unit"] != "arcmin" {
		t.Errorf("%v, not %v and %v", o, a.ViewBlurArcmin, b.ViewBlurArcmin)
	}
	if o := find("margins", "travel_mm", 16.0); o["A"] != nil || o["B"] != 16-b.TravelMM || o["bound"] != "at_most" {
		t.Errorf("margin of travel %v, not %v of the second alone", o, 16-b.TravelMM)
	}
	if o := find("parts", a.Lenses[0].Part, nil); !(o["A"].(float64) >= 1) || o["vendor"] != a.Lenses[0].Vendor {
		t.Errorf("pieces %v", o)
	}
	if out := must(t, exitWrong, append(args, "xml")...); out.stdout != "" || !strings.Contains(out.stderr, "text, csv or json") {
		t.Errorf("--format xml: %q, %q", out.stdout, out.stderr)
	}
}
