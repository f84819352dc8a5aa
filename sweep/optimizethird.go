package sweep

import (
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/objective/thirdorder"
)

// farGrader grades trains by third-order sums whose estimates are far beyond their limits:
// exceeded by more than a factor at every eye relief at which the train would be screened for
// refinement. The others are for rays. What it answers depends on the train alone. Each goroutine
// needs its own.
type farGrader struct {
	maker  *thirdorder.Maker
	screen *thirdorder.Screen
	groups []*thirdorder.Group // of the train in hand
}

// newFarGrader prepares for p, nil where there is no factor, or where the eye has a colour of
// its own: the sums know a train's alone, which it may undo.
func newFarGrader(p *objective.Problem, factor, refocusSlackD float64) *farGrader {
	if factor == 0 || p.ColouredEye {
		return nil
	}
	return &farGrader{
		maker:  thirdorder.NewMaker(p),
		screen: thirdorder.NewScreen(p, raycheck.FieldSamples(p), refocusSlackD, factor),
	}
}

// excess is that of [thirdorder.Screen.Excess] at the eye relief of a solved train of these
// groups, false for one that is not far beyond its limits.
func (f *farGrader) excess(t *objective.Train, groups *designGroups) (excess float64, far bool) {
	if f == nil {
		return 0, false
	}
	f.groups = f.groups[:0]
	for i := range t.Groups {
		f.groups = append(f.groups, groups[i].thirdOrder(f.maker))
	}
	f.screen.Take(t, f.groups)
	far = raycheck.AtEveryScreen(t, func(relief float64) bool {
		exceeds := f.screen.Exceeds(relief)
		if exceeds && excess == 0 {
			excess = f.screen.Excess()
		}
		return exceeds
	})
	return excess, far
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
