package results

import (
	"bytes"
	"math/big"
	"strings"
	"testing"
)

// TestReportLarge has more designs, depths and sweep points than a page can
// list: it says how many there are, and stays small.
func TestReportLarge(t *testing.T) {
	const points, ranks, depths = 1000, 3, 5000
	r := &Report{Job: "large", Manifest: &Manifest{}, Axes: []Axis{{"stage.travel_mm", KindFloat}}, RankedBy: "length_mm", Eyes: 1}
	for i := range points {
		p := ManifestPoint{Point: i, Values: SweptValues{{"stage.travel_mm", FloatValue(float64(i))}}, Space: "1", Exact: true,
			Failed: map[string]*big.Int{"gap": big.NewInt(7)}, WouldFit: map[string]*float64{"gap": new(float64)}}
		if i%2 == 0 {
			p.Passed = ranks
			for k := range ranks {
				r.Designs = append(r.Designs, Design{Point: i, Swept: []Value{FloatValue(float64(i))}, Rank: k + 1, LengthMM: 200, DesignID: strings.Repeat("a", 100)})
			}
		}
		r.Manifest.Points = append(r.Manifest.Points, p)
	}
	one := ReportDesign{Design: &r.Designs[0], Drawing: *drawnTrain(250), Masks: []ReportMask{{Seat: "rear", Words: "mask"}}}
	one.Design.Lenses = []Lens{{Group: "front", Part: "p"}}
	one.Design.Surfaces = []Surface{{RadiusMM: 30, GlassAfter: "g"}, {RadiusMM: -30, GlassAfter: "air"}}
	one.CentreMM = []float64{4}
	for i := range depths {
		v := 4 * float64(i) / (depths - 1)
		one.Setpoints = append(one.Setpoints, Setpoint{DepthM: 1 / v, VergenceD: v, Seat: "rear"})
		for _, f := range []float64{0, 1} {
			one.Design.Samples = append(one.Design.Samples, Sample{FieldFraction: f, VergenceD: v})
		}
	}
	r.Leading = []ReportDesign{one}
	var page bytes.Buffer
	if err := reportTemplate.Execute(&page, newReportPage(r)); err != nil {
		t.Fatal(err)
	}
	if page.Len() > 2<<20 {
		t.Errorf("the page takes %d bytes", page.Len())
	}
	for _, want := range []string{
		"(60 of 5000 rows of setpoints.parquet)", "(300 of 1000 sweep points of run.json)",
		"488 more sweep points without a design stand in run.json", "1000 more rows stand in ranked.parquet",
	} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// TestPrintedRows: two lines a design leave room for half as many rows, and a second row of charts takes
// some of it.
func TestPrintedRows(t *testing.T) {
	short, long := Design{DesignID: "erector-single:rear:A|B|C"}, Design{DesignID: "erector-single:rear:" + strings.Repeat("A123456789|", 4)}
	few := printedRows([]Design{short, long}, 3)
	if all := printedRows([]Design{short}, 3); all != 2*few {
		t.Errorf("%d rows of a line, %d of two", all, few)
	}
	if less := printedRows([]Design{long}, 4); less >= few || less < 10 {
		t.Errorf("%d rows below four charts, %d below three", less, few)
	}
}

func TestSpread(t *testing.T) {
	for n := range 40 {
		for most := 2; most < 12; most++ {
			places := spreadPlaces(n, most)
			if len(places) != min(n, most) {
				t.Fatalf("%d of %d places: %v", most, n, places)
			}
			for i, p := range places {
				if i > 0 && p <= places[i-1] || i == 0 && p != 0 || i == len(places)-1 && p != n-1 {
					t.Errorf("%d of %d places: %v", most, n, places)
				}
			}
		}
	}
}
