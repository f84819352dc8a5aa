package sweep

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/objective/thirdorder"
)

// farGrader grades trains by third-order sums that these see beyond their limits by more than a
// factor, at every eye relief at which they would be screened for refinement. The others are
// for rays. What it answers depends on the train alone. Each goroutine needs its own.
type farGrader struct {
	maker  *thirdorder.Maker
	screen *thirdorder.Screen
	groups []*thirdorder.Group // of the train in hand
	// nearMost is the logarithm of the factor up to which refinement may put a train right, -Inf
	// where nothing is refined.
	nearMost float64
}

// newFarGrader prepares for p, nil where there is no factor, or where the eye has a colour of
// its own: the sums know a train's alone, which it may undo.
func newFarGrader(p *objective.Problem, o *optimizeOptions) *farGrader {
	if o.farFactor == 0 || p.ColouredEye {
		return nil
	}
	return &farGrader{
		maker:    thirdorder.NewMaker(p),
		screen:   thirdorder.NewScreen(p, raycheck.FieldSamples(p), 0, o.farFactor),
		nearMost: math.Log(o.nearFactor),
	}
}

// grade grades a solved train of these groups, false where it is not far beyond its limits.
func (f *farGrader) grade(t *objective.Train, groups *designGroups, g *grade) bool {
	if f == nil {
		return false
	}
	f.groups = f.groups[:0]
	for i := range t.Groups {
		f.groups = append(f.groups, groups[i].thirdOrder(f.maker))
	}
	f.screen.Take(t, f.groups)
	least, largest := math.Inf(1), math.Inf(1) // of all eye reliefs
	if !raycheck.AtEveryScreen(t, func(relief float64) bool {
		exceeds := f.screen.Exceeds(relief)
		if exceeds {
			sum, most := f.screen.Excess()
			least, largest = min(least, sum), min(largest, most)
		}
		return exceeds
	}) {
		return false
	}
	g.tier, g.amount, g.near = far, least, largest <= f.nearMost
	return true
}

// thirdOrder is what third-order theory knows of a group. Whoever asks first makes it; from
// wherever it is asked it comes out the same.
func (g *groupNumbers) thirdOrder(maker *thirdorder.Maker) *thirdorder.Group {
	known := g.third.Load()
	if known == nil {
		known = maker.Group(g.Group)
		g.third.Store(known)
	}
	return known
}
