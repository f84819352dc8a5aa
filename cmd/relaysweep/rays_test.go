package main

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

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
	for i := range b.stages[0] {
		vergence, masks := b.standing(i)
		for _, field := range []float64{0, 0.5, 0.7, 1} {
			for _, r := range b.traceSample(field, vergence, masks) {
				if !r.complete {
					continue
				}
				y := r.ray.share * 3 // half of a pupil of 4 mm and a box of 2 mm
				slope := field*b.problem.TanMax - y*vergence
				crossings, angles := layout.meridional(y, math.Atan(slope))
				k := 0
				for _, at := range r.points {
					if at.Surface < 0 {
						continue
					}
					if math.Abs(at.Z-crossings[k][0]) > 1e-8 || math.Abs(at.Y-crossings[k][1]) > 1e-8 || math.Abs(math.Atan2(at.M, -at.N)-angles[k]) > 1e-9 {
						t.Fatalf("%s, field %g, %g D, %s ray, surface %d: at %v, %v with %v; by its own surfaces %v with %v",
							b.design.DesignID, field, 1000*vergence, r.ray.name, at.Surface+1, at.Z, at.Y, math.Atan2(at.M, -at.N), crossings[k], angles[k])
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
	if !strings.Contains(page, d.DesignID) || !strings.Contains(page, "546.07 nm") || !strings.HasSuffix(page, "\n\n"+cautionLine) {
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
	output := finishedJob(t, "vignetted_pct = 20", "vignetted_pct = 60", "view_blur_arcmin = 24", "view_blur_arcmin = 60", "mask_blur_arcmin = 12", "mask_blur_arcmin = 60",
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
