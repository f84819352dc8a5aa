package sweep

import (
	"maps"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/objective/thirdorder"
)

// thirdScreen turns trains away by third-order sums, without rays: those whose estimates exceed
// a limit by more than a factor at every eye relief at which rays would screen them. What it
// answers depends on the train alone.
type thirdScreen struct {
	tools  chan *thirdTool
	slopes *thirdorder.Slopes // nil for none
}

// thirdTool is what one goroutine screens with.
type thirdTool struct {
	maker   *thirdorder.Maker
	screens [objective.SeatCount]*thirdorder.Screen // by seat
	groups  []*thirdorder.Group                     // of the train in hand
	singles *singleBoxes                            // nil until they are asked for
	known   [thirdKnown]struct {
		code  objective.StackCode
		group *thirdorder.Group
	}
}

// thirdKnown is how many groups a tool remembers, each in the one place that its code gives it:
// some 3 MB. What another one has displaced is made again.
const thirdKnown = 1 << 14

// newThirdScreen prepares a screen for p, nil where there is none: where nothing is refined, or the
// factor on that of near misses is 0, or where
// the eye has a colour of its own: the sums know a train's alone, which it may undo.
func newThirdScreen(p *objective.Problem, workers int, factor float64) *thirdScreen {
	if !p.Refining() || factor == 0 || p.ColouredEye {
		return nil
	}
	s := &thirdScreen{tools: make(chan *thirdTool, workers)}
	// At the rear seat rays that are traced once a rear group judge the mask, see maskScreen.
	rear := *p
	rear.Limits.Max = maps.Clone(p.Limits.Max)
	delete(rear.Limits.Max, raycheck.MaskBlurName)
	fields, slack := raycheck.FieldSamples(p), 1000*p.ResidualVergenceMax()
	for range workers {
		t := &thirdTool{maker: thirdorder.NewMaker(p)}
		front := thirdorder.NewScreen(p, fields, slack, factor*p.NearMissFactor)
		t.screens[objective.SeatFront], t.screens[objective.SeatBoth] = front, front
		t.screens[objective.SeatRear] = thirdorder.NewScreen(&rear, fields, slack, factor*p.NearMissFactor)
		s.slopes = t.screens[objective.SeatFront].Slopes()
		s.tools <- t
	}
	return s
}

// take is a tool for one goroutine, to be given back; nil where there is no screen.
func (s *thirdScreen) take() *thirdTool {
	if s == nil {
		return nil
	}
	return <-s.tools
}

func (s *thirdScreen) giveBack(t *thirdTool) {
	if s != nil {
		s.tools <- t
	}
}

// turnsAway reports whether the screen turns away a solved train of groups of these codes.
func (t *thirdTool) turnsAway(train *objective.Train, codes [4]objective.StackCode) bool {
	if t == nil {
		return false
	}
	t.groups = t.groups[:0]
	for i, g := range train.Groups {
		t.groups = append(t.groups, t.group(g, codes[i]))
	}
	screen := t.screens[train.Seat]
	screen.Take(train, t.groups)
	return raycheck.AtEveryScreen(train, screen.Exceeds)
}

// group is what third-order theory knows of a group.
func (t *thirdTool) group(g *objective.Group, code objective.StackCode) *thirdorder.Group {
	at := &t.known[mix(uint64(code))%thirdKnown]
	if at.group == nil || at.code != code {
		at.code, at.group = code, t.maker.Group(g)
	}
	return at.group
}
