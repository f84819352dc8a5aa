package main

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// givenEdits are the edits of a small job that measures one train.
func givenEdits(id string, keys ...string) []string {
	return []string{"lenses_per_group = 1", "lenses_per_group = 1\ngiven = '" + id + "'\n" + strings.Join(keys, "\n")}
}

// TestGiven measures the designs of a small job one by one: each comes out as in its
// ranking. It is shown with everything that was asked of it, and reopened.
func TestGiven(t *testing.T) {
	ranking := finishedJob(t)
	for _, d := range readRanked(t, ranking)[:2] {
		output := finishedJob(t, givenEdits(d.DesignID)...)
		rows := readRanked(t, output)
		if len(rows) != 1 {
			t.Fatalf("%d rows for one train", len(rows))
		}
		g := &rows[0]
		if g.Rank != 1 || g.Exact || g.Screened || g.Refined || g.Fails == nil || len(g.Fails) > 0 || g.DesignID != d.DesignID ||
			g.LengthMM != d.LengthMM || g.EyeReliefMM != d.EyeReliefMM || g.ViewBlurArcmin != d.ViewBlurArcmin || *g.Price != *d.Price {
			t.Errorf("ranked %+v, measured by itself %+v", d, g)
		}
		page := must(t, exitDone, "show", output, "--rank", "1").stdout
		for _, want := range []string{"the train meets all of", "a search does not turn it away", "Every requirement and limit", "given by the spec, measured at its paraxial gaps"} {
			if !strings.Contains(page, want) {
				t.Errorf("the page does not say %q:\n%s", want, page)
			}
		}
		for _, name := range []string{"magnification", "gap", "travel", "mask_size", "clearance", "view_blur_arcmin", "vignetted_pct"} {
			if lineOf(page, name) == nil {
				t.Errorf("the page does not judge %s:\n%s", name, page)
			}
		}
		must(t, exitDone, "report", output)
		must(t, exitDone, "setpoints", output, "--depths", "0.25,inf")
	}
}

// TestGivenFails measures trains that fail, some of which no one would build: results
// are whole, every failure is told, and reports and stage tables can be made.
func TestGivenFails(t *testing.T) {
	for _, c := range []struct {
		id    string
		keys  []string
		fails []string // among others
	}{
		{"erector-single:rear:pc40|pc40|bc45", nil, []string{"view_blur_arcmin"}},
		{"erector-single:front:pc40|bc45|pc40/r", nil, nil},
		{"keplerian:rear:pc40|pc45/r", nil, []string{"magnification"}},
		{"erector-single:rear:pc40|pc40|bc45", []string{"given_gaps_mm = [3, 200]"}, []string{"magnification", "axis_vergence_D"}},
		{"erector-single:rear:pc40|pc40|bc45", []string{"given_gaps_mm = [-30, 20]", "given_relief_mm = 400"}, []string{"gap", "relief"}},
		{"erector-pair:rear:pc40|pc40|bc45/r|pc40", nil, nil},
		{"erector-pair:front:pc40|pc40|bc45|pc40", []string{"given_gaps_mm = [80, 0.01, 70]"}, []string{"gap"}},
		{"erector-single:rear:pc40+pc40+bc45|bc45+pc40/r|bc45+bc45+pc40/r", []string{"given_relief_mm = 1"}, []string{"relief", "view_blur_arcmin"}},
	} {
		edits := givenEdits(c.id, c.keys...)
		if strings.HasPrefix(c.id, "erector-single:rear:bc45") {
			edits = append(edits, `method = "none"`, `method = "simplex"`)
		}
		for i := range edits {
			edits[i] = strings.ReplaceAll(edits[i], "bc45/r", "bc45") // equal to its reverse
		}
		spec := newJob(t, edits...)
		run := must(t, exitDone, "run", spec)
		output := outputOf(spec)
		rows := readRanked(t, output)
		if len(rows) != 1 {
			t.Fatalf("%s: %d rows", c.id, len(rows))
		}
		d := &rows[0]
		given := readManifest(t, output).Points[0].Given
		var names []string
		for _, j := range given.Fails() {
			if !strings.Contains(run.stdout, "FAILS  "+j.Line()) {
				t.Errorf("%s: the summary does not tell that %s fails:\n%s", c.id, j.Line(), run.stdout)
			}
			if !slices.Contains(names, j.Name) {
				names = append(names, j.Name)
			}
			if m, ok := j.Margin(); ok && m > 1e-6 {
				t.Errorf("%s: %s fails with a margin of %v", c.id, j.Line(), m)
			}
		}
		if !slices.Equal(names, d.Fails) {
			t.Errorf("%s: the row fails %v, run.json %v", c.id, d.Fails, names)
		}
		for _, name := range c.fails {
			if !slices.Contains(d.Fails, name) {
				t.Errorf("%s: fails %v, and not %s", c.id, d.Fails, name)
			}
		}
		for _, key := range c.keys {
			if key == "given_gaps_mm = [-30, 20]" && (d.Gap1MM != -30 || *d.Gap2MM != 20 || d.EyeReliefMM != 400 || d.Refined) {
				t.Errorf("%s: not at the gaps given: %+v", c.id, d)
			}
		}
		must(t, exitDone, "report", output)
		must(t, exitDone, "setpoints", output, "--step-D", "1")
		page := must(t, exitDone, "show", output, "--rank", "1").stdout
		if len(names) > 0 && !strings.Contains(page, "FAILS") {
			t.Errorf("%s: the page marks nothing:\n%s", c.id, page)
		}
		html := string(readFile(t, output, "report.html"))
		if len(names) > 0 && !strings.Contains(html, "the train fails") {
			t.Errorf("%s: the report does not say that the train fails", c.id)
		}
		again := invoke(t, "run", spec)
		if again.code != exitDone || !strings.Contains(again.stderr, "complete since") {
			t.Errorf("%s: not known for done: %d %s", c.id, again.code, again.stderr)
		}
	}
}

// TestGivenSwept measures a train at each value of a swept key, and several trains.
func TestGivenSwept(t *testing.T) {
	edits := append(givenEdits("erector-single:rear:pc40|pc40|bc45"),
		`method = "none"`, "method = \"none\"\n[sweep]\n\"eye.pupil_mm\" = [2, 4]")
	rows := readRanked(t, finishedJob(t, edits...))
	if len(rows) != 2 || rows[0].DesignID != rows[1].DesignID || rows[0].ViewBlurArcmin >= rows[1].ViewBlurArcmin {
		t.Errorf("two pupils give %+v", rows)
	}
	rows = readRanked(t, finishedJob(t, `method = "none"`,
		"method = \"none\"\n[sweep]\n\"train.given\" = ['erector-single:rear:pc40|pc40|bc45', 'keplerian:rear:pc40|pc40']"))
	if len(rows) != 2 || rows[0].Layout != "erector-single" || rows[1].Layout != "keplerian" || rows[1].Swept[0].Any() != rows[1].DesignID {
		t.Errorf("two trains give %+v", rows)
	}
}

// TestGivenRefused: what is wrong with a train that is given comes as one error with
// file, line and key, and what would be right.
func TestGivenRefused(t *testing.T) {
	const key = ".toml:10: train.given: "
	for _, c := range []struct {
		edits []string
		says  []string
	}{
		{givenEdits("erector-single:back:pc40|pc40"), []string{key, `"back" is no seat`, "2 groups joined by |", "front|relay|rear"}},
		{givenEdits("erector-sngl:rear:pc41|pc40|nothing+bc45/r"), []string{
			key, `"erector-sngl" is no layout`, `no part "pc41"`, "the nearest: pc40, pc45", `no part "nothing"`, `"bc45/r", which is the same either way round`, `"bc45", without /r`, "1 fault",
		}},
		{givenEdits("pc40|pc40|pc40"), []string{key, "no layout and seat", "layout:seat:"}},
		{givenEdits("keplerian:front:pc40|pc45"), []string{key, `the seat "front"`}},
		{givenEdits("erector-single:rear:pc40|pc40|bc45", "given_gaps_mm = [80]"), []string{".toml:11: train.given_gaps_mm", "one gap between each two groups"}},
		{givenEdits("erector-single:rear:pc40|pc40|bc45", "given_gaps_mm = [80, 1e9]"), []string{".toml:11: train.given_gaps_mm", "1e+09, the 2nd of the list"}},
	} {
		spec := newJob(t, c.edits...)
		for _, command := range []string{"check", "run"} {
			o := must(t, exitWrong, command, spec)
			for _, want := range c.says {
				if !strings.Contains(o.stderr, want) {
					t.Errorf("%s of %q does not say %q:\n%s", command, c.edits[1], want, o.stderr)
				}
			}
		}
		if _, err := os.Stat(filepath.Dir(outputOf(spec))); err == nil {
			t.Errorf("%q: a folder was made", c.edits[1])
		}
	}
	diverging := smallLenses(fewFocals) + "cc40,Invented,plano-concave,25,-20.7,2,N-BK7,inf,10\n"
	spec := newJobOf(t, diverging, givenEdits("erector-single:rear:pc40|cc40|bc45")...)
	if o := must(t, exitWrong, "run", spec); !strings.Contains(o.stderr, "no paraxial gaps, as the relay has a focal length of -") || !strings.Contains(o.stderr, "train.given_gaps_mm") {
		t.Errorf("a relay that diverges: %s", o.stderr)
	}
	spec = newJobOf(t, diverging, givenEdits("erector-single:rear:pc40|cc40|bc45", "given_gaps_mm = [30, 40]")...)
	must(t, exitDone, "run", spec)
	if d := readRanked(t, outputOf(spec))[0]; !slices.Contains(d.Fails, "focal") || math.IsNaN(d.LengthMM) {
		t.Errorf("a relay that diverges fails %v", d.Fails)
	}
	spec = newJob(t, givenEdits("erector-single:rear:pc40|pc40|bc45")...)
	if o := must(t, exitWrong, "run", spec, "--part", "1/2"); !strings.Contains(o.stderr, "is not divided\n    run it whole") {
		t.Errorf("a part of it: %s", o.stderr)
	}
	// Gaps of no train are a warning, and so is what a search would leave out.
	for _, line := range []string{"given_gaps_mm = [80, 70]", "given_relief_mm = 30"} {
		o := must(t, exitDone, "check", newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\n"+line))
		if name, _, _ := strings.Cut(line, " "); !strings.Contains(o.stderr, ".toml:10: train."+name+": there is no train in train.given") {
			t.Errorf("%s without a train: %s", line, o.stderr)
		}
	}
	spec = newJob(t, append(givenEdits("keplerian:rear:pc40+pc45|bc45"), `files = ["lenses.csv"]`, "files = [\"lenses.csv\"]\nexclude_parts = [\"bc*\"]")...)
	o := must(t, exitDone, "check", spec)
	for _, want := range []string{"a search by this spec does not come by the train", "keplerian is not among train.layouts", "2 lenses in the front", "leave out bc45"} {
		if !strings.Contains(o.stderr, want) {
			t.Errorf("the warning does not say %q:\n%s", want, o.stderr)
		}
	}
	if !strings.Contains(o.stdout, "one train to measure, no search") {
		t.Errorf("check says\n%s", o.stdout)
	}
}

// TestGivenYield: the share of builds is a limit as any, told with the others.
func TestGivenYield(t *testing.T) {
	id := readRanked(t, finishedJob(t))[0].DesignID
	for _, c := range []struct {
		least string
		fails bool
	}{{"0.1", false}, {"100", true}} {
		edits := append(givenEdits(id), "vignetted_pct = 20", "vignetted_pct = 20\nyield_min_pct = "+c.least)
		output := finishedJob(t, edits...)
		given := readManifest(t, output).Points[0].Given
		last := given.Judged[len(given.Judged)-1]
		if last.Name != "yield_min_pct" || last.Value == nil || last.Fails != c.fails || slices.Contains(readRanked(t, output)[0].Fails, "yield_min_pct") != c.fails {
			t.Errorf("at least %s %% of builds: %s, fails %v", c.least, last.Line(), last.Fails)
		}
	}
}
