package results

import (
	"bytes"
	"math"
	"math/big"
	"strings"
	"testing"
)

// TestFoundWords: what is said of a run's result is true of that run: how many
// passed and how many are listed, whether all was searched, whether it is done.
func TestFoundWords(t *testing.T) {
	designs := func(n int) []Design {
		list := make([]Design, n)
		for i := range list {
			list[i] = Design{Rank: i + 1, Exact: true}
		}
		return list
	}
	for name, c := range map[string]struct {
		r         Report
		want, not []string
	}{
		"all listed": {
			Report{Designs: designs(20), Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{Passed: 20, Exact: true, Ended: true}}}},
			[]string{"20 designs passed", "The ranking is exact"}, []string{"listed of", "Unfinished"},
		},
		"some listed": {
			Report{Designs: designs(20), Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{Passed: 999, Exact: true, Ended: true}}}},
			[]string{"20 designs listed of 999 that passed"}, []string{"20 designs passed"},
		},
		"population, refined": {
			Report{Designs: designs(20), Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{Passed: 30, Optimized: &Optimized{}, Refined: &RefinedCounts{50, 40}}}}},
			[]string{"20 designs listed, of 30 that passed", "and 40 refined ones", "a population search looked at a part"}, []string{"screen"},
		},
		"refined": {
			Report{Designs: designs(20), Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{
				Passed: 30, Refined: &RefinedCounts{50, 40}, Ended: true, ProvenLengthMM: ptr(170.25), ScreenedMM: ptr(190.5), Audit: &Audit{Drawn: 200, MissedShareUpper95: 0.0149},
			}}}},
			[]string{
				"20 designs listed of 40 that passed every requirement and every limit by exact rays, refined.",
				"Proven: no other design that passes at its paraxial gaps is shorter than 170.25 mm. Screened: no other design that the screen takes for near its limits at its paraxial gaps is shorter than 190.50 mm when refined.",
				"200 were drawn and refined, none passes; at most 1.5 % of all would pass (95 % confidence).",
			},
			[]string{"exact:", "Not exact", "leaks"},
		},
		"refined, a leak": {
			Report{Designs: designs(20), Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{
				Refined: &RefinedCounts{50, 40}, Ended: true, ScreenedMM: ptr(190.5), Audit: &Audit{Drawn: 200, Passed: 3, Listed: 1, MissedShareUpper95: 0.0383},
			}}}},
			[]string{"The screen leaks. Audit: ", "3 pass, 1 of them short enough for the ranking; at most 3.8 %"}, nil,
		},
		"refined, two points": {
			Report{Designs: designs(20), PointsAsked: 2, Manifest: &Manifest{Complete: true, Points: []ManifestPoint{
				{Refined: &RefinedCounts{50, 10}, Ended: true, ScreenedMM: ptr(190.5), Found: &BestFound{180, "walk"}, Audit: &Audit{Drawn: 150, Passed: 2}},
				{Refined: &RefinedCounts{50, 10}, Ended: true, ScreenedMM: ptr(210.5), Found: &BestFound{200, "walk"}, Audit: &Audit{Drawn: 50, Passed: 1, Listed: 1}},
			}}},
			[]string{"at 2 of 2 sweep points", "is shorter than the last one listed at its sweep point when refined", "200 were drawn and refined, 3 pass, 1 of them short enough for a ranking."}, []string{"190.50", "in the whole space"},
		},
		"refined, nothing, screened to the end": {
			Report{Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{Refined: &RefinedCounts{50, 0}, Ended: true, ProvenLengthMM: ptr(170.25)}}}},
			[]string{"Proven: no design that passes at its paraxial gaps is shorter than 170.25 mm. Screened: every design of the whole space that the screen takes for near its limits at its paraxial gaps was refined."}, []string{"other"},
		},
		"refined, nothing in the whole space": {
			Report{Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{Refined: &RefinedCounts{50, 0}, Ended: true, WholeSpace: true}}}},
			[]string{"Nothing meets the requirements.", "Nothing in the whole space passes: at paraxial gaps that is proven;"}, []string{"Apart", "shorter"},
		},
		"refined, cut off": {
			Report{Designs: designs(3), Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{
				Refined: &RefinedCounts{50, 3}, ScreenedMM: ptr(171.0), ProvenLengthMM: ptr(171.0), Found: &BestFound{180, "population"},
			}}}},
			[]string{"Not exact at 1 of 1 sweep points: the search ended before the ranking was certain. The shortest was found by the population and has 180.00 mm; the screen has come to 9.00 mm (5.0 %) below."}, []string{"that is proven"},
		},
		"refined, interrupted": {
			Report{Designs: designs(3), PointsAsked: 1, Manifest: &Manifest{Points: []ManifestPoint{{
				Space: "1000", Refined: &RefinedCounts{50, 3}, ScreenedMM: ptr(180.0), ProvenLengthMM: ptr(180.0), Found: &BestFound{180, "walk"},
			}}}},
			[]string{"The shortest was found by the walk and has 180.00 mm; the screen has come to it.", "the others may change"}, []string{"that is proven", "below", "can be said when"},
		},
		"nothing in the whole space": {
			Report{Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{WholeSpace: true, Exact: true, Ended: true}}}},
			[]string{"Nothing meets the requirements.", "the whole space was searched, and no design passes"}, []string{"shorter than the proven length"},
		},
		"nothing below a length": {
			Report{Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{Exact: true, Ended: true, ProvenLengthMM: ptr(200.0)}}}},
			[]string{"Nothing meets the requirements.", "no design shorter than the proven length passes"}, []string{"whole space"},
		},
		"nothing yet": {
			Report{PointsAsked: 1, Manifest: &Manifest{Points: []ManifestPoint{{Space: "215000000", Examined: 70, Checked: 50, ProvenLengthMM: ptr(187.25)}}}},
			[]string{"Nothing that meets the requirements was found by then.", "Of 215000000 designs 70 designs", "50 checked by rays; its search had come to a length of 187.25 mm."},
			[]string{"Nothing meets", "proven, for", "exact"},
		},
		"some yet": {
			Report{PointsAsked: 9, Designs: designs(3), Manifest: &Manifest{Points: []ManifestPoint{{Passed: 3, Exact: true}, {Point: 1, Checked: 5}, {Point: 2, Checked: 7}}}},
			[]string{"3 designs passed", "at 1 of 9 sweep points.", "sweep point 2, the 3rd of 9. There 0 designs were examined and 7 checked by rays."}, []string{"exact at", "ranking is exact"},
		},
		"interrupted at once": {
			Report{PointsAsked: 2, Manifest: &Manifest{}}, []string{"The run was interrupted", "found by then"}, []string{"Nothing meets"},
		},
	} {
		text := strings.Join(append(unfinishedWords(&c.r), foundWords(&c.r)...), " ")
		for _, want := range c.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q does not say %q", name, text, want)
			}
		}
		for _, not := range c.not {
			if strings.Contains(text, not) {
				t.Errorf("%s: %q says %q", name, text, not)
			}
		}
	}
}

// TestStanding: each place is said with what is known of it, and each word that occurs
// is explained.
func TestStanding(t *testing.T) {
	for _, c := range []struct {
		design   Design
		complete bool
		want     string
	}{
		{Design{Exact: true}, true, "proven"},
		{Design{Screened: true, Refined: true}, true, "screened"},
		{Design{Screened: true, Exact: true}, true, "proven"},
		{Design{Refined: true}, true, "refined"},
		{Design{}, true, "found"},
		{Design{Screened: true, Refined: true}, false, "screened"},
		{Design{Refined: true}, false, "so far"},
		{Design{Exact: true}, false, "so far"},
	} {
		r := &Report{Designs: []Design{c.design}, Manifest: &Manifest{Complete: c.complete}}
		if got := r.standing(&c.design); got != c.want {
			t.Errorf("%+v, complete %v: %q, not %q", c.design, c.complete, got, c.want)
		}
		if got := standingWords(r); !strings.HasPrefix(got, "Place: "+c.want+": ") {
			t.Errorf("%q does not explain %q", got, c.want)
		}
	}
}

func TestOrdinal(t *testing.T) {
	for n, want := range map[int]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 102: "102nd", 111: "111th"} {
		if got := ordinal(n); got != want {
			t.Errorf("%d is said as %s", n, got)
		}
	}
}

// TestFieldNote: where the whole pupil passes over less than the field asked, the
// share that is lost is said, and nowhere else.
func TestFieldNote(t *testing.T) {
	for _, c := range []struct {
		design Design
		want   string
	}{
		{Design{FieldAskedDeg: 12.48, FieldMaxDeg: 6.87, VignettedPct: 8.25, Refined: true}, "asked: 12.48; beyond it up to 8.2 % of the pupil is lost"},
		{Design{FieldAskedDeg: 12.48, FieldMaxDeg: 12.48}, ""},
		{Design{FieldAskedDeg: 12.48, FieldMaxDeg: 12.48 * (1 - 1e-10)}, ""},
		{Design{FieldAskedDeg: 12.48, FieldMaxDeg: 14, VignettedPct: 3}, ""},
	} {
		if got := fieldNote(&c.design); got != c.want {
			t.Errorf("field %v: %q, not %q", c.design.FieldMaxDeg, got, c.want)
		}
	}
}

// TestWords: neither columns nor keys are shown by names of files.
func TestWords(t *testing.T) {
	for i := range designColumns {
		if name := designColumns[i].field.Name; strings.Contains(sayName(name), "_") {
			t.Errorf("%s is said as %q", name, sayName(name))
		}
	}
	for key, want := range map[string]string{
		"stage.travel_mm": "stage travel", "limits.view_blur_arcmin": "limit on view blur", "limits.price": "limit on price",
		"train.lenses_per_group": "lenses per group", "eye.refocus_max_D": "eye refocus max", "search.rank_by": "rank by", "mask.seat": "mask seat",
	} {
		if got := sayKey(key); got != want {
			t.Errorf("%s is said as %q, not %q", key, got, want)
		}
	}
	if got := sayAxis(Axis{"stage.travel_mm", KindFloat}, FloatValue(5.5)); got != "stage travel 5.5 mm" {
		t.Error(got)
	}
}

// TestBest: the first train of the page is the shortest of those told, by the
// length that ranks, with what was asked beside its numbers.
func TestBest(t *testing.T) {
	first, second := &Design{Rank: 1, LengthMM: 200, LengthToEyeMM: 250, ViewBlurArcmin: 3}, &Design{Point: 1, Rank: 1, LengthMM: 210, LengthToEyeMM: 240, FieldMaxDeg: 9, FieldAskedDeg: 12.5, VignettedPct: 4}
	r := &Report{
		RankedBy: "length_to_eye_mm", Designs: []Design{*first, *second}, Leading: []ReportDesign{{Design: first, Drawing: *drawnTrain(250)}, {Design: second, Drawing: *drawnTrain(240)}},
		Manifest: &Manifest{Points: []ManifestPoint{{}, {Point: 1, Asked: []Asked{{"length_mm", AtMost, 300}, {"field_max_deg", AtLeast, 12.5}, {"view_blur_arcmin", AtMost, 4}}}}},
	}
	p := newPageBest(r)
	if p.Link != "d2" || p.Point != "1" || len(p.Numbers) != 5 {
		t.Fatalf("the best is %+v", p)
	}
	for i, want := range []string{"asked: the shortest", "asked: 12.5; beyond it up to 4.0 % of the pupil is lost", "no limit was set", "no limit was set", "asked: at most 4"} {
		if p.Numbers[i].Asked != want {
			t.Errorf("%s: %q, not %q", p.Numbers[i].Words, p.Numbers[i].Asked, want)
		}
	}
}

// TestBestField: where some of the pupil may be lost no least field is asked for in words, but the
// field that was asked stands beside the largest.
func TestBestField(t *testing.T) {
	d := &Design{Rank: 1, LengthMM: 200, FieldMaxDeg: 13.2, FieldAskedDeg: 12.48}
	p := newPageBest(&Report{
		RankedBy: "length_mm", Designs: []Design{*d}, Leading: []ReportDesign{{Design: d, Drawing: *drawnTrain(250)}},
		Manifest: &Manifest{Points: []ManifestPoint{{}}},
	})
	if got := p.Numbers[1].Asked; got != "asked: 12.48" {
		t.Errorf("largest field: %q", got)
	}
}

// TestBestOfTwoMasks: numbers that each mask has say whose they are, with that of the other, and
// so does the note below the ranking.
func TestBestOfTwoMasks(t *testing.T) {
	one := &Design{Rank: 1, LengthMM: 200, Seat: "rear", TravelMM: 5.5, MaskBlurArcmin: 1.21}
	both := &Design{Rank: 1, LengthMM: 200, Seat: "both", TravelMM: 5.5, MaskBlurArcmin: 1.21, FrontTravelMM: ptr(6.41), FrontMaskBlurArcmin: ptr(2.54)}
	for d, want := range map[*Design][3]string{
		one:  {"no limit was set", "no limit was set", ""},
		both: {"no limit was set; mask at image 2, that at image 1: 6.41", "no limit was set; mask at image 2, that at image 1: 2.54", "are those of the mask at image 2."},
	} {
		r := &Report{
			RankedBy: "length_mm", Designs: []Design{*d}, Leading: []ReportDesign{{Design: d, Drawing: *drawnTrain(250)}},
			Manifest: &Manifest{Complete: true, Points: []ManifestPoint{{}}},
		}
		p := newPageBest(r)
		if p.Numbers[2].Asked != want[0] || p.Numbers[3].Asked != want[1] || p.Numbers[4].Asked != "no limit was set" {
			t.Errorf("%s: %q, %q, %q", d.Seat, p.Numbers[2].Asked, p.Numbers[3].Asked, p.Numbers[4].Asked)
		}
		if note := standingWords(r); !strings.HasSuffix(note, want[2]) || strings.Contains(note, "image 2") != (d == both) {
			t.Errorf("%s: %q", d.Seat, note)
		}
	}
}

// TestBestOfFresnel: the blur of the view does not stand alone where grooves spread light, nor does
// its column in a ranking.
func TestBestOfFresnel(t *testing.T) {
	for d, want := range map[*Design]string{
		{Rank: 1, LengthMM: 200}:                               "no limit was set",
		{Rank: 1, LengthMM: 200, GrooveBlurArcmin: ptr(0.0)}:   "no limit was set",
		{Rank: 1, LengthMM: 200, GrooveBlurArcmin: ptr(8.442)}: "no limit was set; besides, grooves spread light by 8.44",
	} {
		r := &Report{
			RankedBy: "length_mm", Designs: []Design{*d}, Leading: []ReportDesign{{Design: d, Drawing: *drawnTrain(250)}},
			Manifest: &Manifest{Points: []ManifestPoint{{}}},
		}
		if got := newPageBest(r).Numbers[4].Asked; got != want {
			t.Errorf("%q, not %q", got, want)
		}
		var table bytes.Buffer
		if err := PrintRanked(&table, r.Designs, nil, false); err != nil {
			t.Fatal(err)
		}
		spreads := strings.Contains(want, "grooves")
		if strings.Contains(standingWords(r), "grooves") != spreads || strings.Contains(table.String(), groovesNote) != spreads {
			t.Errorf("%s: the note below the ranking is %q, the table\n%s", want, standingWords(r), table.String())
		}
	}
}

// TestSideOf: what a side of a lens looks like from the world.
func TestSideOf(t *testing.T) {
	for want, side := range map[string][2]float64{
		"flat": {math.Inf(1), 0}, "convex, R 15.82": {15.82, 0}, "concave, R -9.77": {-9.767, 0}, "grooved, R 15.82": {15.82, 0.32},
	} {
		s := Surface{RadiusMM: side[0]}
		if side[1] > 0 {
			s.PitchMM = &side[1]
		}
		if got := sideOf(&s); got != want {
			t.Errorf("radius %g, pitch %g: %q, not %q", side[0], side[1], got, want)
		}
	}
}

// TestFitsAt: a value at which a design would pass is rounded to the side on which it still
// does, and has the unit of its key.
func TestFitsAt(t *testing.T) {
	for name, want := range map[string]struct {
		value float64
		said  string
	}{
		"aperture": {12.3482, "12.34 deg"}, "length": {237.6321, "237.7 mm"}, "view_blur_arcmin": {12.3421, "12.35 arcmin"},
		"price": {150, "150"}, "parts": {7, "7 lenses"}, "magnification": {0.012341, "0.01235"},
		"transmission_min": {0.62387, "0.6238"},
	} {
		p := &ManifestPoint{WouldFit: map[string]*float64{name: &want.value}}
		if got := fitsAt(p, name); got != want.said {
			t.Errorf("%s at %v is told as %q, not %q", name, want.value, got, want.said)
		}
		table, _ := easingTable(p, false)
		if got := string(table.Rows[0].Cells[1].Text); got != want.said {
			t.Errorf("%s at %v is shown on the page as %q, not %q", name, want.value, got, want.said)
		}
	}
	few := &ManifestPoint{Failed: map[string]*big.Int{failedByBuilds: big.NewInt(7)}}
	if _, notes := easingTable(few, false); len(notes) != 1 || !strings.Contains(notes[0], "limits.yield_min_pct turned away 7") {
		t.Errorf("too few builds are told as %q", notes)
	}
}
