package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// lineOf is the words of the first line of a text that starts with some words, nil
// for none.
func lineOf(text string, words ...string) []string {
	for line := range strings.Lines(text) {
		fields := strings.Fields(line)
		if len(fields) >= len(words) && strings.Join(fields[:len(words)], " ") == strings.Join(words, " ") {
			return fields
		}
	}
	return nil
}

func TestShowTable(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	designs := readRanked(t, output)
	points := readManifest(t, output).Points
	all := must(t, exitDone, "show", output).stdout
	for _, d := range designs {
		if n := strings.Count(all, d.DesignID+"\n"); n < 1 {
			t.Errorf("%s of point %d is not shown", d.DesignID, d.Point)
		}
	}
	for i := range points {
		want := fmt.Sprintf("point %d: field.width_deg = ", i)
		if !strings.Contains(all, want) {
			t.Errorf("the proof of point %d is not shown:\n%s", i, all)
		}
		one := must(t, exitDone, "show", output, "--point", strconv.Itoa(i)).stdout
		if strings.Count(one, "designs; examined") != 1 || !strings.Contains(one, want) {
			t.Errorf("--point %d shows\n%s", i, one)
		}
		if rows := strings.Count(one, "erector-"); rows != int(points[i].Passed) {
			t.Errorf("--point %d shows %d designs, not %d", i, rows, points[i].Passed)
		}
	}
	if !strings.HasSuffix(all, "\n\n"+cautionLine) || strings.Contains(all, cautions) {
		t.Errorf("the table does not end with one line of cautions:\n%s", all)
	}
}

// TestShowDesign compares the page of a design with its rows.
func TestShowDesign(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	designs, setpoints := readRanked(t, output), readSetpoints(t, output)
	for i := range designs {
		d := &designs[i]
		args := []string{"show", output, "--rank", strconv.Itoa(d.Rank)}
		if d.Point > 0 { // point 0 need not be named
			args = append(args, "--point", strconv.Itoa(d.Point))
		}
		page := must(t, exitDone, args...).stdout
		for _, want := range []string{
			fmt.Sprintf("rank %d: %s\n", d.Rank, d.DesignID),
			"field.width_deg = " + d.Swept[0].String(), "mask.seat = " + d.Swept[1].String(),
			fmt.Sprintf("length %.2f mm, to the eye %.2f mm, eye relief %.2f mm, %d lenses", d.LengthMM, d.LengthToEyeMM, d.EyeReliefMM, d.LensesCount),
			"\n\n" + cautionLine,
		} {
			if !strings.Contains(page, want) {
				t.Errorf("%v does not show %q:\n%s", args, want, page)
			}
		}
		pieces := map[string]int{}
		for _, l := range d.Lenses {
			pieces[l.Part]++
			if lineOf(page, l.Group, l.Part) == nil {
				t.Errorf("%v does not show the %s lens %s:\n%s", args, l.Group, l.Part, page)
			}
		}
		for name, n := range pieces {
			if lineOf(page, strconv.Itoa(n), name) == nil {
				t.Errorf("%v does not say to order %d of %s:\n%s", args, n, name, page)
			}
		}
		for k, s := range d.Surfaces {
			line := lineOf(page, strconv.Itoa(k+1), fmt.Sprintf("%.3f", s.ZMM))
			if line == nil || line[4] != s.GlassAfter {
				t.Errorf("%v: surface %d is shown as %q", args, k+1, line)
			}
		}
		for _, s := range setpoints {
			if s.Point == d.Point && s.Rank == d.Rank &&
				lineOf(page, depthOf(s.DepthM), fmt.Sprintf("%.3f", s.VergenceD), fmt.Sprintf("%.3f", s.MaskMM)) == nil {
				t.Errorf("%v does not show the setpoint at %g D:\n%s", args, s.VergenceD, page)
			}
		}
		line := lineOf(page, "travel_mm")
		if want := fmt.Sprintf("%.3f", 15-d.TravelMM); len(line) != 6 || line[5] != want {
			t.Errorf("%v: the margin of travel is shown as %q, not %s", args, line, want)
		}
	}
}

func depthOf(m float64) string {
	return strings.ToLower(strings.TrimPrefix(fmt.Sprintf("%.3f", m), "+"))
}

// TestShowFormats: what other programs are given has all designs, one point's or one
// design, and nothing beside them.
func TestShowFormats(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	designs := readRanked(t, output)
	last := &designs[len(designs)-1]
	atLast := 0
	for i := range designs {
		if designs[i].Point == last.Point {
			atLast++
		}
	}
	point, rank := []string{"--point", strconv.Itoa(last.Point)}, []string{"--rank", strconv.Itoa(last.Rank)}
	for _, c := range []struct {
		args []string
		json int // objects
		csv  int // rows
	}{
		{nil, len(designs), len(designs)},
		{point, atLast, atLast},
		{slices.Concat(point, rank), 1, len(last.Lenses)},
	} {
		var rows []struct {
			ID        string           `json:"design_id"`
			Width     float64          `json:"field.width_deg"`
			Length    float64          `json:"length_mm"`
			Lenses    []map[string]any `json:"lenses"`
			Setpoints []map[string]any `json:"setpoints"`
		}
		text := must(t, exitDone, append([]string{"show", output, "--format", "json"}, c.args...)...).stdout
		if err := json.Unmarshal([]byte(text), &rows); err != nil || len(rows) != c.json {
			t.Fatalf("%v: %d objects, not %d: %v", c.args, len(rows), c.json, err)
		}
		row := rows[len(rows)-1]
		if row.ID != last.DesignID || row.Length != last.LengthMM || row.Width != last.Swept[0].Any() ||
			len(row.Lenses) != len(last.Lenses) || row.Lenses[0]["part"] != last.Lenses[0].Part || len(row.Setpoints) != 5 {
			t.Errorf("%v: the last design is %+v", c.args, row)
		}
		text = must(t, exitDone, append([]string{"show", output, "--format", "csv"}, c.args...)...).stdout
		table, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil || len(table) != c.csv+1 {
			t.Errorf("%v: %d rows, not %d: %v", c.args, len(table)-1, c.csv, err)
		}
	}
	for _, args := range [][]string{
		{"--format", "xml"}, {"--format", "json", "--rays"}, {"--format", "json", "--aberrations"}, {"--rays", "--aberrations"}, {"--format", "csv", "--rank", "999"}, {"--format", "csv", "--point", "99"},
	} {
		if out := must(t, exitWrong, append([]string{"show", output}, args...)...); out.stdout != "" {
			t.Errorf("%v prints %q", args, out.stdout)
		}
	}
}
