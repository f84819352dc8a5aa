package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"relaysweep/results"
)

// reopening are the commands that need a run's inputs.
var reopening = [][]string{{"setpoints", "--depths", "0.5"}, {"show", "--rays"}, {"show", "--aberrations"}, {"report"}}

// TestReopenAfterEdits: what a run was made from may be gone, and what it left
// may have moved.
func TestReopenAfterEdits(t *testing.T) {
	spec := newJob(t)
	must(t, exitDone, "run", spec)
	moved := filepath.Join(t.TempDir(), "moved")
	before := must(t, exitDone, "setpoints", outputOf(spec), "--depths", "0.5").stdout
	if err := os.Rename(outputOf(spec), moved); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Dir(spec)); err != nil {
		t.Fatal(err)
	}
	if after := must(t, exitDone, "setpoints", moved, "--depths", "0.5").stdout; after != before {
		t.Errorf("before\n%s\nafter\n%s", before, after)
	}
	for _, command := range reopening {
		must(t, exitDone, append([]string{command[0], moved}, command[1:]...)...)
	}
}

// TestReopenWithoutInputs: a copy that is missing or not what the run read is an
// error that says so and what to do, not a wrong answer, and not the user's spec
// being wrong.
func TestReopenWithoutInputs(t *testing.T) {
	for name, spoil := range map[string]func(inputs string) error{
		"no folder":     os.RemoveAll,
		"no spec":       func(inputs string) error { return os.Remove(filepath.Join(inputs, "spec.toml")) },
		"no lens table": func(inputs string) error { return os.Remove(filepath.Join(inputs, "lenses-1.csv")) },
		"a changed radius": func(inputs string) error {
			path := filepath.Join(inputs, "lenses-1.csv")
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			return os.WriteFile(path, append(data, "# a note\n"...), 0o666)
		},
		"another spec": func(inputs string) error {
			path := filepath.Join(inputs, "spec.toml")
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			return os.WriteFile(path, bytes.Replace(data, []byte("top = 8"), []byte("top = 9"), 1), 0o666)
		},
		"a broken spec": func(inputs string) error {
			return os.WriteFile(filepath.Join(inputs, "spec.toml"), []byte("[job]\n"), 0o666)
		},
	} {
		t.Run(name, func(t *testing.T) {
			output := finishedJob(t)
			if err := spoil(filepath.Join(output, inputsFolder)); err != nil {
				t.Fatal(err)
			}
			for _, command := range reopening {
				leftNothing(t, output, func() {
					o := must(t, exitFailed, append([]string{command[0], output}, command[1:]...)...)
					if !strings.Contains(o.stderr, inputsFolder) || !strings.Contains(o.stderr, "run the job again") || o.stdout != "" {
						t.Errorf("%s says %s%s", command[0], o.stdout, o.stderr)
					}
				})
			}
		})
	}
}

// TestReopenGlasses: a user's glass table is one of the inputs.
func TestReopenGlasses(t *testing.T) {
	lenses := strings.ReplaceAll(smallLenses(fewFocals), "N-BK7", "MINE")
	spec := newJobOf(t, lenses, `files = ["lenses.csv"]`, "files = [\"lenses.csv\"]\nglasses = [\"mine.csv\"]")
	table := filepath.Join(filepath.Dir(spec), "mine.csv")
	if err := os.WriteFile(table, []byte("glass,nd,Vd\nMINE,1.5168,64.17\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, "run", spec)
	if glasses := readManifest(t, outputOf(spec)).GlassTables; len(glasses) != 1 || glasses[0].File != "mine.csv" || glasses[0].Glasses != 1 {
		t.Errorf("run.json has the glass tables %+v", glasses)
	}
	before := must(t, exitDone, "setpoints", outputOf(spec), "--depths", "0.5").stdout
	if err := os.WriteFile(table, []byte("glass,nd,Vd\nMINE,1.9,30\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if after := must(t, exitDone, "setpoints", outputOf(spec), "--depths", "0.5").stdout; after != before {
		t.Errorf("before\n%s\nafter\n%s", before, after)
	}
	if err := os.WriteFile(filepath.Join(outputOf(spec), inputsFolder, "glasses-1.csv"), []byte("glass,nd,Vd\nMINE,1.9,30\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	o := must(t, exitFailed, "setpoints", outputOf(spec), "--depths", "0.5")
	if !strings.Contains(o.stderr, "glasses-1.csv") || !strings.Contains(o.stderr, "run the job again") {
		t.Errorf("says %s", o.stderr)
	}
}

// seal puts the digests of the Parquet files into run.json again: someone has
// changed them on purpose.
func seal(t testing.TB, output string) {
	t.Helper()
	m := readManifest(t, output)
	var err error
	if m.RankedSHA256, err = digestOfFile(filepath.Join(output, rankedFile)); err != nil {
		t.Fatal(err)
	}
	if m.SetpointsSHA256, err = digestOfFile(filepath.Join(output, setpointsFile)); err != nil {
		t.Fatal(err)
	}
	if err := results.WriteManifest(filepath.Join(output, manifestFile), m); err != nil {
		t.Fatal(err)
	}
}

// TestReopenDoubt writes rows that this version does not trace to the same
// numbers: a warning says by how much.
func TestReopenDoubt(t *testing.T) {
	output := finishedJob(t)
	setpoints := readSetpoints(t, output)
	for i := range setpoints {
		setpoints[i].MaskMM += 2e-3
	}
	if err := results.WriteSetpoints(filepath.Join(output, setpointsFile), nil, setpoints); err != nil {
		t.Fatal(err)
	}
	seal(t, output)
	for _, command := range append(reopening, []string{"show", "--rank", "1"}) {
		o := must(t, exitDone, append([]string{command[0], output}, command[1:]...)...)
		if !strings.Contains(o.stderr, "warning: point 0, rank 1") || !strings.Contains(o.stderr, "0.002 mm different") {
			t.Errorf("%s warns %q", command[0], o.stderr)
		}
	}
	if page := string(readFile(t, output, reportFile)); !strings.Contains(page, "0.002 mm different") {
		t.Error("the page does not warn")
	}
}

// TestReopenRefined moves a group and the eye as a refinement does: the train
// stands as the row says, and its rays go through surfaces there.
func TestReopenRefined(t *testing.T) {
	output := finishedJob(t)
	designs := readRanked(t, output)
	d := &designs[0]
	const shift, back = 0.75, 1.5
	d.Refined = true
	d.Gap1MM += shift
	d.Lenses[0].GapAfterMM += shift
	last := len(d.Lenses) - 1
	d.Lenses[last].GapAfterMM += back
	d.EyeReliefMM += back
	d.LengthMM += shift
	d.LengthToEyeMM += shift + back
	for i := 2; i < len(d.Surfaces); i++ { // those of the first lens stay
		d.Surfaces[i].ZMM += shift
	}
	if err := results.WriteRanked(filepath.Join(output, rankedFile), nil, nil, designs); err != nil {
		t.Fatal(err)
	}
	seal(t, output)
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	b, err := run.reopen(&run.designs[0])
	if err != nil {
		t.Fatal(err)
	}
	if !b.train.Refined || math.Abs(b.train.Length-d.LengthMM) > 1e-9 || b.train.EyeRelief != d.EyeReliefMM {
		t.Errorf("the train is %v mm long with %v mm of eye relief", b.train.Length, b.train.EyeRelief)
	}
	compareRays(t, b)
}

// TestReopenSpoiltRows: rows that no train stands behind are errors that name
// the file and the row.
func TestReopenSpoiltRows(t *testing.T) {
	for _, c := range []struct {
		spoil func(*results.Design)
		want  string
	}{
		{func(d *results.Design) { d.Lenses[1].Part = "nosuch" }, "the part nosuch"},
		{func(d *results.Design) { d.Layout = "nosuch" }, "no layout is called nosuch"},
		{func(d *results.Design) { d.Lenses = d.Lenses[:2] }, "2 groups"},
		{func(d *results.Design) { d.Lenses[1].Group = "front" }, "lens 2"},
		// Rows of another run with the same point and rank are none of this one.
		{func(d *results.Design) { d.DesignID = "nosuch" }, "has no setpoints of it"},
	} {
		output := finishedJob(t)
		designs := readRanked(t, output)
		c.spoil(&designs[0])
		if err := results.WriteRanked(filepath.Join(output, rankedFile), nil, nil, designs); err != nil {
			t.Fatal(err)
		}
		seal(t, output)
		o := must(t, exitFailed, "setpoints", output, "--depths", "1")
		if !strings.Contains(o.stderr, c.want) || !strings.Contains(o.stderr, rankedFile) || !strings.Contains(o.stderr, "rank 1") {
			t.Errorf("%s: says %s", c.want, o.stderr)
		}
	}
}
