package yield

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"relaysweep/objective"
	"relaysweep/objective/bench"
)

// Distribution is how errors fall within their tolerance T.
type Distribution uint8

const (
	// Uniform errors are anywhere in ±T alike.
	Uniform Distribution = iota
	// Truncated errors are normal with σ = T/2 and cut off at ±2σ = ±T.
	Truncated
	// Normal errors are normal with σ = T/2 and have no end.
	Normal
)

// Distributions are the names of distributions in their order.
var Distributions = []string{"uniform", "truncated-normal", "normal"}

func (d Distribution) String() string { return Distributions[d] }

// twoSigma is the probability that a normal error stays below -2σ.
var twoSigma = distuv.UnitNormal.CDF(-2)

// Quantile is the error, in units of the tolerance, below which the share u of all
// errors stays, 0 < u < 1.
func (d Distribution) Quantile(u float64) float64 {
	switch d {
	case Truncated:
		return min(max(distuv.UnitNormal.Quantile(twoSigma+float64(u*(1-2*twoSigma)))/2, -1), 1)
	case Normal:
		return distuv.UnitNormal.Quantile(u) / 2
	}
	return 2*u - 1
}

// Kind is one of the tolerances that a spec sets.
type Kind int

// The kinds of tolerances, in the order in which their errors are drawn.
const (
	Focal Kind = iota
	Radius
	Thickness
	Index
	Abbe
	Gap
	LensDecentre
	LensTilt
	GroupDecentre
	GroupTilt
	MaskRoll
	StageZero
	Kinds
)

// kinds are the keys of the kinds, and what one unit is in the terms of
// [bench.Build]: relative, mm, plain or radians.
var kinds = [Kinds]struct {
	key  string
	unit float64
}{
	{"focal_pct", 0.01}, {"radius_pct", 0.01}, {"thickness_mm", 1}, {"index", 1}, {"abbe_pct", 0.01}, {"gap_mm", 1},
	{"lens_decentre_mm", 1}, {"lens_tilt_arcmin", arcmin}, {"group_decentre_mm", 1}, {"group_tilt_arcmin", arcmin},
	{"mask_roll_arcmin", arcmin}, {"stage_zero_mm", 1},
}

const arcmin = math.Pi / (180 * 60)

// String is the key of the spec that sets the tolerance, and names its unit.
func (k Kind) String() string { return kinds[k].key }

// Tolerances are how far each error may go, by [Kind] and in the unit of its name, and
// how errors fall. Each direction of a decentre or tilt, each surface, glass and gap has
// an error of its own.
type Tolerances struct {
	Of           [Kinds]float64
	Distribution Distribution
}

// Variable is one error of one part of a train.
type Variable struct {
	Kind Kind
	// Part names what it is an error of: a group and the lens's place in it, a gap, or
	// what is built once. Along says which direction, surface or glass; empty for one
	// that has none.
	Part, Along string
	// mirror tells that another variable before it does the same by symmetry, in
	// another direction round the axis.
	mirror bool
	set    func(b *bench.Build, x float64)
}

// Name is part and direction, surface or glass.
func (v *Variable) Name() string {
	if v.Along == "" {
		return v.Part
	}
	return v.Part + " " + v.Along
}

// Variables lists the errors of a train, always all of them and in the same order.
func Variables(t *objective.Train) []Variable {
	var all []Variable
	add := func(kind Kind, part, along string, set func(b *bench.Build, x float64)) {
		all = append(all, Variable{Kind: kind, Part: part, Along: along, set: set})
	}
	seat := func(decentre, tilt Kind, part string, of func(b *bench.Build) *bench.Seat) {
		for axis, along := range [2]string{"x", "y"} {
			add(decentre, part, along, func(b *bench.Build, x float64) { of(b).DecentreMM[axis] = x })
			all[len(all)-1].mirror = axis == 1
		}
		for axis, along := range [2]string{"x", "y"} {
			add(tilt, part, along, func(b *bench.Build, x float64) { of(b).TiltRad[axis] = x })
			all[len(all)-1].mirror = axis == 1
		}
	}
	names, n := t.Layout.GroupNames(), 0
	for g, group := range t.Groups {
		for i, e := range group.Elements {
			lens, part := n, fmt.Sprintf("%s.%d", names[g], i+1)
			add(Focal, part, "", func(b *bench.Build, x float64) { b.Lenses[lens].Focal = x })
			for s := range e.Surfaces {
				add(Radius, part, fmt.Sprint("surface ", s+1), func(b *bench.Build, x float64) { b.Lenses[lens].Radius[s] = x })
			}
			for s := range e.Glasses {
				along := fmt.Sprint("glass ", s+1)
				add(Thickness, part, along, func(b *bench.Build, x float64) { b.Lenses[lens].ThicknessMM[s] = x })
				add(Index, part, along, func(b *bench.Build, x float64) { b.Lenses[lens].Index[s] = x })
				add(Abbe, part, along, func(b *bench.Build, x float64) { b.Lenses[lens].Abbe[s] = x })
			}
			if i < len(group.Elements)-1 {
				add(Gap, "behind "+part, "", func(b *bench.Build, x float64) { b.Lenses[lens].GapMM = x })
			}
			seat(LensDecentre, LensTilt, part, func(b *bench.Build) *bench.Seat { return &b.Lenses[lens].Seat })
			n++
		}
		if g < len(t.Gaps) {
			add(Gap, "behind "+names[g], "", func(b *bench.Build, x float64) { b.GapsMM[g] = x })
		}
		seat(GroupDecentre, GroupTilt, names[g], func(b *bench.Build) *bench.Seat { return &b.Groups[g].Seat })
	}
	add(MaskRoll, "mask", "", func(b *bench.Build, x float64) { b.MaskRollRad = x })
	add(StageZero, "stage", "", func(b *bench.Build, x float64) { b.StageZeroMM = x })
	if len(t.MaskGaps()) > 1 {
		add(MaskRoll, "mask at image 1", "", func(b *bench.Build, x float64) { b.Second.MaskRollRad = x })
		add(StageZero, "stage at image 1", "", func(b *bench.Build, x float64) { b.Second.StageZeroMM = x })
	}
	return all
}

// apply makes the build with errors given in units of their tolerances.
func (t *Tolerances) apply(b *bench.Build, variables []Variable, errors []float64) {
	b.Clear()
	for i := range b.Lenses {
		b.Lenses[i].FocalSet = t.Of[Focal] > 0
	}
	for i := range variables {
		v := &variables[i]
		if of := t.Of[v.Kind]; of > 0 {
			v.set(b, errors[i]*of*kinds[v.Kind].unit)
		}
	}
}
