package objective

import (
	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// helpers are those of package testtrain. It imports this package, so that the
// tests inside this one can't import it: an external test hands it over.
type helpers struct {
	Problem      func() *Problem
	Group        func(p *Problem, lenses []*catalog.Lens, reversed ...bool) *Group
	Upright      func(t rapid.TB, p *Problem, behind float64, groups ...*Group) *Train
	Simple       func(t rapid.TB, p *Problem) *Train
	DrawGroup    func(t *rapid.T, p *Problem, label string, focal float64) *Group
	DrawProblem  func(t *rapid.T) *Problem
	DrawAnyTrain func(t *rapid.T) (*Problem, *Train)
	DrawTrainFor func(t *rapid.T, p *Problem, layouts ...Layout) *Train
	AnyLayout    []Layout
	PlanesOf     func(p *Problem, t *Train, masksMM ...float64) []testlens.Plane
	TrainScale   func(t *Train) float64
	SkipHuge     func(t *rapid.T, train *Train)
	Margins      func(p *Problem, t *Train) map[Requirement]float64
}

var use helpers

// Use is where the helpers are handed over.
var Use = &use
