package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// bench11 is a list of depths within the range of small jobs.
const bench11 = "inf,4,2,1.3,1,0.7,0.5,0.4,0.33,0.28,0.25"

// measuredFile writes readings that are those of setpoints moved by a zero, and by errors
// in mm one after the other.
func measuredFile(t *testing.T, output, name string, zero float64, errors ...float64) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("# found at the bench\nstage_mm, depth_m, sigma_mm\n")
	for i, row := range table(t, must(t, exitDone, "setpoints", output, "--depths", bench11, "--as-designed").stdout) {
		fmt.Fprintf(&b, "%.5f,%v,0.01\n", row["stage_mm"]+zero+errors[i%len(errors)], strconv.FormatFloat(row["depth_m"], 'g', -1, 64))
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestCalibrate: a zero that is wrong is found, and setpoints uses it once it is kept; an
// outlier is named; two eyes have a table each.
func TestCalibrate(t *testing.T) {
	output := finishedJob(t)
	designed := must(t, exitDone, "setpoints", output, "--depths", bench11).stdout
	exact := measuredFile(t, output, "exact.csv", 0.25, 0)
	o := must(t, exitDone, "calibrate", output, "--rank", "1", exact)
	for _, want := range []string{"zero_mm", "as given (sigma_mm of the file)", "tolerance.stage_zero_mm = 0.1", "beyond", "--keep keeps"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("it does not say %q:\n%s", want, o.stdout)
		}
	}
	if got := must(t, exitDone, "setpoints", output, "--depths", bench11).stdout; got != designed {
		t.Error("setpoints uses what was not kept")
	}
	base := filepath.Join(output, calibrationBase(0, 1, &readRanked(t, output)[0], ""))
	cells, err := csv.NewReader(strings.NewReader(string(readFile(t, base+".csv")))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(cells) != 1+41 || cells[1][1] != "inf" || cells[41][2] != "4" {
		t.Errorf("%d rows, from %v to %v", len(cells), cells[1], cells[len(cells)-1])
	}
	for _, row := range cells[1:] {
		var x [7]float64
		for i := 1; i < 7; i++ {
			if x[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		if math.Abs(x[3]-x[6]-0.25) > 1e-4 || !(x[4] < x[3] && x[3] < x[5]) || x[5]-x[4] > 0.04 {
			t.Errorf("a row of the corrected table: %v", row)
		}
	}
	if svg := string(readFile(t, base+".svg")); !strings.Contains(svg, "Measured less corrected") || strings.Count(svg, "<svg") != 3 {
		t.Error("the plot lacks its residuals")
	}
	kept := must(t, exitDone, "calibrate", output, "--rank", "1", measuredFile(t, output, "off.csv", 0.25, 0, 0.003, -0.004, 0.3, 0.002, -0.001, 0.004, -0.003, 0, 0.001, -0.002), "--keep")
	if !strings.Contains(kept.stdout, "left out as an outlier: line 6") {
		t.Errorf("the outlier of line 6 is not named:\n%s", kept.stdout)
	}
	o = must(t, exitDone, "setpoints", output, "--depths", bench11)
	if !strings.Contains(o.stderr, "calibration") {
		t.Errorf("setpoints does not say that it uses the calibration: %q", o.stderr)
	}
	for i, row := range table(t, o.stdout) {
		if want := table(t, designed)[i]["stage_mm"] + 0.25; math.Abs(row["stage_mm"]-want) > 0.02 {
			t.Errorf("at %v m the stage reads %v, want %v", row["depth_m"], row["stage_mm"], want)
		}
	}
	if got := must(t, exitDone, "setpoints", output, "--depths", bench11, "--as-designed").stdout; got != designed {
		t.Error("--as-designed differs from the design")
	}
	o = must(t, exitDone, "calibrate", output, "--rank", "1", exact, measuredFile(t, output, "right.csv", -0.25, 0), "--keep", "--hold", "eye", "--scale-errors")
	for _, want := range []string{"left eye", "right eye", "two eyes", "held", "scaled by"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("two eyes: it does not say %q:\n%s", want, o.stdout)
		}
	}
	both := must(t, exitDone, "setpoints", output, "--depths", "inf,1").stdout
	if lines := strings.Split(strings.TrimSpace(both), "\n"); len(lines) != 5 || !strings.HasPrefix(lines[0], "eye,depth_m") ||
		!strings.HasPrefix(lines[1], "left,inf,0,") || !strings.HasPrefix(lines[4], "right,1,1,") {
		t.Errorf("two eyes:\n%s", both)
	}
	checkColumns(t, base+".parquet", stageFileColumns)
	must(t, exitDone, "report", output, "--designs", "1", "--eyes", "2")
	if text := pageText(t, output); !strings.Contains(text, "The stage as it was measured") || !strings.Contains(text, "right") {
		t.Error("the report lacks the measured stage")
	}
	// What is kept of another run is told of, and not used.
	path := base + ".json"
	if err := os.WriteFile(path, []byte(strings.Replace(string(readFile(t, path)), `"ranked_sha256": "`, `"ranked_sha256": "0`, 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitDone, "setpoints", output, "--depths", bench11); o.stdout != designed || !strings.Contains(o.stderr, "belongs to other results") {
		t.Errorf("another run's calibration: %q", o.stderr)
	}
}

// TestCalibrateKept: what stands beside a kept fit follows that fit, whatever is fitted afterwards
// without --keep.
func TestCalibrateKept(t *testing.T) {
	output := finishedJob(t)
	must(t, exitDone, "calibrate", output, "--rank", "1", measuredFile(t, output, "kept.csv", 0.25, 0), "--keep")
	other := measuredFile(t, output, "other.csv", -0.1, 0)
	files, err := filepath.Glob(filepath.Join(output, "calibration-*"))
	if err != nil || len(files) != 4 {
		t.Fatalf("%q, %v", files, err)
	}
	var before []string
	for _, path := range files {
		before = append(before, string(readFile(t, path)))
	}
	o := must(t, exitDone, "calibrate", output, "--rank", "1", other)
	for _, want := range []string{"-0.1000", "nothing written", "calibration-point0-rank1.json keeps a fit, with its table and plot", "--keep puts this one in its place"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("it does not say %q:\n%s", want, o.stdout)
		}
	}
	for i, path := range files {
		if string(readFile(t, path)) != before[i] {
			t.Errorf("%s follows a fit that was not kept", path)
		}
	}
	must(t, exitDone, "calibrate", output, "--rank", "1", other, "--keep")
	if row := table(t, must(t, exitDone, "setpoints", output, "--depths", "inf").stdout)[0]; math.Abs(row["stage_mm"]+0.1) > 1e-4 {
		t.Errorf("kept anew, the far reading is %v, want -0.1", row["stage_mm"])
	}
}

// TestCalibrateImplausible: readings of the other mask, or with the sign turned, are told of, and
// not kept unless that is asked for. A build within the tolerances is kept.
func TestCalibrateImplausible(t *testing.T) {
	output := finishedJob(t, twoMasksJob...)
	readings := func(seat string, sign float64, noise ...float64) string {
		text, n := "depth_m,stage_mm\n", 0
		for _, s := range readSetpoints(t, output) {
			if s.Rank == 1 && s.Seat == seat {
				at := sign*s.StageMM + 0.2
				if n < len(noise) {
					at += noise[n]
				}
				n++
				text += fmt.Sprintf("%s,%.6f\n", shortest(s.DepthM), at)
			}
		}
		path := filepath.Join(t.TempDir(), "measured.csv")
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	args := func(seat, path string, more ...string) []string {
		return append([]string{"calibrate", output, "--rank", "1", "--seat", seat, path}, more...)
	}
	says := func(text string, wants ...string) {
		t.Helper()
		for _, want := range wants {
			if !strings.Contains(text, want) {
				t.Errorf("it does not say %q:\n%s", want, text)
			}
		}
	}
	for seat, other := range map[string]string{"front": "rear", "rear": "front"} {
		wrong := readings(other, 1)
		leftNothing(t, output, func() {
			says(must(t, exitFailed, args(seat, wrong, "--keep")...).stderr, "implausible, and nothing is kept", "focal length of the rear group: off by", "place of the eye: off by",
				"5 standard deviations", "--seat", "--implausible keeps it all the same")
		})
		leftNothing(t, output, func() { // the sign turned
			says(must(t, exitFailed, args(seat, readings(seat, -1), "--hold", "f_rear,eye", "--keep")...).stderr, "readings: off the fit by", "does stage_mm grow towards the eye")
		})
		if o := must(t, exitDone, args(seat, readings(seat, 1), "--keep")...); strings.Contains(o.stdout, "implausible") {
			t.Errorf("the design itself is implausible:\n%s", o.stdout)
		}
		says(must(t, exitDone, args(seat, wrong)...).stdout, "warning: the fit is implausible", "is this the file of this mask")
		must(t, exitDone, args(seat, wrong, "--keep", "--implausible")...)
		if err := os.Remove(filepath.Join(output, "calibration-point0-rank1-"+seat+".json")); err != nil {
			t.Fatal(err)
		}
	}
	// A file without errors, of someone who finds a setpoint to 0.15 mm, is kept, and so is one with
	// as many readings as parameters, which have no scatter about the fit.
	must(t, exitDone, args("rear", readings("rear", 1, 0.15, -0.2, 0.1, -0.1, 0.17), "--keep")...)
	lines := strings.SplitAfter(string(readFile(t, readings("rear", 1))), "\n")
	few := filepath.Join(t.TempDir(), "few.csv")
	if err := os.WriteFile(few, []byte(lines[0]+lines[1]+lines[3]+lines[5]), 0o666); err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, args("rear", few, "--keep")...)
	leftNothing(t, output, func() {
		says(must(t, exitWrong, args("rear", few, "--keep", "--scale-errors")...).stderr, "--scale-errors: 3 measurements leave no scatter about 3 parameters")
	})
	says(must(t, exitWrong, args("rear", readings("rear", -1))...).stderr, "do not determine", "does stage_mm grow towards the eye")
	must(t, exitWrong, args("rear", readings("rear", 1), "--implausible")...)
}

// TestCalibrateGiven: a train that the spec gives is calibrated as one that was searched for, whether
// it meets what is asked or not, and the fit finds the zero that is wrong.
func TestCalibrateGiven(t *testing.T) {
	for _, edits := range [][]string{
		givenEdits("erector-single:front:pc40|bc45|pc40/r"),
		givenEdits("keplerian:rear:pc40|pc45/r"),
		givenEdits("erector-single:rear:pc40|pc40|bc45", "given_gaps_mm = [-30, 20]", "given_relief_mm = 400"),
	} {
		output := finishedJob(t, edits...)
		designed := table(t, must(t, exitDone, "setpoints", output, "--depths", bench11).stdout)
		must(t, exitDone, "calibrate", output, "--rank", "1", measuredFile(t, output, "exact.csv", -0.2, 0), "--keep")
		for i, row := range table(t, must(t, exitDone, "setpoints", output, "--depths", bench11).stdout) {
			if want := designed[i]["stage_mm"] - 0.2; math.Abs(row["stage_mm"]-want) > 1e-4 {
				t.Errorf("%q: at %v m the stage reads %v, want %v", edits[1], row["depth_m"], row["stage_mm"], want)
			}
		}
		must(t, exitDone, "report", output)
		if !strings.Contains(pageText(t, output), "The stage as it was measured") {
			t.Errorf("%q: the report lacks the measured stage", edits[1])
		}
	}
}

// TestCalibrateWrong: what is wrong in a file of measurements is told all at once, by line
// and column; too few measurements are refused with what would help.
func TestCalibrateWrong(t *testing.T) {
	output := finishedJob(t)
	write := func(text string) string {
		path := filepath.Join(t.TempDir(), "measured.csv")
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		text  string
		wants []string
	}{
		{"depth_m,stage_mm,sigma_mm\ninf,x,0\n-1,2,0.1\n1,2\n", []string{`measured.csv:2: stage_mm: "x"`, `measured.csv:2: sigma_mm: "0"`, `measured.csv:3: depth_m: "-1"`, "measured.csv:4: 2 cells", "4 faults"}},
		{"depth,stage_mm\n1,2\n", []string{"measured.csv:1: depth: unknown column"}},
		{"depth_m,vergence_D,stage_mm\n1,1,2\n", []string{"the header row has depth_m, vergence_D, stage_mm"}},
		{"", []string{"holds no table"}},
		{"vergence_D,stage_mm\n", []string{"holds no measurement"}},
		{"vergence_D,stage_mm\n5,1\n", []string{"a depth of 0.2 m", "a depth from 0.25 to inf m"}},
		{"vergence_D,stage_mm\n0,0\n0,0.01\n4,5\n", []string{"2 depths do not determine 3 parameters", "would help most"}},
	} {
		path := write(c.text)
		leftNothing(t, output, func() {
			o := must(t, exitWrong, "calibrate", output, "--rank", "1", path)
			for _, want := range c.wants {
				if !strings.Contains(o.stderr, want) {
					t.Errorf("%q: it does not say %q:\n%s", c.text, want, o.stderr)
				}
			}
		})
	}
	good := measuredFile(t, output, "good.csv", 0, 0)
	for _, args := range [][]string{{good}, {"--rank", "1"}, {"--rank", "1", good, good, good}, {"--rank", "1", "--hold", "nose", good}, {"--rank", "1", "--hold", "zero,f_rear,eye", good}, {"--rank", "1", "--step-D", "0", good}} {
		leftNothing(t, output, func() { must(t, exitWrong, append([]string{"calibrate", output}, args...)...) })
	}
}

// FuzzMeasured: whatever a file of measurements holds, it is read or refused with faults,
// and what is read is a measurement.
func FuzzMeasured(f *testing.F) {
	for _, text := range []string{"depth_m,stage_mm\ninf,0.1\n", "vergence_D,stage_mm,sigma_mm\n0,1,0.01\n# note\n4,5,0.01\n", "depth_m,stage_mm\n\"1,2", "a\x00,b\n", "\ufeffdepth_m,stage_mm\n1,nan\n"} {
		f.Add([]byte(text))
	}
	path := filepath.Join(f.TempDir(), "measured.csv")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		rows, _, err := readMeasured(path, 0.01)
		if (len(rows) == 0) == (err == nil) {
			t.Fatalf("%d measurements, %v", len(rows), err)
		}
		for _, r := range rows {
			if !(r.VergenceD >= 0) || math.IsNaN(r.StageMM) || math.IsInf(r.StageMM, 0) || !(r.SigmaMM > 0) || r.line < 2 {
				t.Fatalf("%+v", r)
			}
		}
	})
}
