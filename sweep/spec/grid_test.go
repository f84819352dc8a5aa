package spec

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestGridOrder(t *testing.T) {
	s := mustParse(t, leastSpec+`
[sweep]
"stage.travel_mm" = [10, 15.5, 5]
"mask.seat" = ["rear", "front"]
"train.lenses_per_group" = [3, 1]
`)
	axes := []Axis{
		{"stage.travel_mm", []any{10.0, 15.5, 5.0}},
		{"mask.seat", []any{"rear", "front"}},
		{"train.lenses_per_group", []any{int64(3), int64(1)}},
	}
	if diff := cmp.Diff(axes, s.Axes); diff != "" {
		t.Errorf("axes (-want +got):\n%s", diff)
	}
	want := [][]any{
		{10.0, "rear", int64(3)}, {10.0, "rear", int64(1)}, {10.0, "front", int64(3)}, {10.0, "front", int64(1)},
		{15.5, "rear", int64(3)}, {15.5, "rear", int64(1)}, {15.5, "front", int64(3)}, {15.5, "front", int64(1)},
		{5.0, "rear", int64(3)}, {5.0, "rear", int64(1)}, {5.0, "front", int64(3)}, {5.0, "front", int64(1)},
	}
	points := s.Grid()
	var got [][]any
	for i, p := range points {
		got = append(got, p.Values)
		if p.Index != i {
			t.Errorf("point %d has index %d", i, p.Index)
		}
		spec := []any{p.Spec.Stage.TravelMM, p.Spec.Mask.Seat, int64(p.Spec.Train.LensesPerGroup)}
		if diff := cmp.Diff(p.Values, spec); diff != "" {
			t.Errorf("the spec of point %d does not have its values:\n%s", i, diff)
		}
		if p.Spec.Axes != nil || p.Spec.Field != s.Field || p.Spec.SHA256 != s.SHA256 {
			t.Errorf("the spec of point %d differs in more than its values: %+v", i, p.Spec)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("points (-want +got):\n%s", diff)
	}
	if s.Stage.TravelMM != 15 || s.Mask.Seat != "rear" || s.Train.LensesPerGroup != 2 {
		t.Error("the grid changed the spec that it comes from")
	}
}

func TestGridOfOnePoint(t *testing.T) {
	for _, text := range []string{leastSpec, leastSpec + "[sweep]\n"} {
		s := mustParse(t, text)
		points := s.Grid()
		if len(points) != 1 || points[0].Index != 0 || len(points[0].Values) != 0 {
			t.Fatalf("got %+v, want one point without values", points)
		}
		if diff := cmp.Diff(s, points[0].Spec, sameSpec...); diff != "" {
			t.Error(diff)
		}
	}
}

// TestGridOfTables sweeps by tables of their own and sections written apart.
func TestGridOfTables(t *testing.T) {
	s := mustParse(t, `[sweep."stage.travel_mm"]
to = 3
steps = 3
from = 1
`+strings.Replace(leastSpec, "travel_mm = 15", "", 1)+`
[sweep."limits.price"]
from = 100
to = 400
scale = "log"
steps = 3
`)
	want := []Axis{{"stage.travel_mm", []any{1.0, 2.0, 3.0}}, {"limits.price", []any{100.0, 200.0, 400.0}}}
	if diff := cmp.Diff(want, s.Axes); diff != "" {
		t.Errorf("axes (-want +got):\n%s", diff)
	}
	if s.Stage.TravelMM != 1 {
		t.Errorf("a mandatory key that is only swept is %g, want its first value", s.Stage.TravelMM)
	}
	points := s.Grid()
	if s.Limits.Price != nil || *points[0].Spec.Limits.Price != 100 || *points[8].Spec.Limits.Price != 400 {
		t.Error("the swept limit is not each point's own")
	}
}

func TestSweptDepths(t *testing.T) {
	s := mustParse(t, strings.Replace(leastSpec, "near_m = 0.25", "far_m = 1", 1)+`
[sweep]
"depth.near_m" = [0.5, 1]
"depth.far_m" = [1, inf]
`)
	for i, want := range []int{5, 5, 1, 5} {
		if got := s.Grid()[i].Spec.Depth.Steps; got != want {
			t.Errorf("point %d has %d depth steps, want %d", i, got, want)
		}
	}
	s = mustParse(t, strings.Replace(leastSpec, "near_m = 0.25", "near_m = 1\nfar_m = 1", 1)+"[sweep]\n\"depth.far_m\" = [inf, 1]\n")
	for i, want := range []int{5, 1} {
		if got := s.Grid()[i].Spec.Depth.Steps; got != want {
			t.Errorf("point %d of a spec of one depth has %d depth steps, want %d", i, got, want)
		}
	}
	s = mustParse(t, leastSpec+"[sweep]\n\"depth.steps\" = [2, 9]\n")
	for i, want := range []int{2, 9} {
		if got := s.Grid()[i].Spec.Depth.Steps; got != want {
			t.Errorf("point %d has %d depth steps, want %d", i, got, want)
		}
	}
}

func TestRanges(t *testing.T) {
	for _, c := range []struct {
		key, text string
		want      []any
	}{
		{"eye.box_mm", `{ from = 0.1, to = 0.5, steps = 5 }`, []any{0.1, 0.2, 0.3, 0.4, 0.5}},
		{"eye.box_mm", `{ from = 0, to = 4, steps = 3, scale = "linear" }`, []any{0.0, 2.0, 4.0}},
		{"eye.box_mm", `{ from = 3, to = 1, steps = 2 }`, []any{3.0, 1.0}},
		{"eye.box_mm", `{ from = 100, to = 0.1, steps = 4, scale = "log" }`, []any{100.0, 10.0, 1.0, 0.1}},
		{"eye.box_mm", `{ from = 0.1234567890123456, to = 0.7654321098765432, steps = 2 }`, []any{0.1234567890123456, 0.7654321098765432}},
		{"train.lenses_per_group", `{ from = 1, to = 5, steps = 3 }`, []any{int64(1), int64(3), int64(5)}},
		{"train.lenses_per_group", `{ from = 1, to = 4, steps = 3, scale = "log" }`, []any{int64(1), int64(2), int64(4)}},
	} {
		s := mustParse(t, leastSpec+"[sweep]\n\""+c.key+"\" = "+c.text+"\n")
		if diff := cmp.Diff([]Axis{{c.key, c.want}}, s.Axes); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.text, diff)
		}
	}
}

// TestPreferredNumbers compares a logarithmic range with the calculated values
// of the series R 10 of ISO 3:1973, Preferred numbers, given there to four
// decimals (quoted from memory).
func TestPreferredNumbers(t *testing.T) {
	r10 := []float64{1.0000, 1.2589, 1.5849, 1.9953, 2.5119, 3.1623, 3.9811, 5.0119, 6.3096, 7.9433, 10.0000}
	s := mustParse(t, leastSpec+"[sweep]\n\"eye.box_mm\" = { from = 1, to = 10, steps = 11, scale = \"log\" }\n")
	for i, want := range r10 {
		if got := s.Axes[0].Values[i].(float64); math.Abs(got-want) > 0.5e-4 {
			t.Errorf("value %d is %g, want %g", i, got, want)
		}
	}
}
