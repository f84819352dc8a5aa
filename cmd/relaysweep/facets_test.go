package main

import (
	"encoding/csv"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"relaysweep/results"
)

// TestFresnelDemo runs the demo's spec of Fresnel lenses, for fewer rows: what they save and cost
// stands in the columns, on the pages and in the report.
func TestFresnelDemo(t *testing.T) {
	folder := t.TempDir()
	writeIn(t, folder, "stock.csv", string(readFile(t, filepath.Join("..", "..", "testdata", "demo", "stock.csv"))))
	text := string(readFile(t, filepath.Join("..", "..", "testdata", "demo", "fresnel.toml")))
	spec := writeIn(t, folder, "fresnel.toml", strings.Replace(text, "top = 10", "top = 1", 1)+"\n[refine]\naudit = 0\n")
	must(t, exitDone, "run", spec, "--quiet")
	output := filepath.Join(folder, "out", "fresnel")
	rows := readRanked(t, output)
	if len(rows) != 2 || rows[0].Point != 0 || rows[1].Point != 1 {
		t.Fatalf("%d rows", len(rows))
	}
	glass, fresnel := &rows[0], &rows[1]
	if glass.GrooveBlurArcmin != nil || glass.GrooveVisibleArcmin != nil {
		t.Errorf("a train without Fresnel lenses has grooves: %v", *glass.GrooveBlurArcmin)
	}
	if !(fresnel.LengthMM < glass.LengthMM && *fresnel.MassG < *glass.MassG/2 && fresnel.Transmission < glass.Transmission) {
		t.Errorf("the Fresnel train: %v mm, %v g, %v; the other: %v mm, %v g, %v",
			fresnel.LengthMM, *fresnel.MassG, fresnel.Transmission, glass.LengthMM, *glass.MassG, glass.Transmission)
	}
	// Front and rear are Fresnel lenses with pitches of 0.32 mm. A beam of unit magnification has the
	// pupil's width at both, but for the few per cent by which it is off from afocal, and each
	// spreads light by λ/p.
	if l := fresnel.Lenses; !strings.HasPrefix(l[0].Part, "NLW-T") || !strings.HasPrefix(l[2].Part, "NLW-T") {
		t.Fatalf("the train is %s", fresnel.DesignID)
	}
	want := math.Sqrt2 * math.Atan(546.07e-6/0.32) * 180 * 60 / math.Pi
	if got := *fresnel.GrooveBlurArcmin; math.Abs(got/want-1) > 0.06 {
		t.Errorf("groove_blur_arcmin is %v, not about %v", got, want)
	}
	if got := *fresnel.GrooveVisibleArcmin; got != 0 {
		t.Errorf("groove_visible_arcmin is %v, far from all images", got)
	}

	// The table of parts has the pitch, which stands in one of a Fresnel lens's two surfaces.
	pitches := map[string]string{}
	stock := csv.NewReader(strings.NewReader(string(readFile(t, filepath.Join(folder, "stock.csv")))))
	stock.Comment = '#'
	table, err := stock.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range table[1:] {
		pitches[row[slices.Index(table[0], "part")]] = row[slices.Index(table[0], "pitch_mm")]
	}
	page := must(t, exitDone, "show", output, "--point", "1", "--rank", "1").stdout
	_, prescription, _ := strings.Cut(page, "Surfaces from the world to the eye")
	if head := lineOf(prescription, "surface"); !slices.Contains(head, "facets") {
		t.Errorf("the head of the surfaces is %q", head)
	}
	surface := 0
	for _, l := range fresnel.Lenses {
		for cut := 0; ; {
			s := &fresnel.Surfaces[surface]
			surface++
			said := "-"
			if s.PitchMM != nil {
				cut++
				said = results.Fixed(*s.PitchMM, 3)
				if want, err := strconv.ParseFloat(pitches[l.Part], 64); err != nil || *s.PitchMM != want || math.IsInf(s.RadiusMM, 0) {
					t.Errorf("%s has pitch_mm %v, not %q, at R %v", l.Part, *s.PitchMM, pitches[l.Part], s.RadiusMM)
				}
			}
			if line := lineOf(prescription, strconv.Itoa(surface), results.Fixed(s.ZMM, 3)); line == nil || line[len(line)-1] != said {
				t.Errorf("surface %d with facets of %s mm is shown as %q", surface, said, line)
			}
			if s.GlassAfter == "air" {
				if (cut == 1) != (pitches[l.Part] != "") || cut > 1 {
					t.Errorf("%s has %d Fresnel surfaces", l.Part, cut)
				}
				break
			}
		}
	}
	checkWords(t, "show", page, "grooves: Fresnel grooves spread light by "+results.Fixed(*fresnel.GrooveBlurArcmin, 1)+" arcmin",
		"groove_visible_arcmin", "transmission")
	if other := must(t, exitDone, "show", output, "--point", "0", "--rank", "1").stdout; strings.Contains(other, "grooves:") || strings.Contains(other, "groove_visible") || strings.Contains(other, "facets") {
		t.Errorf("a train without grooves shows some:\n%s", other)
	}
	checkWords(t, "show --aberrations", must(t, exitDone, "show", output, "--point", "1", "--rank", "1", "--aberrations").stdout,
		"no such sums but those of colour")
	must(t, exitDone, "report", output, "--point", "1")
	checkWords(t, "report", string(readFile(t, filepath.Join(output, "report.html"))), "Fresnel grooves spread light by",
		`data-of="surfaces" data-col="pitch_mm"`)
	list := must(t, exitDone, "catalog", "list", filepath.Join(folder, "stock.csv"), "--kind", "fresnel").stdout
	checkWords(t, "catalog list", list, "pitch", "draft", "NLW-T32x32", "0.320", "3.0")
	smooth := writeIn(t, folder, "smooth.csv", "part,kind,diameter_mm,r1_mm,t1_mm,glass1,r2_mm\nS,fresnel,30,40,5,N-BK7,inf\n")
	if list := must(t, exitDone, "catalog", "list", smooth); strings.Contains(list.stdout, "pitch") || !strings.Contains(list.stderr, "traced as a smooth surface") {
		t.Errorf("a list without facets:\n%s%s", list.stdout, list.stderr)
	}
}

// TestFresnelGroovesBetweenLimits: a surface that stands at 4.64 D for the eye, beyond 0.5 D of
// depths up to 4 D, under beams that are no wider than a pitch, spreads no light by its grooves.
// 57 arcmin apart and blurred over less, the eye sees them, so that no limits on both let it pass.
func TestFresnelGroovesBetweenLimits(t *testing.T) {
	folder := t.TempDir()
	writeIn(t, folder, "stock.csv", string(readFile(t, filepath.Join("..", "..", "testdata", "demo", "stock.csv"))))
	text, _, found := strings.Cut(string(readFile(t, filepath.Join("..", "..", "testdata", "demo", "fresnel.toml"))), "[sweep]")
	const id = "erector-pair:rear:TAT-A36x25|NLW-T50x50|DGD-A25x12.5/r|TAT-A36x25/r"
	text = strings.Replace(text, `layouts = ["erector-single"]`, `layouts = ["erector-pair"]
given = "`+id+`"
given_gaps_mm = [33, 40, 80]
given_relief_mm = 40`, 1)
	text = strings.Replace(text, "[limits]", "[limits]\ngroove_blur_arcmin = 1.0\ngroove_visible_arcmin = 1.0", 1)
	if !found || !strings.Contains(text, id) {
		t.Fatal("the demo's spec has changed")
	}
	spec := writeIn(t, folder, "fresnel.toml", text)
	must(t, exitDone, "run", spec, "--quiet")
	rows := readRanked(t, filepath.Join(folder, "out", "fresnel"))
	if len(rows) != 1 {
		t.Fatalf("%d rows", len(rows))
	}
	d := &rows[0]
	if blur, seen := *d.GrooveBlurArcmin, *d.GrooveVisibleArcmin; blur != 0 || math.Abs(seen-57) > 1 {
		t.Errorf("groove_blur_arcmin is %v, groove_visible_arcmin %v", blur, seen)
	}
	if !slices.Contains(d.Fails, "groove_visible_arcmin") {
		t.Errorf("grooves apart by more than the limit pass: %v", d.Fails)
	}
}
