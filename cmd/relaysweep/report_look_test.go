package main

import (
	"bytes"
	"encoding/base64"
	"html"
	"image"
	"image/png"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// shownLook is a picture of what an eye sees, as the page holds it.
type shownLook struct {
	picture *image.Gray
	alt     string
}

var lookTag = regexp.MustCompile(`<img src="data:image/png;base64,([^"]*)" alt="([^"]*)" width="(\d+)" height="(\d+)">`)

// looksOf are the pictures of a page.
func looksOf(t *testing.T, output string) (looks []shownLook) {
	t.Helper()
	for _, m := range lookTag.FindAllStringSubmatch(string(readFile(t, output, reportFile)), -1) {
		file, err := base64.StdEncoding.DecodeString(html.UnescapeString(m[1]))
		if err != nil {
			t.Fatal(err)
		}
		picture, err := png.Decode(bytes.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		looks = append(looks, shownLook{picture.(*image.Gray), html.UnescapeString(m[2])})
	}
	return looks
}

// steepest is the largest step between two pixels of a row, from a column up to another.
func (l *shownLook) steepest(row, from, to int) (step float64) {
	for x := from; x+1 < to; x++ {
		step = max(step, math.Abs(float64(l.picture.GrayAt(x+1, row).Y)-float64(l.picture.GrayAt(x, row).Y)))
	}
	return step
}

// TestReportLook: the page has three pictures of its first design, which decode. The wall is sharpest to an
// eye that looks at it, and the letter to one that looks at its depth; the letter is black, left of
// the middle, and the light on the wall is what the train transmits.
func TestReportLook(t *testing.T) {
	for _, c := range []struct {
		name    string
		edits   []string
		sharper float64 // by how much an edge is at its own depth; the front seat blurs it at any
	}{
		{"ranked", nil, 2},
		{"front seat", []string{"pixel_um = 20", "pixel_um = 20\nseat = \"front\""}, 1},
		{"both seats", givenEdits("erector-single:both:pc40|pc40|bc45"), 2},
		{"given", givenEdits("erector-single:rear:pc40|pc40|bc45"), 2},
		{"given, inverting", givenEdits("keplerian:rear:pc40|pc45/r"), 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			output := finishedJob(t, c.edits...)
			o := must(t, exitDone, "report", output, "--designs", "2")
			if !strings.HasPrefix(o.stdout, "written to ") || strings.Count(o.stdout, "\n") != 1 || o.stderr != "" {
				t.Errorf("report says %q and %q", o.stdout, o.stderr)
			}
			looks := looksOf(t, output)
			if len(looks) != 3 {
				t.Fatalf("%d pictures", len(looks))
			}
			for i, want := range []string{"∞ (0 D): wall", "0.5 m (2 D): letter", "0.25 m (4 D)"} {
				if !strings.HasSuffix(looks[i].alt, "by an eye that looks at "+want+".") {
					t.Errorf("picture %d is called %q", i, looks[i].alt)
				}
			}
			size := looks[0].picture.Bounds().Size()
			for i, l := range looks {
				if l.picture.Bounds().Size() != size || size.X != lookPixels {
					t.Errorf("picture %d has %v pixels", i, l.picture.Bounds().Size())
				}
				for k := range i {
					if bytes.Equal(l.picture.Pix, looks[k].picture.Pix) {
						t.Errorf("pictures %d and %d are the same", k, i)
					}
				}
			}
			// The letter is two fifths of the picture high and has five strokes' height: its stem, one
			// stroke left of the middle, below its bars; and a row above it.
			middle, stroke := size.X/2, 2*size.Y/25
			stem, above := size.Y/2+3*stroke/2, stroke
			letter := func(i int) float64 { return looks[i].steepest(stem, middle-2*stroke, middle-stroke/2) }
			wall := func(i int) float64 { return looks[i].steepest(above, middle-stroke, middle+stroke) }
			for i := range looks {
				if i != 1 && letter(1) < c.sharper*letter(i) {
					t.Errorf("at its own depth the letter's edge has a step of %g, in picture %d one of %g", letter(1), i, letter(i))
				}
				if i != 0 && wall(0) < c.sharper*wall(i) {
					t.Errorf("at its own depth the wall has a step of %g, in picture %d one of %g", wall(0), i, wall(i))
				}
				if left, right := looks[i].picture.GrayAt(middle-stroke, stem).Y, looks[i].picture.GrayAt(middle+stroke, stem).Y; int(right) < int(left)+100 {
					t.Errorf("picture %d: the letter is %d, beside it the wall is %d", i, left, right)
				}
			}
			// White is where nothing is lost (sRGB: IEC 61966-2-1).
			white := 255 * (1.055*math.Pow(readRanked(t, output)[0].Transmission, 1/2.4) - 0.055)
			if brightest := float64(slices.Max(looks[0].picture.Pix)); math.Abs(brightest-white) > 1 {
				t.Errorf("the wall is %v, with what the train transmits %v", brightest, white)
			}
		})
	}
}

// TestReportLookOne: with one depth there is one picture, of the wall and the letter; the note tells
// what is special about it.
func TestReportLookOne(t *testing.T) {
	edits := append(givenEdits("keplerian:rear:pc40|pc45/r"), "near_m = 0.25", "near_m = 1\nfar_m = 1\nsteps = 1",
		"height_deg = 7.5", "height_deg = 7.5\nshape = \"ellipse\"", "sharp_box_mm = 0", "sharp_box_mm = 0\ncolour = \"published\"")
	output := finishedJob(t, edits...)
	must(t, exitDone, "report", output)
	looks := looksOf(t, output)
	if len(looks) != 1 || !strings.HasSuffix(looks[0].alt, "1 m (1 D): wall and letter.") {
		t.Errorf("%d pictures: %+v", len(looks), looks)
	}
	text := pageText(t, output)
	for _, want := range []string{
		"lines 2° apart", "a letter 3.0° high", "10° × 7.5°", "4 mm pupil", "the eye&#39;s own colour", "Not modelled: diffraction",
		"the eye&#39;s other aberrations", "beyond the ellipse", "upside down",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	// Grooves are told of where there are some.
	for pitch, said := range map[string]bool{"0": false, "0.3": true} {
		lenses := ""
		for line := range strings.Lines(smallLenses(fewFocals)) {
			cell := ""
			switch {
			case lenses == "":
				cell = "pitch_mm"
			case strings.HasPrefix(line, "pc") && pitch != "0":
				cell = pitch
			}
			lenses += strings.TrimSuffix(line, "\n") + "," + cell + "\n"
		}
		spec := newJobOf(t, lenses, givenEdits("erector-single:rear:pc40|bc40|bc45")...)
		must(t, exitDone, "run", spec)
		must(t, exitDone, "report", outputOf(spec))
		if strings.Contains(pageText(t, outputOf(spec)), "what Fresnel grooves spread") != said {
			t.Errorf("with grooves of %s mm the page has to speak of them: %v", pitch, said)
		}
	}
}
