package results

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"

	"pgregory.net/rapid"
)

// testAxes has one swept key of every kind, with its unit.
var (
	testAxes  = []Axis{{"field.width_deg", KindFloat}, {"mask.seat", KindString}, {"depth.steps", KindInt}}
	testUnits = []string{"deg", "none", "1"}
)

// madeDesigns makes rows of the size that runs have, with everything that is
// special in a file: nulls, infinities, empty lists and text, and text outside
// ASCII. The numbers mean nothing.
func madeDesigns(n int, axes []Axis) []Design {
	r := rand.New(rand.NewPCG(7, 11))
	x := func() float64 { return 200*r.Float64() - 50 }
	optional := func() *float64 {
		if r.IntN(3) == 0 {
			return nil
		}
		v := x()
		return &v
	}
	rows := make([]Design, n)
	for i := range rows {
		d := &rows[i]
		fillFloats(reflect.ValueOf(d).Elem(), x)
		for _, a := range axes {
			d.Swept = append(d.Swept, map[Kind]Value{
				KindFloat: FloatValue(x()), KindString: StringValue([]string{"front", "rear"}[i%2]),
				KindInt: IntValue(math.MaxInt64 - int64(i)),
			}[a.Kind])
		}
		d.Point, d.Rank = i/50, i%50+1
		d.Layout, d.Seat = "erector-pair", "rear"
		d.Exact, d.Refined = i%2 == 0, i%5 == 0
		d.LensesCount, d.DistinctParts = i%9, i%4
		d.Price, d.MassG, d.FRelayMM, d.Gap2MM, d.GapInnerMM = optional(), optional(), optional(), optional(), optional()
		d.FrontTravelMM, d.FrontMaskBlurArcmin, d.FrontGhostPct = optional(), optional(), optional()
		if d.StartLengthMM = optional(); d.StartLengthMM != nil {
			d.Active = [][]string{{}, {"travel"}, {"gap", "axis_vergence_D"}}[i%3]
		}
		if i%6 == 0 {
			d.Fails = [][]string{{}, {"aperture", "view_blur_arcmin"}}[i/6%2]
		}
		lenses := r.IntN(7)
		if i == 0 {
			lenses = 0
		}
		for l := range lenses {
			part := fmt.Sprintf("HX-%03d", r.IntN(300))
			d.Lenses = append(d.Lenses, Lens{Group: []string{"front", "relay", "relay2", "rear"}[l%4], Position: l + 1, Part: part,
				Vendor: []string{"", "Höhenlicht", "光学"}[l%3], Reversed: r.IntN(2) == 0, GapAfterMM: x()})
			d.DesignID += "+" + part
			d.Surfaces = append(d.Surfaces,
				Surface{ZMM: x(), RadiusMM: x(), GlassAfter: "517642", SemiDiameterMM: 11.25, PitchMM: optional()},
				Surface{ZMM: x(), RadiusMM: math.Inf(1), GlassAfter: "air", SemiDiameterMM: 11.25})
		}
		for s := range r.IntN(21) {
			d.Samples = append(d.Samples, Sample{FieldFraction: float64(s%4) / 4, VergenceD: float64(s / 4),
				MaskBlurArcmin: x(), ViewBlurArcmin: x(), ViewDefocusD: x(), ViewAstigmatismD: x(), FrontMaskBlurArcmin: optional()})
		}
		if i%7 == 0 {
			d.MaskBlurArcmin = math.Inf(1)
			d.AxisVergenceD = math.Copysign(0, -1)
		}
	}
	return rows
}

// madeSetpoints makes rows of a stage table; the numbers mean nothing.
func madeSetpoints(n int) []Setpoint {
	r := rand.New(rand.NewPCG(3, 5))
	rows := make([]Setpoint, n)
	for i := range rows {
		s := &rows[i]
		fillFloats(reflect.ValueOf(s).Elem(), r.Float64)
		s.Point, s.Rank, s.Seat = i/500, i/10%50+1, []string{"rear", "front"}[i%2]
		s.DesignID = fmt.Sprintf("erector-single:rear:HX-%03d|HX-%03d", i/10, i/20)
		if i%10 == 0 {
			s.DepthM, s.VergenceD = math.Inf(1), 0
		}
	}
	return rows
}

// fillFloats gives every float64 field of a struct a number of its own.
func fillFloats(v reflect.Value, x func() float64) {
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Float64 {
			f.SetFloat(x())
		}
	}
}

var (
	anyFloat = rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, math.Copysign(0, -1),
		math.Inf(1), math.Inf(-1), math.MaxFloat64, math.SmallestNonzeroFloat64}))
	anyText = rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "\x00", "-", "null", "NaN", "µ\n\"'|"}))
)

// anyRow draws any value for every field of a row that a file can hold, also
// for fields that this test does not know of.
func anyRow[T any](t *rapid.T, sweep []Axis) T {
	var row T
	draw(t, reflect.ValueOf(&row).Elem(), sweep)
	return row
}

func draw(t *rapid.T, v reflect.Value, sweep []Axis) {
	if v.Type() == reflect.TypeFor[[]Value]() {
		if len(sweep) > 0 {
			v.Set(reflect.ValueOf(drawSwept(t, sweep)))
		}
		return
	}
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(anyFloat.Draw(t, "number"))
	case reflect.Int:
		v.SetInt(int64(rapid.Int32().Draw(t, "count")))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "flag"))
	case reflect.String:
		v.SetString(anyText.Draw(t, "text"))
	case reflect.Pointer:
		if rapid.Bool().Draw(t, "exists") {
			v.Set(reflect.New(v.Type().Elem()))
			draw(t, v.Elem(), sweep)
		}
	case reflect.Slice:
		if v.Type() == reflect.TypeFor[[]string]() && rapid.Bool().Draw(t, "exists") {
			v.Set(reflect.ValueOf([]string{})) // which is not null
		}
		if n := rapid.IntRange(0, 3).Draw(t, "elements"); n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
			for i := range n {
				draw(t, v.Index(i), sweep)
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			draw(t, v.Field(i), sweep)
		}
	default:
		t.Fatalf("no way to draw a %s", v.Type())
	}
}

func drawSwept(t *rapid.T, sweep []Axis) []Value {
	var out []Value
	for _, a := range sweep {
		switch a.Kind {
		case KindFloat:
			out = append(out, FloatValue(anyFloat.Draw(t, "swept number")))
		case KindString:
			out = append(out, StringValue(anyText.Draw(t, "swept text")))
		case KindInt:
			out = append(out, IntValue(rapid.Int64().Draw(t, "swept integer")))
		}
	}
	return out
}

// anySweep draws up to four swept keys.
func anySweep(t *rapid.T) []Axis {
	var out []Axis
	for i := range rapid.IntRange(0, 4).Draw(t, "axes") {
		out = append(out, Axis{Key: fmt.Sprintf("section.key%d_mm", i), Kind: Kind(rapid.IntRange(0, 2).Draw(t, "kind"))})
	}
	return out
}
