package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"relaysweep/catalog"
)

// What the demo's searches and stories need.
func TestEnoughPartsOfEveryKind(t *testing.T) {
	got := map[string]int{}
	total := 0
	for _, l := range load(t) {
		got[l.Kind]++
		total++
	}
	atLeast := map[string]int{
		planoConvex: 80, biConvex: 40, meniscus: 20, achromat: 100,
		asphere: 15, fresnel: 6, planoConcave: 20, biConcave: 15,
	}
	for kind, n := range atLeast {
		if got[kind] < n {
			t.Errorf("%s: %d parts, want %d or more", kind, got[kind], n)
		}
		delete(got, kind)
	}
	for kind, n := range got {
		t.Errorf("%s: %d parts of a kind that no line has", kind, n)
	}
	if total < 300 || total > 400 {
		t.Errorf("%d parts, want 300 to 400", total)
	}
}

func TestShapesAreThoseOfTheirKinds(t *testing.T) {
	for _, l := range load(t) {
		r1, r2 := l.Surfaces[0].RadiusMM, l.Surfaces[1].RadiusMM
		flat := math.IsInf(r2, 1)
		ok := false
		switch l.Kind {
		case planoConvex:
			ok = r1 > 0 && flat && l.Surfaces[0].IsSpherical()
		case asphere, fresnel:
			ok = r1 > 0 && flat && !l.Surfaces[0].IsSpherical()
		case planoConcave:
			ok = r1 < 0 && flat
		case biConvex:
			ok = r1 > 0 && r2 == -r1
		case biConcave:
			ok = r1 < 0 && r2 == -r1
		case meniscus:
			ok = r1 > 0 && r2 > r1 && !flat
		case achromat:
			ok = len(l.Glasses) == 2 && l.Glasses[0].Vd() > l.Glasses[1].Vd()
		}
		if !ok {
			t.Errorf("part %s does not have the shape of a %s: radii %g and %g", l.Part, l.Kind, r1, r2)
		}
	}
}

// A lens is held by its edge: 1 mm is the least by common practice.
func TestEveryEdgeCanBeMade(t *testing.T) {
	for _, l := range load(t) {
		for i, thickness := range l.ThicknessMM {
			if edge := l.EdgeThicknessMM(i); edge < 1 {
				t.Errorf("part %s: element %d has an edge of %.4f mm", l.Part, i+1, edge)
			}
			if thickness < 1.5 || math.Abs(10*thickness-math.Round(10*thickness)) > 1e-9 {
				t.Errorf("part %s: element %d is %g mm thick", l.Part, i+1, thickness)
			}
		}
	}
}

// The part number gives focal length and diameter. The focal length is met to
// what rounding radii to four digits does: half a unit in 1000 is a change of
// 0.05 % in one surface, and the strong surfaces of a doublet count several
// times the power of the whole.
func TestPartsAreWhatTheirNumbersSay(t *testing.T) {
	for _, l := range load(t) {
		var focal, diameter float64
		_, name, _ := strings.Cut(l.Part, "-")
		if _, err := fmt.Sscanf(name[1:], "%gx%g", &focal, &diameter); err != nil {
			t.Fatalf("part %s: %v", l.Part, err)
		}
		if l.DiameterMM != diameter {
			t.Errorf("part %s: diameter %g mm", l.Part, l.DiameterMM)
		}
		if l.Kind == planoConcave || l.Kind == biConcave {
			focal = -focal
		}
		if math.Abs(l.EFLMM/focal-1) > 0.001 {
			t.Errorf("part %s: focal length %g mm", l.Part, l.EFLMM)
		}
		efl, bfl, _ := l.Cardinal(catalog.LineE)
		if math.Abs(l.EFLMM-efl) > 0.00501 || math.Abs(l.BFLMM-bfl) > 0.00501 {
			t.Errorf("part %s: published %g and %g mm, computed %.4f and %.4f", l.Part, l.EFLMM, l.BFLMM, efl, bfl)
		}
		if !slices.Contains(tenPerDecade[:7], diameter) || math.Abs(focal) < 12 || math.Abs(focal) > 200 {
			t.Errorf("part %s is outside the ranges that the demo needs", l.Part)
		}
		if !(l.Price > 0) {
			t.Errorf("part %s: price %g", l.Part, l.Price)
		}
	}
}

// Series R20 goes by the twentieth root of ten, R10 by the tenth (ISO 3:1973,
// from memory); rounding moves no member more than a quarter of a step of R20.
func TestPreferredNumbers(t *testing.T) {
	check := func(series []float64, perDecade float64) {
		for i, x := range series {
			exact := math.Pow(10, 1.1+float64(i)/perDecade)
			if math.Abs(math.Log10(x/exact)) > 0.25/20 {
				t.Errorf("%g is too far from its place in the series, %.4g", x, exact)
			}
		}
	}
	check(tenPerDecade, 10)
	check(twentyPerDecade, 20)
}
