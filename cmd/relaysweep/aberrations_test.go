package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

// TestShowAberrations: the page lists each lens once from the world to the eye and the sum of all,
// and as bars; Petzval's contributions are those of the row's own surfaces, -H²·Σ c·Δ(1/n) (W. T.
// Welford, Aberrations of Optical Systems, 1986, section 8.2), as an angle at the pupil's radius.
func TestShowAberrations(t *testing.T) {
	output := finishedJob(t, sweptJob...)
	d := &readRanked(t, output)[0]
	page := must(t, exitDone, "show", output, "--rank", "1", "--aberrations").stdout
	if !strings.Contains(page, d.DesignID) || !strings.HasSuffix(page, "\n\n"+cautionLine) {
		t.Fatalf("the page of aberrations is\n%s", page)
	}
	tan := math.Hypot(math.Tan(4*math.Pi/180), math.Tan(3.75*math.Pi/180)) // the swept field: 8 by 7.5 degrees
	const radius = 2.0
	arcmin := func(c float64) float64 {
		invariant := radius * tan
		return math.Atan(-invariant*invariant*c/(2*radius)) * 180 * 60 / math.Pi
	}
	layout := &bench{d: d, eyeMM: d.LengthToEyeMM}
	lines := strings.Split(page[strings.Index(page, "\ngroup")+1:], "\n")[2:]
	s, all := 0, 0.0
	for i, l := range d.Lenses {
		petzval := 0.0
		for first := s; first == s || layout.after(s-1) != 1; s++ {
			// From the eye to the world curvatures have the other sign.
			if r := d.Surfaces[s].RadiusMM; !math.IsInf(r, 0) {
				petzval += -1 / r * (1/layout.after(s-1) - 1/layout.after(s))
			}
		}
		all += petzval
		row := strings.Fields(lines[i])
		part := l.Part
		if l.Reversed {
			part += "/r"
		}
		if len(row) != 9 || row[0] != l.Group || row[1] != part || row[5] != fmt.Sprintf("%.2f", arcmin(petzval)) {
			t.Errorf("lens %d is listed as %q, not with S_IV of %.2f", i+1, row, arcmin(petzval))
		}
	}
	total := strings.Fields(lines[len(d.Lenses)])
	if len(total) != 8 || total[0] != "all" || total[4] != fmt.Sprintf("%.2f", arcmin(all)) {
		t.Errorf("all are listed as %q, not with S_IV of %.2f", total, arcmin(all))
	}
	for k := 1; k < 8; k++ {
		sum, want := 0.0, 0.0
		for i := range d.Lenses {
			x, _ := strconv.ParseFloat(strings.Fields(lines[i])[k+1], 64)
			sum += x
		}
		want, _ = strconv.ParseFloat(total[k], 64)
		if math.Abs(sum-want) > 0.005*float64(len(d.Lenses)+1) {
			t.Errorf("column %d adds up to %.3f, not %.2f", k, sum, want)
		}
	}
	// The longest bar of each of the seven charts is as long as bars can be.
	if n := strings.Count(page, strings.Repeat("#", barHalf)); n < 7 || strings.Contains(page, strings.Repeat("#", barHalf+1)) {
		t.Errorf("%d bars of full length", n)
	}
}
