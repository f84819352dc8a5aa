package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"relaysweep/results"
)

// table reads what setpoints printed.
func table(t *testing.T, text string) []map[string]float64 {
	t.Helper()
	cells, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	var rows []map[string]float64
	for _, line := range cells[1:] {
		row := map[string]float64{}
		for i, name := range cells[0] {
			x, err := strconv.ParseFloat(line[i], 64)
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			row[name] = x
		}
		rows = append(rows, row)
	}
	return rows
}

// TestSetpoints asks for the depths of the stage table, of every design of a
// run that has all layouts and both seats, and compares with the table; and for
// depths between, at which the paraxial place has to be that of the design's own
// surfaces, and the exact one on a smooth curve through the table's.
func TestSetpoints(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	stage := readSetpoints(t, output)
	for _, d := range readRanked(t, output) {
		var depths []string
		var want []results.Setpoint
		for _, s := range stage {
			if s.Point == d.Point && s.Rank == d.Rank {
				want = append(want, s)
				depths = append(depths, shortest(s.DepthM))
			}
		}
		at := []string{"setpoints", output, "--point", strconv.Itoa(d.Point), "--rank", strconv.Itoa(d.Rank)}
		o := must(t, exitDone, append(at, "--depths", strings.Join(depths, ","))...)
		if o.stderr != "" {
			t.Errorf("%s: %s", d.DesignID, o.stderr)
		}
		got := table(t, o.stdout)
		if len(got) != len(want) {
			t.Fatalf("%d rows for %d depths", len(got), len(want))
		}
		for i, w := range want {
			near := func(name string, value, tolerance float64) {
				t.Helper()
				if !(math.Abs(got[i][name]-value) <= tolerance) && got[i][name] != value {
					t.Errorf("%s at %s m: %s = %v, not %v", d.DesignID, depths[i], name, got[i][name], value)
				}
			}
			// Half of the last digit printed, and rounding of 1e-9.
			near("depth_m", w.DepthM, 0)
			near("vergence_D", w.VergenceD, 1e-11)
			near("mask_mm", w.MaskMM, 0.51e-6)
			near("stage_mm", w.StageMM, 0.51e-6)
			near("mask_paraxial_mm", w.MaskParaxialMM, 0.51e-6)
			near("mask_blur_arcmin", w.MaskBlurArcmin, 0.51e-3)
		}
		between := table(t, must(t, exitDone, append(at, "--step-D", "0.3")...).stdout)
		if n := len(between); n != 15 || between[0]["vergence_D"] != 0 || between[n-1]["vergence_D"] != 4 || between[1]["vergence_D"] != 0.3 {
			t.Fatalf("steps of 0.3 D from 0 to 4 D: %v", between)
		}
		layout := &bench{d: &d, eyeMM: d.LengthToEyeMM}
		for _, row := range between {
			v := row["vergence_D"]
			if place := layout.maskPlace(v / 1000); math.Abs(row["mask_paraxial_mm"]-place) > 1e-5 {
				t.Errorf("%s at %g D: paraxial place %v, by its surfaces %v", d.DesignID, v, row["mask_paraxial_mm"], place)
			}
			// The difference of exact and paraxial place varies slowly: a cubic
			// through the four nearest entries of the table is it to a few hundredths
			// of a micrometre. Straight lines between the table's places would be off
			// by an eighth of their second difference, some micrometres.
			if diff := row["mask_mm"] - row["mask_paraxial_mm"]; math.Abs(diff-cubic(want, v)) > 1e-4 {
				t.Errorf("%s at %g D: exact place %v beyond the paraxial one, a curve through the table's says %v", d.DesignID, v, diff, cubic(want, v))
			}
		}
	}
}

// maskPlace is where the mask stands for an apparent vergence in 1/mm, by two
// paraxial rays from the eye through the row's own surfaces: it is where the
// rays that seem to come from the point meet again. In mm from the last vertex
// before the mask.
func (b *bench) maskPlace(vergence float64) float64 {
	group := map[string]string{"front": "relay", "rear": "rear"}[b.d.Seat]
	from, _ := b.group(group) // the first surface behind the mask
	// A ray of height 1 at the eye, seeming to come from the axial point at
	// 1/vergence: slope +vergence on its way towards growing z.
	y, u := 1.0, vergence
	z := b.eyeMM
	for s := len(b.d.Surfaces) - 1; s >= from; s-- {
		surface := b.d.Surfaces[s]
		y += u * (surface.ZMM - z)
		n, n1 := b.after(s-1), b.after(s)
		u = (n1*u + y/surface.RadiusMM*(n1-n)) / n
		z = surface.ZMM
	}
	return z - y/u - b.d.Surfaces[from-1].ZMM
}

// cubic is the value at a vergence of the curve of third degree through the
// exact less the paraxial places of the four entries next to it (Lagrange's
// interpolation).
func cubic(stage []results.Setpoint, v float64) float64 {
	first := 0
	for first+4 < len(stage) && stage[first+2].VergenceD < v {
		first++
	}
	sum := 0.0
	for i := first; i < first+4; i++ {
		term := stage[i].MaskMM - stage[i].MaskParaxialMM
		for k := first; k < first+4; k++ {
			if k != i {
				term *= (v - stage[k].VergenceD) / (stage[i].VergenceD - stage[k].VergenceD)
			}
		}
		sum += term
	}
	return sum
}

// TestBadDepths: everything wrong with the depths is told at once, with exit
// code 2 and nothing on stdout.
func TestBadDepths(t *testing.T) {
	output := finishedJob(t, "near_m = 0.25", "near_m = 0.25\nfar_m = 2.0")
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"--depths", "0.2,1,3"}, []string{`number 1, "0.2", is nearer`, `number 3, "3", is farther`, "from 0.25 to 2 m"}},
		{[]string{"--depths", "inf"}, []string{`"inf", is farther`}},
		{[]string{"--depths", "0,-1"}, []string{`"0", is not above 0`, `"-1", is not above 0`}},
		{[]string{"--depths", "near,nan,"}, []string{`"near", is not a number`, `"nan", is not a number`, `number 3, "", is not a number`}},
		{[]string{"--step-D", "0"}, []string{"0 is no step"}},
		{[]string{"--step-D", "-0.1"}, []string{"-0.1 is no step"}},
		{[]string{"--step-D", "NaN"}, []string{"is no step"}},
		{[]string{"--step-D", "1e-9"}, []string{"more than 100000 depths"}},
		{[]string{"--step-D", "much"}, []string{"step-D"}},
		{nil, []string{"either --depths", "or --step-D"}},
		{[]string{"--depths", "1", "--step-D", "1"}, []string{"either --depths"}},
		{[]string{"--depths", "1", "--rank", "99"}, []string{"no rank 99"}},
		{[]string{"--depths", "1", "--point", "1"}, []string{"no point 1"}},
	} {
		o := must(t, exitWrong, append([]string{"setpoints", output}, c.args...)...)
		if o.stdout != "" {
			t.Errorf("%q printed %q", c.args, o.stdout)
		}
		for _, want := range c.want {
			if !strings.Contains(o.stderr, want) {
				t.Errorf("%q does not say %q:\n%s", c.args, want, o.stderr)
			}
		}
	}
	// The ends of the range belong to it, and so does 1/3 m of 3 D.
	must(t, exitDone, "setpoints", output, "--depths", "0.25,2")
	if rows := table(t, must(t, exitDone, "setpoints", output, "--step-D", "10").stdout); len(rows) != 2 || rows[0]["depth_m"] != 2 || rows[1]["depth_m"] != 0.25 {
		t.Errorf("one step larger than the range gives %v", rows)
	}
}

// reopening are the commands that need a run's inputs.
var reopening = [][]string{{"setpoints", "--depths", "0.5"}, {"show", "--rays"}, {"report"}}

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
	for _, command := range reopening {
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
	} {
		output := finishedJob(t)
		designs := readRanked(t, output)
		c.spoil(&designs[0])
		if err := results.WriteRanked(filepath.Join(output, rankedFile), nil, nil, designs); err != nil {
			t.Fatal(err)
		}
		o := must(t, exitFailed, "setpoints", output, "--depths", "1")
		if !strings.Contains(o.stderr, c.want) || !strings.Contains(o.stderr, rankedFile) || !strings.Contains(o.stderr, "rank 1") {
			t.Errorf("%s: says %s", c.want, o.stderr)
		}
	}
}

// meridional traces a ray in the plane of the axis from the eye through the
// row's own spherical surfaces, by the angle between ray and normal at the
// crossing of a line with a circle, and Snell's law for that angle. It gives the
// crossings and, behind each, the angle to the axis towards the world.
func (b *bench) meridional(y, angle float64) (crossings [][2]float64, angles []float64) {
	x := b.eyeMM
	for s := len(b.d.Surfaces) - 1; s >= 0; s-- {
		surface := b.d.Surfaces[s]
		n, n1 := b.after(s), b.after(s-1)
		vx := surface.ZMM
		dx, dy := -math.Cos(angle), math.Sin(angle)
		normal := 0.0 // angle of the normal to the axis, towards the world
		if math.IsInf(surface.RadiusMM, 0) {
			along := (vx - x) / dx
			x, y = vx, y+along*dy
		} else {
			cx := vx + surface.RadiusMM
			p := (x-cx)*dx + y*dy
			q := (x-cx)*(x-cx) + y*y - surface.RadiusMM*surface.RadiusMM
			root := math.Sqrt(p*p - q)
			along := -p + root // the vertex's side of the circle
			if other := -p - root; math.Abs(x+other*dx-vx) < math.Abs(x+along*dx-vx) {
				along = other
			}
			x, y = x+along*dx, y+along*dy
			normal = math.Asin(y / surface.RadiusMM)
		}
		// Both angles count from the direction towards the world, -x, and grow
		// with y; the outward normal there leans by +asin(y/R).
		incidence := angle - normal
		angle = normal + math.Asin(n/n1*math.Sin(incidence))
		crossings = append(crossings, [2]float64{x, y})
		angles = append(angles, angle)
	}
	return crossings, angles
}

// compareRays holds what a reopened design traces against the same rays through
// the row's own surfaces.
func compareRays(t *testing.T, b *reopened) {
	t.Helper()
	layout := &bench{d: b.design, eyeMM: b.design.LengthToEyeMM}
	for _, s := range b.stages {
		for _, field := range fieldSamples {
			for _, r := range b.traceSample(field, s.VergenceD/1000, s.MaskMM) {
				if !r.complete {
					continue
				}
				y := r.ray.share * 3 // half of a pupil of 4 mm and a box of 2 mm
				slope := field*b.problem.TanMax - y*s.VergenceD/1000
				crossings, angles := layout.meridional(y, math.Atan(slope))
				k := 0
				for _, at := range r.points {
					if at.Surface < 0 {
						continue
					}
					if math.Abs(at.Z-crossings[k][0]) > 1e-8 || math.Abs(at.Y-crossings[k][1]) > 1e-8 || math.Abs(math.Atan2(at.M, -at.N)-angles[k]) > 1e-9 {
						t.Fatalf("%s, field %g, %g D, %s ray, surface %d: at %v, %v with %v; by its own surfaces %v with %v",
							b.design.DesignID, field, s.VergenceD, r.ray.name, at.Surface+1, at.Z, at.Y, math.Atan2(at.M, -at.N), crossings[k], angles[k])
					}
					k++
				}
				if k != len(crossings) {
					t.Fatalf("%d crossings for %d surfaces", k, len(crossings))
				}
			}
		}
	}
}

// TestRays compares the rays that are listed and drawn with a trace of its own
// through the row's surfaces, and the printed table with both.
func TestRays(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	for i := range run.designs {
		b, err := run.reopen(&run.designs[i])
		if err != nil {
			t.Fatal(err)
		}
		if b.doubt != "" {
			t.Errorf("%s: %s", b.design.DesignID, b.doubt)
		}
		compareRays(t, b)
		compareDrawing(t, b)
	}

	d := &run.designs[0]
	page := must(t, exitDone, "show", output, "--rank", "1", "--rays").stdout
	if !strings.Contains(page, d.DesignID) || !strings.Contains(page, "546.07 nm") || !strings.Contains(page, cautions) {
		t.Errorf("the page of rays is\n%s", page)
	}
	// The last field sample of the far depth, at the surface next to the eye.
	layout := &bench{d: d, eyeMM: d.LengthToEyeMM}
	tan := math.Hypot(math.Tan(4*math.Pi/180), math.Tan(3.75*math.Pi/180)) // the swept field: 8 by 7.5 degrees
	block := page[strings.Index(page, "\nfield 1 of the half field, "+fmt.Sprintf("%.2f deg; depth inf m", math.Atan(tan)*180/math.Pi)):]
	want := []string{"rear", strconv.Itoa(len(d.Surfaces))}
	row := lineOf(block, want...)
	for k, y := range []float64{0, 3, -3} {
		crossings, angles := layout.meridional(y, math.Atan(tan))
		height, angle := fmt.Sprintf("%.3f", crossings[0][1]), fmt.Sprintf("%.3f", angles[0]*180/math.Pi)
		if math.Abs(crossings[0][1]) > d.Surfaces[len(d.Surfaces)-1].SemiDiameterMM {
			height += "*"
		}
		if len(row) != 10 || row[4+2*k] != height || row[5+2*k] != angle {
			t.Errorf("ray %d at the last surface is listed as %q, not %s at %s", k, row, height, angle)
		}
	}
	marks := strings.Count(page, "*") - 1 // the legend has one
	count := regexp.MustCompile(`(?m)^(\d+) crossings? beyond`).FindStringSubmatch(page)
	if count == nil || count[1] != strconv.Itoa(marks) {
		t.Errorf("%d marks, and the sum says %q", marks, count)
	}
}

// TestRaysBeyond has a field that is too wide for its lenses once rays are
// exact: crossings beyond the clear half are marked and counted.
func TestRaysBeyond(t *testing.T) {
	output := finishedJob(t, "vignetted_pct = 20", "vignetted_pct = 60", "view_blur_arcmin = 16", "view_blur_arcmin = 60", "mask_blur_arcmin = 12", "mask_blur_arcmin = 60",
		"width_deg = 10", "width_deg = 13.5", "top = 8", "top = 100")
	marked := false
	for _, d := range readRanked(t, output) {
		page := must(t, exitDone, "show", output, "--rank", strconv.Itoa(d.Rank), "--rays").stdout
		has := strings.Count(page, "*") > 1
		marked = marked || has
		// The pupil anywhere in its box is vignetted where an edge ray is.
		if d.VignettedPct == 0 && has {
			t.Errorf("%s is not vignetted and has marks:\n%s", d.DesignID, page)
		}
	}
	if !marked {
		t.Error("no design has a ray beyond a clear half")
	}
}
