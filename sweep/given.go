package sweep

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/big"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

// Given is what a run tells of a train that its spec gives: the one of the outcome's
// Found.
type Given struct {
	// At is at which gaps it was measured. Where refinement was asked for and found
	// none at which the train meets everything, these are the paraxial ones, and
	// Unrefined is set.
	At        spec.GivenAt
	Unrefined bool
	Judged    []raycheck.Judgement
	// TurnedAway is what a search fails the train by before it would refine or rank
	// it, at its paraxial gaps: a paraxial requirement, or with refinement a limit
	// that it exceeds by more than the near-miss factor; empty for nothing, and Screen
	// tells the latter.
	TurnedAway string
	Screen     bool
}

// Fails are the requirements and limits that the train fails, each once, in their
// order.
func (g *Given) Fails() []string {
	fails := []string{} // none is something else than not known
	for i := range g.Judged {
		if j := &g.Judged[i]; j.Fails && (len(fails) == 0 || fails[len(fails)-1] != j.Name) {
			fails = append(fails, j.Name)
		}
	}
	return fails
}

// givenTrain is the train that a point's spec gives, its gaps still open.
func (j *Job) givenTrain(s *spec.Spec, p *objective.Problem) (*objective.Library, *objective.Train, error) {
	name, ok := s.Given()
	if !ok {
		return nil, nil, fmt.Errorf("train.given: %q names no design", s.Train.Given)
	}
	parts := map[string]bool{}
	for _, group := range name.Groups {
		for _, lens := range group {
			parts[lens.Part] = true
		}
	}
	lib := j.LibraryOf(p, parts)
	t := &objective.Train{Layout: name.Layout, Seat: name.Seat}
	for _, group := range name.Groups {
		var elements []*objective.Element
		for _, lens := range group {
			e := lib.ElementOf(lens.Part, lens.Reversed)
			if e == nil {
				return nil, nil, fmt.Errorf("train.given: no part %s in the tables", lens)
			}
			elements = append(elements, e)
		}
		t.Groups = append(t.Groups, p.NewGroup(elements...))
	}
	return lib, t, nil
}

// givenFaults are the trains that the spec gives and that can't be measured: such that
// no table has, and such that have no paraxial gaps where none are given.
func (j *Job) givenFaults() error {
	if !j.Spec.Gives() {
		return nil
	}
	if err := j.Spec.GivenFaults(j.Catalog.Lenses).Err(); err != nil {
		return err
	}
	var faults catalog.Faults
	told := map[string]bool{}
	for _, point := range j.Points {
		s := point.Spec
		if s.GivenAt() == spec.AtGaps || told[s.Train.Given] {
			continue
		}
		p := s.Problem()
		_, t, err := j.givenTrain(s, p)
		if err != nil {
			return err
		}
		if _, ok := p.ParaxialGaps(t, objective.ByLength); !ok {
			told[s.Train.Given] = true
			faults = append(faults, j.Spec.GivenFault(s.Train.Given, gaplessWhy(p, t)))
		}
	}
	return faults.Err()
}

// gaplessWhy says why a train has no paraxial gaps.
func gaplessWhy(p *objective.Problem, t *objective.Train) string {
	names := t.Layout.GroupNames()
	for i, g := range t.Groups {
		pair := t.Layout == objective.ErectorPair && (i == 1 || i == 2)
		if !pair && !g.Positive() || pair && !g.HasPower() {
			return fmt.Sprintf("no paraxial gaps, as the %s has a focal length of %.4g mm", names[i], g.FocalMM)
		}
	}
	return "no paraxial gaps, as no inner gap makes the pair relay converge"
}

// measureGiven measures the train that a point's spec gives.
func (j *Job) measureGiven(ctx context.Context, s *spec.Spec, p *objective.Problem, o options) (*Outcome, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	lib, t, err := j.givenTrain(s, p)
	if err != nil {
		return nil, err
	}
	given := &Given{At: s.GivenAt()}
	found := Found{ID: t.DesignID()}
	relief := math.NaN() // to refine from
	failed, ok := p.ParaxialGaps(t, o.by)
	switch {
	case !ok && given.At != spec.AtGaps:
		return nil, errors.New("train.given: " + gaplessWhy(p, t))
	case failed != objective.Met:
		given.TurnedAway = failed.String()
	case p.Refining():
		screened := raycheck.NewScreener(p).Screen(t)
		if given.TurnedAway = screened.Failed; screened.Failed == "" {
			relief = screened.Relief
		}
		given.Screen = screened.Failed != ""
		if turnedByThirdOrder(lib, t, o.refine.thirdOrder) {
			given.TurnedAway, given.Screen = byThirdOrder, false
		}
	}
	switch given.At {
	case spec.AtGaps:
		t = p.TrainAt(objective.Space{Layout: t.Layout, Seat: t.Seat}, elementsOf(t), stackGapsOf(t), s.Train.GivenGapsMM, 0)
		t.Refined = true // by hand: what is asked is what is asked of other gaps than the paraxial ones
		if t.EyeRelief = p.LeastReliefOf(t); s.Train.GivenReliefMM != nil {
			t.EyeRelief = *s.Train.GivenReliefMM
		}
		t.AngularMagnification = p.AngularMagnificationOf(t)
	case spec.AtParaxial:
		if s.Train.GivenReliefMM != nil {
			t.EyeRelief = *s.Train.GivenReliefMM
		}
	case spec.AtRefined:
		// As the walk does, so that the train comes out as it would in a ranking.
		met := failed == objective.Met && raycheck.NewChecker(p).Check(t).FailedBy == ""
		r := raycheck.NewRefiner(p, o.by)
		r.Begin(t)
		if found.moved = refineTrain(r, t, relief, o.refine.method, o.refine.seed).moved; found.moved != nil {
			found.settle(r, t, o.by)
		}
		if found.moved == nil || met && found.Ranked > objective.RoundedLength(t.Ranked(o.by)) {
			found = Found{ID: found.ID}
			given.At, given.Unrefined = spec.AtParaxial, !met
			break
		}
		t = found.Train
	}
	found.Train = t
	found.Report, given.Judged = raycheck.Judge(p, t)
	if err := given.judgeBuilds(ctx, p, &found, &o.built); err != nil {
		return nil, err
	}
	found.Ranked = objective.RoundedLength(t.Ranked(o.by))
	out := &Outcome{Found: []Found{found}, Given: given, Proof: Proof{
		Space: big.NewInt(1), SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{}, Examined: 1, Checked: 1,
		ProvenLength: math.Inf(-1), Seconds: map[string]float64{},
	}}
	if found.Report.FailedBy == "" {
		out.Proof.Passed = 1
	} else {
		tally(out.Proof.Failed, found.Report.FailedBy, one)
	}
	return out, nil
}

// judgeBuilds holds the share of builds that meet the other limits against the spec's. Of a
// train that fails any of them it is not measured, and fails.
func (g *Given) judgeBuilds(ctx context.Context, p *objective.Problem, found *Found, o *buildOptions) error {
	if o.least == 0 {
		return nil
	}
	j := raycheck.Judgement{Name: yieldLimit, Of: "builds that meet the others", Unit: "%", AtLeast: true, Asked: 100 * o.least, Reached: math.NaN(), Fails: true}
	if found.Report.FailedBy == "" {
		passed, builds, enough, err := o.built(ctx, p, found.Train)
		if err != nil {
			return err
		}
		j.Reached, j.Fails = 100*float64(passed)/float64(builds), !enough
	}
	g.Judged = append(g.Judged, j)
	if j.Fails && found.Report.FailedBy == "" {
		found.Report.FailedBy = yieldLimit
	}
	return nil
}

// turnedByThirdOrder reports whether the screen by third-order sums turns a solved train away.
func turnedByThirdOrder(lib *objective.Library, t *objective.Train, factor float64) bool {
	screen := newThirdScreen(lib.Problem, 1, factor)
	var codes [4]objective.StackCode
	for i, g := range t.Groups {
		codes[i] = lib.Code(g.Elements)
	}
	return screen.take().turnsAway(t, codes)
}

func elementsOf(t *objective.Train) (elements [][]*objective.Element) {
	for _, g := range t.Groups {
		elements = append(elements, g.Elements)
	}
	return elements
}

func stackGapsOf(t *objective.Train) (gaps [][]float64) {
	for _, g := range t.Groups {
		gaps = append(gaps, g.GapsMM)
	}
	return gaps
}

// GivenPartError refuses a part of a job that measures a train: there is nothing to
// divide.
type GivenPartError struct{ Part Part }

func (e *GivenPartError) Error() string {
	return fmt.Sprintf("part %s: a job that measures the train of train.given is not divided\n    run it whole", e.Part)
}
