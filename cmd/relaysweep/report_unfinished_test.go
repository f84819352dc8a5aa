package main

import (
	"crypto/sha256"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"relaysweep/results"
)

// interruptedAt makes of a finished job one that was interrupted when it had come
// to so many sweep points.
func interruptedAt(t *testing.T, output string, points int) {
	t.Helper()
	path := filepath.Join(output, manifestFile)
	m, err := results.ReadManifest(path)
	if err != nil {
		t.Fatal(err)
	}
	designs, axes, err := results.ReadRanked(filepath.Join(output, rankedFile))
	if err != nil {
		t.Fatal(err)
	}
	designs = slices.DeleteFunc(designs, func(d results.Design) bool { return d.Point >= points })
	if err := results.WriteRanked(filepath.Join(output, rankedFile), axes, nil, designs); err != nil {
		t.Fatal(err)
	}
	m.Complete, m.Finished, m.Points = false, nil, m.Points[:points]
	m.RankedSHA256 = fmt.Sprintf("%x", sha256.Sum256(readFile(t, output, rankedFile)))
	if err := results.WriteManifest(path, m); err != nil {
		t.Fatal(err)
	}
}

// TestReportUnfinished: the page of a run that was interrupted says so, and how
// far it came.
func TestReportUnfinished(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	interruptedAt(t, output, 2)
	o := must(t, exitDone, "report", output, "--designs", "1")
	if !strings.Contains(o.stdout, "unfinished") {
		t.Errorf("report says %q", o.stdout)
	}
	text := pageText(t, output)
	for _, want := range []string{"Unfinished. The run was interrupted; the same command goes on", "sweep point 1, the 2nd of 4.", "designs were examined", "at 2 of 4 sweep points", "so far"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(text, "The ranking is exact") {
		t.Error("the page of an unfinished run says that its ranking is exact")
	}
}

// TestReportUnfinishedNothing: what an interrupted run has not found may yet come.
func TestReportUnfinishedNothing(t *testing.T) {
	spec := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 60")
	must(t, exitNothing, "run", spec)
	interruptedAt(t, outputOf(spec), 1)
	o := must(t, exitDone, "report", outputOf(spec))
	text := pageText(t, outputOf(spec))
	if strings.Contains(o.stdout, "no design meets") || strings.Contains(text, "Nothing meets the requirements") || strings.Contains(text, "proven, for") {
		t.Errorf("an unfinished run is taken for a finished one: %q, %q", o.stdout, text)
	}
	for _, want := range []string{"Unfinished.", "found by then", "designs were examined"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// TestReportDrawing writes the best train as a picture of its own: it is XML, the
// same each time, and takes the place of no file that is not such a picture.
func TestReportDrawing(t *testing.T) {
	output := finishedJob(t)
	picture := filepath.Join(t.TempDir(), "train.svg")
	o := must(t, exitDone, "report", output, "--designs", "2", "--drawing", picture)
	if !strings.Contains(o.stdout, "written to "+picture+": the best train\n") {
		t.Errorf("report says %q", o.stdout)
	}
	first := readFile(t, picture)
	texts, rays := svgTexts(t, first)
	d := readRanked(t, output)[0]
	for _, want := range []string{"front", "relay", "rear", "mask", "eye", "length " + results.Fixed(d.LengthMM, 2) + " mm"} {
		if !slices.Contains(texts, want) {
			t.Errorf("the picture does not say %q: %q", want, texts)
		}
	}
	if rays != 12 || strings.Contains(string(first), "var(") || strings.Contains(string(first), "NaN") {
		t.Errorf("the picture has %d rays and styles that need a page, or no numbers", rays)
	}
	must(t, exitDone, "report", output, "--drawing", picture)
	if string(readFile(t, picture)) != string(first) {
		t.Error("the second picture of a run differs from the first")
	}

	foreign := filepath.Join(t.TempDir(), "mine.svg")
	if err := os.WriteFile(foreign, []byte("<svg>mine</svg>"), 0o666); err != nil {
		t.Fatal(err)
	}
	o = must(t, exitFailed, "report", output, "--drawing", foreign)
	if !strings.Contains(o.stderr, foreign) || string(readFile(t, foreign)) != "<svg>mine</svg>" {
		t.Errorf("a file of the user's is gone, or %q", o.stderr)
	}

	nothing := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 60")
	must(t, exitNothing, "run", nothing)
	picture = filepath.Join(t.TempDir(), "none.svg")
	o = must(t, exitFailed, "report", outputOf(nothing), "--drawing", picture)
	if _, err := os.Stat(picture); err == nil || !strings.Contains(o.stderr, "no design to draw") {
		t.Errorf("a picture of nothing: %q", o.stderr)
	}
}

// svgTexts are the texts of an SVG, and how many rays it has.
func svgTexts(t *testing.T, svg []byte) (texts []string, rays int) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(string(svg)))
	inText := false
	for {
		token, err := d.Token()
		if err == io.EOF {
			return texts, rays
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			inText = token.Name.Local == "text"
			for _, a := range token.Attr {
				if a.Name.Local == "class" && strings.HasPrefix(a.Value, "ray ") {
					rays++
				}
			}
		case xml.CharData:
			if inText {
				texts = append(texts, string(token))
			}
		case xml.EndElement:
			inText = false
		}
	}
}
