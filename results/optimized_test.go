package results

import (
	"bytes"
	"encoding/json"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestOptimizedManifest writes and reads what a population search tells, found
// or not, bounded or not: its keys stand at the sweep point with null for what
// is not known, and those of an exact search have none of them.
func TestOptimizedManifest(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.json")
	for _, c := range []struct {
		optimized *Optimized
		want      string
	}{
		{nil, ""},
		{&Optimized{Evaluations: 7}, `"best_mm":null,"lower_bound_mm":null,"gap_mm":null,"evaluations":7,"history":[]`},
		{
			&Optimized{BestMM: ptr(150.5), LowerBoundMM: ptr(100.25), GapMM: ptr(50.25), Evaluations: 9000, History: []Improvement{{12, 160}, {700, 150.5}}},
			`"best_mm":150.5,"lower_bound_mm":100.25,"gap_mm":50.25,"evaluations":9000,"history":[{"evaluations":12,"best_mm":160},{"evaluations":700,"best_mm":150.5}]`,
		},
		{
			&Optimized{Evaluations: 7, History: []Improvement{}, Nearest: &NearestMiss{DesignID: "a|b", Failed: "travel", Exceeds: map[string]*float64{"view_blur_arcmin": ptr(4.5), "distortion_pct": nil}}},
			`"nearest":{"design_id":"a|b","failed":"travel","ranked_mm":0,"exceeds":{"distortion_pct":null,"view_blur_arcmin":4.5}}`,
		},
	} {
		m := madeManifest()
		m.Points[0].Optimized = c.optimized
		if err := WriteManifest(path, m); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var flat bytes.Buffer
		if err := json.Compact(&flat, data); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(flat.String(), c.want) || strings.Contains(flat.String(), "evaluations") != (c.optimized != nil) {
			t.Errorf("no %s in %s", c.want, flat.String())
		}
		got, err := ReadManifest(path)
		if err != nil {
			t.Fatal(err)
		}
		if c.optimized != nil && c.optimized.History == nil {
			got.Points[0].History = nil
		}
		if diff := cmp.Diff(m, got, sameManifest); diff != "" {
			t.Errorf("written -, read +\n%s", diff)
		}
	}
	for want, o := range map[string]*Optimized{
		"best_mm is NaN":                {BestMM: ptr(math.NaN())},
		"lower_bound_mm is -Inf":        {LowerBoundMM: ptr(math.Inf(-1))},
		"gap_mm is +Inf":                {GapMM: ptr(math.Inf(1))},
		"nearest.exceeds.travel is NaN": {Nearest: &NearestMiss{Exceeds: map[string]*float64{"travel": ptr(math.NaN())}}},
		"history has":                   {History: []Improvement{{1, math.NaN()}}},
	} {
		m := madeManifest()
		m.Points[0].Optimized = o
		if err := WriteManifest(path, m); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v does not say %q", err, want)
		}
	}
}

// TestPrintOptimized says what is known of what a population search found and
// missed.
func TestPrintOptimized(t *testing.T) {
	for _, c := range []struct {
		optimized Optimized
		whole     bool
		want      []string
	}{
		{
			Optimized{BestMM: ptr(150.0), LowerBoundMM: ptr(120.0), GapMM: ptr(30.0), Evaluations: 900, History: []Improvement{{300, 150}}}, false,
			[]string{"the shortest found has 150.000000 mm, first met after 300 of 900 evaluations", "no design shorter than 120.000000 mm passes, 30.00 mm (20.0 %) below"},
		},
		{
			Optimized{BestMM: ptr(150.0), LowerBoundMM: ptr(150.0), GapMM: ptr(0.0), Evaluations: 900}, false,
			[]string{"proven all the same: no design that passes is shorter"},
		},
		{Optimized{BestMM: ptr(150.0), Evaluations: 900}, false, []string{"nothing is proven"}},
		{Optimized{LowerBoundMM: ptr(120.0), Evaluations: 900}, false, []string{"nothing that passes was found of 900", "proven: no design shorter than 120.000000 mm passes\n"}},
		{
			Optimized{Evaluations: 900, Nearest: &NearestMiss{DesignID: "a|b", Failed: "view_blur_arcmin", Exceeds: map[string]*float64{"view_blur_arcmin": ptr(4.5), "distortion_pct": nil}}}, false,
			[]string{"nearest to passing: a|b, turned away by view_blur_arcmin\n  distortion_pct: rays are lost, asked for at most -\n  view_blur_arcmin: 4.5, asked for at most 4\n"},
		},
		{Optimized{Evaluations: 900}, true, []string{"nothing that passes was found", "proven: no design passes at all"}},
	} {
		p := &ManifestPoint{Space: "1000", SetAside: map[string]*big.Int{"unseen": big.NewInt(100)}, Optimized: &c.optimized, WholeSpace: c.whole, Asked: []Asked{{"view_blur_arcmin", AtMost, 4}}}
		var out bytes.Buffer
		if err := PrintProof(&out, p, 0); err != nil {
			t.Fatal(err)
		}
		for _, want := range append(c.want, "not exact: ") {
			if !strings.Contains(out.String(), want) {
				t.Errorf("no %q in\n%s", want, out.String())
			}
		}
	}
}
