package main

import (
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"relaysweep/objective"
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
			if name == "seat" {
				continue
			}
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
	output := finishedJob(t, append(slices.Clone(sweptJob), "near_m = 0.25", "near_m = 0.25\nsteps = 9")...)
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

// FuzzDepths: whatever is written for a list of depths, it is refused or lies in
// the range, each entry by itself.
func FuzzDepths(f *testing.F) {
	for _, list := range []string{"0.25,0.5,1,inf", "0.2", "", ",", "nan", "-inf", "1e400", "0x1p-1", "1_0", " 1 , 2 ", "+Inf", "0.25000000000001"} {
		f.Add(list)
	}
	p := &objective.Problem{VergenceFar: 0, VergenceNear: 1.0 / 250}
	f.Fuzz(func(t *testing.T, list string) {
		asked, err := parseDepths(p, list)
		if err != nil {
			if len(asked) > 0 || !strings.Contains(err.Error(), "from 0.25 to inf m") {
				t.Errorf("%q: %v, and still %v", list, err, asked)
			}
			return
		}
		if len(asked) != strings.Count(list, ",")+1 {
			t.Errorf("%q: %d depths", list, len(asked))
		}
		for _, a := range asked {
			if !(a.vergenceD >= 0 && a.vergenceD <= 4) {
				t.Errorf("%q: %v D", list, a.vergenceD)
			}
		}
	})
}
