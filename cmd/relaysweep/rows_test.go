package main

import (
	"cmp"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"

	"relaysweep/results"
)

// indexE is the index of N-BK7 at the e line by the dispersion formula and
// coefficients of SCHOTT's data sheet for it: n² - 1 = sum of B·λ²/(λ² - C),
// λ in µm.
var indexE = func() float64 {
	const l2 = 0.54607 * 0.54607
	return math.Sqrt(1 + 1.03961212*l2/(l2-0.00600069867) + 0.231792344*l2/(l2-0.0200179144) + 1.01046945*l2/(l2-103.560653))
}()

// densityBK7 is in g/cm³, from the same data sheet.
const densityBK7 = 2.51

// bench is a row of ranked.parquet laid out again: its surfaces by themselves.
type bench struct {
	d     *results.Design
	eyeMM float64 // from the first vertex
}

// index of the medium after surface s.
func (b *bench) after(s int) float64 {
	if s >= 0 && b.d.Surfaces[s].GlassAfter != "air" {
		return indexE
	}
	return 1
}

// forward carries a paraxial ray from a height and slope at z, in air or at a
// vertex, through the surfaces from up to but not including to, and on to the
// plane end. Refraction at a surface of curvature c is n'u' = nu - y·c·(n' - n)
// (W. J. Smith, Modern Optical Engineering, chapter 3, first-order optics).
func (b *bench) forward(y, u, z float64, from, to int, end float64) (float64, float64) {
	for s := from; s < to; s++ {
		surface := b.d.Surfaces[s]
		y += u * (surface.ZMM - z)
		n, n1 := b.after(s-1), b.after(s)
		u = (n*u - y/surface.RadiusMM*(n1-n)) / n1
		z = surface.ZMM
	}
	return y + u*(end-z), u
}

// heights are a ray's heights at all surfaces, from its height and slope at
// the eye: the same equation solved for what comes before the surface.
func (b *bench) heights(y, u float64) []float64 {
	heights := make([]float64, len(b.d.Surfaces))
	z := b.eyeMM
	for s := len(heights) - 1; s >= 0; s-- {
		surface := b.d.Surfaces[s]
		y += u * (surface.ZMM - z)
		n, n1 := b.after(s-1), b.after(s)
		u = (n1*u + y/surface.RadiusMM*(n1-n)) / n
		z = surface.ZMM
		heights[s] = y
	}
	return heights
}

// group is the range of surfaces of the lenses of a group.
func (b *bench) group(name string) (from, to int) {
	from = -1
	for i, l := range b.d.Lenses {
		if l.Group == name {
			if from < 0 {
				from = 2 * i
			}
			to = 2*i + 2
		}
	}
	return from, to
}

// part is a lens of the table that a job was given.
type part struct {
	diameter, r1, thickness, r2, price float64
}

func partsOf(t *testing.T, table string) map[string]part {
	parts := map[string]part{}
	for i, line := range strings.Split(strings.TrimSpace(table), "\n") {
		if i == 0 {
			continue
		}
		cells := strings.Split(line, ",")
		number := func(k int) float64 {
			x, err := strconv.ParseFloat(cells[k], 64)
			if err != nil {
				t.Fatal(err)
			}
			return x
		}
		parts[cells[0]] = part{number(3), number(4), number(5), number(7), number(8)}
	}
	return parts
}

// volume of a lens in cm³: a cylinder out to the full diameter less or plus the
// caps, a cap of height h of a sphere of radius R having πh²(R - h/3).
func (p part) volume() float64 {
	radius := p.diameter / 2
	v := math.Pi * radius * radius * p.thickness
	for _, r := range []float64{p.r1, -p.r2} {
		if !math.IsInf(r, 0) {
			h := r - math.Sqrt(r*r-radius*radius)
			v -= math.Pi*radius*radius*h - math.Pi*h*h*(r-h/3)
		}
	}
	return v / 1000
}

// TestRows lays every design out again from its own row and checks that all of
// its paraxial numbers follow from its surfaces, and the surfaces from the lens
// table.
func TestRows(t *testing.T) {
	table := smallLenses(fewFocals)
	parts := partsOf(t, table)
	keplerian := []string{"lenses_per_group = 1", "lenses_per_group = 1\nlayouts = [\"keplerian\"]\nmagnification_tol = 0.2"}
	stacked := []string{"lenses_per_group = 1", "lenses_per_group = 2", "view_blur_arcmin = 24", "view_blur_arcmin = 40"}
	seen := map[string]bool{}
	for _, edits := range [][]string{sweptJob, keplerian, stacked} {
		output := finishedJob(t, edits...)
		setpoints := readSetpoints(t, output)
		designs := readRanked(t, output)
		for i := range designs {
			d := &designs[i]
			var own []results.Setpoint
			for _, s := range setpoints {
				if s.Point == d.Point && s.Rank == d.Rank {
					own = append(own, s)
				}
			}
			seen[d.Layout+" "+d.Seat] = true
			if strings.Contains(d.DesignID, "+") {
				seen["stacks"] = true
			}
			checkRow(t, d, own, parts)
			if t.Failed() {
				t.Fatalf("in %s of %s", d.DesignID, output)
			}
		}
	}
	for _, want := range []string{"keplerian rear", "erector-single rear", "erector-pair rear", "stacks"} {
		if !seen[want] {
			t.Errorf("no design is a %s: %v", want, seen)
		}
	}
}

func checkRow(t *testing.T, d *results.Design, setpoints []results.Setpoint, parts map[string]part) {
	t.Helper()
	// The sums of some twenty lengths of some 100 mm keep 1e-10 and more; what
	// is made of quotients of them is compared as closely as its size asks.
	near := func(what string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-9*math.Max(1, math.Abs(want))) {
			t.Errorf("%s is %.12g, not %.12g", what, got, want)
		}
	}
	b := &bench{d, d.LengthToEyeMM}
	checkParts(t, d, parts, near)

	last := d.Surfaces[len(d.Surfaces)-1]
	near("first vertex", d.Surfaces[0].ZMM, 0)
	near("length_mm", d.LengthMM, last.ZMM)
	near("length_to_eye_mm", d.LengthToEyeMM, d.LengthMM+d.EyeReliefMM)
	names := map[string][]string{
		"keplerian": {"front", "rear"}, "erector-single": {"front", "relay", "rear"}, "erector-pair": {"front", "relay", "relay2", "rear"},
	}[d.Layout]
	gaps := map[string]*float64{"front": &d.Gap1MM, "relay": d.Gap2MM, "relay2": d.Gap2MM}
	if d.Layout == "erector-pair" {
		gaps["relay"] = d.GapInnerMM
	} else if d.GapInnerMM != nil {
		t.Error("gap_inner_mm is not null")
	}
	if d.Layout == "keplerian" && (d.Gap2MM != nil || d.FRelayMM != nil) {
		t.Error("gap2_mm or f_relay_mm of a keplerian is not null")
	}
	for _, name := range names[:len(names)-1] {
		_, to := b.group(name)
		near("gap after "+name, *gaps[name], d.Surfaces[to].ZMM-d.Surfaces[to-1].ZMM)
	}

	// Focal lengths: a ray parallel to the axis at height 1 leaves with -1/f.
	focal := func(first, last string) float64 {
		from, _ := b.group(first)
		_, to := b.group(last)
		_, u := b.forward(1, 0, d.Surfaces[from].ZMM, from, to, 0)
		return -1 / u
	}
	near("f_front_mm", d.FFrontMM, focal("front", "front"))
	near("f_rear_mm", d.FRearMM, focal("rear", "rear"))
	if d.FRelayMM != nil {
		near("f_relay_mm", *d.FRelayMM, focal("relay", names[len(names)-2]))
	}

	// The whole: afocal, and Θ is the slope at the eye of a unit slope.
	all := len(d.Surfaces)
	a, c := b.forward(1, 0, 0, 0, all, b.eyeMM)
	bb, dd := b.forward(0, 1, 0, 0, all, b.eyeMM)
	near("power", c, 0)
	near("angular_magnification", d.AngularMagnification, dd)
	near("viewpoint_shift_mm", d.ViewpointShiftMM, b.eyeMM-bb/a)

	checkMask(t, b, setpoints, near)
	checkField(b, setpoints, near)

	near("transmission", d.Transmission, math.Pow(1-math.Pow((indexE-1)/(indexE+1), 2), float64(all)))
}

// checkParts compares the lenses of a row with the table.
func checkParts(t *testing.T, d *results.Design, parts map[string]part, near func(string, float64, float64)) {
	t.Helper()
	price, mass := 0.0, 0.0
	distinct := map[string]bool{}
	for i, l := range d.Lenses {
		p := parts[l.Part]
		price += p.price
		mass += p.volume() * densityBK7
		distinct[l.Part] = true
		s, e := d.Surfaces[2*i], d.Surfaces[2*i+1]
		r1, r2 := p.r1, p.r2
		if l.Reversed {
			r1, r2 = -p.r2, -p.r1
		}
		near("thickness of "+l.Part, e.ZMM-s.ZMM, p.thickness)
		near("curvature 1 of "+l.Part, 1/s.RadiusMM, 1/r1)
		near("curvature 2 of "+l.Part, 1/e.RadiusMM, 1/r2)
		near("clear half of "+l.Part, s.SemiDiameterMM, 0.9*p.diameter/2)
		if math.IsInf(s.RadiusMM, -1) || math.IsInf(e.RadiusMM, -1) {
			t.Error("a flat has the radius -Inf")
		}
		if s.PitchMM != nil || e.PitchMM != nil {
			t.Errorf("a facet's width on the smooth lens %s", l.Part) // TestFresnelDemo has some
		}
		if s.GlassAfter != "N-BK7" || e.GlassAfter != "air" || l.Vendor != "Invented" {
			t.Errorf("lens %+v with surfaces %+v and %+v", l, s, e)
		}
		next := d.LengthToEyeMM
		if i+1 < len(d.Lenses) {
			next = d.Surfaces[2*i+2].ZMM
		}
		near("gap after "+l.Part, l.GapAfterMM, next-e.ZMM)
	}
	if d.Price == nil || d.MassG == nil {
		t.Fatal("price or mass_g is null")
	}
	near("price", *d.Price, price)
	near("mass_g", *d.MassG, mass)
	if d.LensesCount != len(d.Lenses) || d.DistinctParts != len(distinct) || len(d.Surfaces) != 2*len(d.Lenses) {
		t.Errorf("%d lenses, %d parts, %d surfaces", d.LensesCount, d.DistinctParts, len(d.Surfaces))
	}
}

// checkMask follows rays from the mask to the eye.
func checkMask(t *testing.T, b *bench, setpoints []results.Setpoint, near func(string, float64, float64)) {
	t.Helper()
	d := b.d
	before := "front"
	if d.Seat == "rear" && d.Layout != "keplerian" {
		before = d.Lenses[len(d.Lenses)-1].Group
		for _, l := range d.Lenses {
			if l.Group != "rear" {
				before = l.Group
			}
		}
	}
	_, next := b.group(before)
	vertex := d.Surfaces[next-1].ZMM
	// A ray from the axis in the mask reaches the eye with height y and slope
	// u: it seems to come from 1/V = y/u before the eye. A unit of height in
	// the mask is seen under the slope 1/y.
	look := func(mask float64) (vergence, chief float64) {
		y, u := b.forward(0, 1, vertex+mask, next, len(d.Surfaces), b.eyeMM)
		return u / y, math.Abs(y)
	}
	if len(setpoints) != 5 {
		t.Fatalf("%d setpoints, not 5", len(setpoints))
	}
	const pixelMM, resolutionMM, speedMMS = 0.020, 0.010, 20
	const arcmin = math.Pi / 180 / 60
	var travel [2][]float64 // exact and paraxial positions
	var pixel, step, far, close float64
	for i, s := range setpoints {
		near("vergence_D", s.VergenceD, float64(i)) // infinity to 0.25 m: 0 to 4 D
		near("1/depth_m", 1/s.DepthM, s.VergenceD)
		v, chief := look(s.MaskParaxialMM)
		near("vergence of mask_paraxial_mm", 1000*v, s.VergenceD)
		near("pixel_arcmin", s.PixelArcmin, math.Atan(pixelMM/chief)/arcmin)
		near("stage_mm", s.StageMM, s.MaskMM-setpoints[0].MaskMM)
		pixel = math.Max(pixel, s.PixelArcmin)
		const h = 1e-3
		v1, _ := look(s.MaskParaxialMM - h)
		v2, _ := look(s.MaskParaxialMM + h)
		step = math.Max(step, math.Abs(v2-v1)/(2*h)*resolutionMM*1000)
		if i == 0 {
			far = chief
		}
		close = chief
		travel[0], travel[1] = append(travel[0], s.MaskMM), append(travel[1], s.MaskParaxialMM)
	}
	near("travel_mm", d.TravelMM, slices.Max(travel[0])-slices.Min(travel[0]))
	near("travel_paraxial_mm", d.TravelParaxialMM, slices.Max(travel[1])-slices.Min(travel[1]))
	near("mask_far_mm", d.MaskFarMM, setpoints[0].MaskMM)
	near("mask_near_mm", d.MaskNearMM, setpoints[4].MaskMM)
	near("refocus_s", d.RefocusS, d.TravelMM/speedMMS)
	// With the far setpoint at one end of the travel the mask is farthest from the world's image
	// at the other. Orders part by λ/p.
	near("ghost_arcmin", d.GhostArcmin, math.Atan(d.TravelMM*546.07e-6/pixelMM/far)/arcmin)
	if d.GrooveBlurArcmin != nil || d.GrooveVisibleArcmin != nil {
		t.Error("a train without Fresnel lenses has grooves") // TestFresnelDemo has some
	}
	near("pixel_arcmin", d.PixelArcmin, pixel)
	near("mask_scale_change_pct", d.MaskScaleChangePct, 100*(close/far-1))
	// The central difference is good to h²/6 times the third derivative of the
	// vergence, 1e-8 of it at focal lengths of tens of mm.
	if math.Abs(d.DepthStepD/step-1) > 1e-6 {
		t.Errorf("depth_step_D is %g, not %g", d.DepthStepD, step)
	}

	// The blurs of the row are the largest of the stage table, and those the
	// largest of the samples up to 0.7 of the field.
	mask, view := map[float64]float64{}, map[float64]float64{}
	for _, s := range d.Samples {
		if s.FieldFraction <= 0.7 {
			mask[s.VergenceD] = math.Max(mask[s.VergenceD], s.MaskBlurArcmin)
			view[s.VergenceD] = math.Max(view[s.VergenceD], s.ViewBlurArcmin)
		}
	}
	largest := func(of func(results.Setpoint) float64) float64 {
		return of(slices.MaxFunc(setpoints, func(a, b results.Setpoint) int { return cmp.Compare(of(a), of(b)) }))
	}
	for _, s := range setpoints {
		near("mask blur", s.MaskBlurArcmin, mask[s.VergenceD])
		near("view blur", s.ViewBlurArcmin, view[s.VergenceD])
	}
	near("mask_blur_arcmin", d.MaskBlurArcmin, largest(func(s results.Setpoint) float64 { return s.MaskBlurArcmin }))
	near("view_blur_arcmin", d.ViewBlurArcmin, largest(func(s results.Setpoint) float64 { return s.ViewBlurArcmin }))
}

// checkField finds the largest field that the clear apertures pass: the chief
// height of the field and the pupil's edge, displaced by the box, at the depth
// where it stands farthest out, add up to the clear half at the tightest
// surface.
func checkField(b *bench, setpoints []results.Setpoint, near func(string, float64, float64)) {
	const reachMM = (4.0 + 2.0) / 2
	tangent := math.Inf(1)
	chief := b.heights(0, 1)
	far, close := b.heights(1, setpoints[0].VergenceD/1000), b.heights(1, setpoints[4].VergenceD/1000)
	for s, surface := range b.d.Surfaces {
		edge := reachMM * math.Max(math.Abs(far[s]), math.Abs(close[s]))
		tangent = math.Min(tangent, (surface.SemiDiameterMM-edge)/math.Abs(chief[s]))
	}
	near("field_max_deg", b.d.FieldMaxDeg, 2*math.Atan(tangent)*180/math.Pi)
}

// TestProofAddsUp counts the space by hand and adds up what became of it.
func TestProofAddsUp(t *testing.T) {
	// A plano-convex lens stands either way round, an equi-convex one does not
	// change: three for each focal length, single, and in a group of two also
	// every pair.
	one := int64(3 * len(fewFocals))
	two := one + one*one
	cube := func(n int64) int64 { return n * n * n }
	for _, c := range []struct {
		edits []string
		space []int64 // by sweep point
	}{
		{nil, []int64{cube(one)}},
		{[]string{"top = 8", "top = 1000"}, []int64{cube(one)}},
		{[]string{"top = 8", "top = 8\n[search]\none_per = \"parts\"\nchecks_max = 40"}, []int64{cube(one)}},
		{[]string{"view_blur_arcmin = 24", "view_blur_arcmin = 0.5"}, []int64{cube(one)}},
		{[]string{"lenses_per_group = 1", "lenses_per_group = 2", "view_blur_arcmin = 24", "view_blur_arcmin = 40"}, []int64{cube(two)}},
		{[]string{"lenses_per_group = 1", `lenses_per_group = 1
layouts = ["keplerian"]
magnification_tol = 0.2`}, []int64{one * one}},
		{sweptJob, []int64{
			cube(one) * (1 + one), 2 * cube(one) * (1 + one), cube(one) * (1 + one), 2 * cube(one) * (1 + one),
		}},
	} {
		spec := newJob(t, c.edits...)
		if o := invoke(t, "run", spec); o.code != exitDone && o.code != exitNothing {
			t.Fatalf("%v: code %d\n%s", c.edits, o.code, o.stderr)
		}
		rows := map[int]int64{}
		for _, d := range readRanked(t, outputOf(spec)) {
			rows[d.Point]++
		}
		points := readManifest(t, outputOf(spec)).Points
		if len(points) != len(c.space) {
			t.Fatalf("%v: %d points, not %d", c.edits, len(points), len(c.space))
		}
		for i, p := range points {
			sum := big.NewInt(p.Passed)
			for _, counts := range []map[string]*big.Int{p.SetAside, p.Failed} {
				for name, n := range counts {
					if n.Sign() <= 0 {
						t.Errorf("%v: point %d: %s is %v", c.edits, i, name, n)
					}
					sum.Add(sum, n)
				}
			}
			if want := strconv.FormatInt(c.space[i], 10); p.Space != want || sum.String() != want {
				t.Errorf("%v: point %d: space %s, set aside, failed and passed %v, by hand %s: %+v", c.edits, i, p.Space, sum, want, p)
			}
			if p.Passed != rows[p.Point] || p.Checked < p.Passed || p.Examined < p.Checked {
				t.Errorf("%v: point %d: examined %d, checked %d, passed %d, rows %d", c.edits, i, p.Examined, p.Checked, p.Passed, rows[p.Point])
			}
		}
	}
}

// TestProvenLength holds a short ranking against the whole one: below its proven
// length the whole one has nothing that the short one has not, and both have
// the same order.
func TestProvenLength(t *testing.T) {
	ranked := func(top int) string {
		spec := newJobOf(t, smallLenses([]float64{40, 45, 50}), "view_blur_arcmin = 24", "view_blur_arcmin = 60", "top = 8", "top = "+strconv.Itoa(top))
		must(t, exitDone, "run", spec)
		return outputOf(spec)
	}
	whole := ranked(100_000)
	if p := readManifest(t, whole).Points[0]; !p.WholeSpace || p.ProvenLengthMM != nil || !p.Exact {
		t.Errorf("the whole ranking does not say that it is: %+v", p)
	}
	all := readRanked(t, whole)
	if !slices.IsSortedFunc(all, func(a, b results.Design) int {
		// Lengths are compared in steps of 1e-6 mm, equal ones by name.
		return cmp.Or(cmp.Compare(math.Round(a.LengthMM*1e6), math.Round(b.LengthMM*1e6)), strings.Compare(a.DesignID, b.DesignID))
	}) {
		t.Error("the ranking is not in order")
	}
	if len(all) < 20 {
		t.Fatalf("only %d designs pass", len(all))
	}
	for _, top := range []int{1, 2, 5, 11, 20} {
		output := ranked(top)
		p := readManifest(t, output).Points[0]
		short := readRanked(t, output)
		if len(short) != top || !p.Exact || p.WholeSpace {
			t.Fatalf("top %d: %d designs, %+v", top, len(short), p)
		}
		for i := range all {
			switch {
			case i < top && (short[i].DesignID != all[i].DesignID || short[i].Rank != i+1):
				t.Errorf("top %d: rank %d is %s, not %s", top, i+1, short[i].DesignID, all[i].DesignID)
			case i >= top && math.Round(all[i].LengthMM*1e6) < math.Round(*p.ProvenLengthMM*1e6):
				t.Errorf("top %d: proven to %f mm, but %s of %f mm passes too", top, *p.ProvenLengthMM, all[i].DesignID, all[i].LengthMM)
			}
		}
	}
}
