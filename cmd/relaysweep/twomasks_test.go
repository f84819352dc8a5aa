package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"relaysweep/results"
)

// twoMasksJob has a mask at each image, in both upright layouts.
var twoMasksJob = []string{
	"lenses_per_group = 1", "lenses_per_group = 1\nlayouts = [\"erector-single\", \"erector-pair\"]",
	"top = 8", "top = 4",
	"pixel_um = 20", "pixel_um = 20\nseat = \"both\"",
	"view_blur_arcmin = 24", "view_blur_arcmin = 60",
	"mask_blur_arcmin = 12", "mask_blur_arcmin = 60",
	"vignetted_pct = 20", "vignetted_pct = 60",
}

// oneMask is the row of a design with two masks as if it had that at one image alone.
func oneMask(d *results.Design, seat string) *results.Design {
	one := *d
	one.Seat = seat
	if seat == "rear" {
		return &one
	}
	one.TravelMM, one.TravelParaxialMM, one.MaskFarMM, one.MaskNearMM = *d.FrontTravelMM, *d.FrontTravelParaxialMM, *d.FrontMaskFarMM, *d.FrontMaskNearMM
	one.DepthStepD, one.RefocusS, one.PixelArcmin, one.MaskScaleChangePct = *d.FrontDepthStepD, *d.FrontRefocusS, *d.FrontPixelArcmin, *d.FrontMaskScaleChangePct
	one.MaskBlurArcmin, one.BlurMismatchPct, one.GhostArcmin = *d.FrontMaskBlurArcmin, d.FrontBlurMismatchPct, *d.FrontGhostArcmin
	one.Samples = slices.Clone(d.Samples)
	for i := range one.Samples {
		one.Samples[i].MaskBlurArcmin = *d.Samples[i].FrontMaskBlurArcmin
	}
	return &one
}

// TestTwoMasks runs a small job with a mask at each image: each mask of each row follows from the row's own
// surfaces, and all that is told of a design tells of both.
func TestTwoMasks(t *testing.T) {
	output := finishedJob(t, twoMasksJob...)
	parts := partsOf(t, smallLenses(fewFocals))
	designs, setpoints := readRanked(t, output), readSetpoints(t, output)
	if len(designs) == 0 {
		t.Fatal("no design has two masks")
	}
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	for i := range designs {
		d := &designs[i]
		if d.Seat != "both" || !strings.HasPrefix(d.DesignID, d.Layout+":both:") || d.FrontGhostPct != nil {
			t.Errorf("%s: seat %s", d.DesignID, d.Seat)
		}
		var own []results.Setpoint
		for _, s := range setpoints {
			if s.Rank == d.Rank {
				own = append(own, s)
			}
		}
		for k, s := range own {
			if want := []string{"rear", "front"}[k%2]; s.Seat != want || k%2 == 1 && s.DepthM != own[k-1].DepthM {
				t.Errorf("row %d is of the %s mask at %v m", k, s.Seat, s.DepthM)
			}
		}
		for _, seat := range []string{"rear", "front"} {
			checkRow(t, oneMask(d, seat), ofMask(own, seat), parts)
		}
		b, err := run.reopen(d)
		if err != nil {
			t.Fatal(err)
		}
		if b.doubt != "" {
			t.Error(b.doubt)
		}
		compareRays(t, b)
		compareDrawing(t, b)
	}

	d := &designs[0]
	page := must(t, exitDone, "show", output, "--rank", "1").stdout
	for _, want := range []string{"Mask at image 2: between relay", "Mask at image 1: between front and relay", "front_travel_mm", "front_mask_blur_arcmin"} {
		if !strings.Contains(page, want) {
			t.Errorf("show does not say %q:\n%s", want, page)
		}
	}
	if line := lineOf(page, "front_travel_mm"); len(line) != 6 || line[2] != results.Fixed(*d.FrontTravelMM, 3) || line[5] != results.Fixed(15-*d.FrontTravelMM, 3) {
		t.Errorf("the margin of the travel of the front mask: %v", line)
	}
	rays := must(t, exitDone, "show", output, "--rank", "1", "--rays").stdout
	if !strings.Contains(rays, fmt.Sprintf("mask at image 2 at %.3f mm, mask at image 1 at %.3f mm", d.MaskFarMM, *d.FrontMaskFarMM)) {
		t.Error("the table of rays does not say where both masks stand")
	}
	// Light comes from the eye: it meets the mask at image 2 first.
	second, first := strings.Index(rays, "\nmask at image 2  "), strings.Index(rays, "\nmask at image 1  ")
	if second < 0 || first < second || strings.Contains(rays, "\nmask  ") {
		t.Errorf("the table of rays does not tell the masks apart:\n%s", rays)
	}
	if compared := must(t, exitDone, "compare", output, "--rank", "1,2").stdout; !strings.Contains(compared, "front_pixel_arcmin") {
		t.Errorf("compare does not tell of the front mask:\n%s", compared)
	}
	must(t, exitDone, "report", output)
	html := string(readFile(t, output, reportFile))
	for _, want := range []string{"Mask at image 2, stage", "Mask at image 1, stage", "Stage curve, mask at image 1", "Blur of the mask at image 2", "the mask at image 1 stands at", "for the far depth, masks at far", `data-col="front_mask_blur_arcmin"`} {
		if !strings.Contains(html, want) {
			t.Errorf("the report does not say %q", want)
		}
	}

	// The stage table at its own depths, and a measured stage of the front mask.
	want := "depth_m,vergence_D,mask_mm,stage_mm,mask_paraxial_mm,mask_blur_arcmin,seat\n"
	measured := "depth_m,stage_mm\n"
	for _, s := range setpoints[:10] {
		want += fmt.Sprintf("%s,%s,%s,%s,%s,%s,%s\n", rounded(s.DepthM), rounded(s.VergenceD), results.Fixed(s.MaskMM, 6), results.Fixed(s.StageMM, 6),
			results.Fixed(s.MaskParaxialMM, 6), results.Fixed(s.MaskBlurArcmin, 3), s.Seat)
		if s.Seat == "front" {
			measured += fmt.Sprintf("%s,%.6f\n", shortest(s.DepthM), s.StageMM+0.2)
		}
	}
	asked := []string{"setpoints", output, "--rank", "1", "--step-D", "1"}
	if got := must(t, exitDone, asked...).stdout; got != want {
		t.Errorf("setpoints:\n%s\nthe file has\n%s", got, want)
	}
	file := filepath.Join(t.TempDir(), "measured.csv")
	if err := os.WriteFile(file, []byte(measured), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, seat := range [][]string{nil, {"--seat", "middle"}} {
		o := must(t, exitWrong, append([]string{"calibrate", output, "--rank", "1", file}, seat...)...)
		if !strings.Contains(o.stderr, "front") {
			t.Errorf("%v: %s", seat, o.stderr)
		}
	}
	must(t, exitDone, "calibrate", output, "--rank", "1", "--seat", "front", "--keep", file)
	o := must(t, exitDone, asked...)
	for i, line := range strings.Split(strings.TrimSpace(o.stdout), "\n")[1:] {
		cells := strings.Split(line, ",")
		s := setpoints[i]
		if s.Seat == "front" {
			s.StageMM += 0.2
		}
		var got float64
		if fmt.Sscan(cells[3], &got); !(got-s.StageMM < 2e-3 && s.StageMM-got < 2e-3) || cells[6] != s.Seat {
			t.Errorf("calibrated: %s, designed and moved %v", line, s)
		}
	}
	must(t, exitDone, "report", output)
	if html := string(readFile(t, output, reportFile)); !strings.Contains(html, "The stage as it was measured, mask at image 1") {
		t.Error("the report does not show the measured stage")
	}
	must(t, exitDone, "tolerance", output, "--designs", "1", "--builds", "40")
	if built := must(t, exitDone, "tolerance", output, "--rank", "1", "--build", "3").stdout; !strings.Contains(built, "stage_zero_mm,stage at image 1,") {
		t.Errorf("a build has one stage:\n%s", built)
	}

	// The same train, given.
	given := slices.Clone(twoMasksJob)
	given[1] += "\ngiven = '" + d.DesignID + "'"
	rows := readRanked(t, finishedJob(t, given...))
	if len(rows) != 1 || rows[0].LengthMM != d.LengthMM || rows[0].MaskBlurArcmin != d.MaskBlurArcmin || *rows[0].FrontMaskBlurArcmin != *d.FrontMaskBlurArcmin ||
		len(rows[0].Fails) > 0 {
		t.Errorf("given: %+v, ranked: %+v", rows, d)
	}

	// A keplerian has one image.
	path := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlayouts = [\"keplerian\"]", "pixel_um = 20", "pixel_um = 20\nseat = \"both\"")
	if o := must(t, exitWrong, "run", path); !strings.Contains(o.stderr, "mask.seat") || !strings.Contains(o.stderr, "a keplerian has one image") {
		t.Errorf("a keplerian with two masks: %s", o.stderr)
	}
}
