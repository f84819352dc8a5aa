// Package ideal finds how short a train could be if every focal length could be had: the
// shortest train of groups without thickness that meets the paraxial requirements of a
// problem.
//
// [Find] is its entry. model.go writes the requirements over the unknowns of a thin train,
// form.go and lp.go bound them over boxes of unknowns by linear forms and programs, search.go
// divides boxes from the least bound on, and descent.go looks for trains inside them.
//
// Lengths are in mm and vergences in 1/mm, as in package objective. The package traces no rays
// and knows no lens that is for sale.
package ideal

import (
	"context"
	"math"

	"relaysweep/objective"
)

// Limit is how short a train could be if every focal length could be had: the
// shortest train of groups without thickness under the paraxial requirements of a
// problem.
type Limit struct {
	// ApertureRatio is the most that a group's clear diameter may be of its
	// focal length.
	ApertureRatio float64
	// BoundMM is the ranked length in mm below which no such train exists, +Inf
	// when there is none at all up to 20 m.
	BoundMM float64
	// Train is the shortest such train that was found, judged by the model, with its
	// smallest eye relief; nil for none. ReachedMM is its ranked length.
	Train     *objective.Train
	ReachedMM float64
	// Settled reports whether BoundMM is within 0.1 % of ReachedMM or that there is no
	// train; otherwise the search ended before.
	Settled bool
	// Without are, when there is no train, the requirements each of which, given
	// up alone, would let one exist. Giving up the aperture means apertures of
	// twice the focal length.
	Without []objective.Requirement
	// Boxes is how many boxes of trains were looked at.
	Boxes int
}

// Group is a group of the limit's train that has this focal length in mm.
func (i *Limit) Group(focalMM float64) *objective.Group {
	return objective.ThinGroup(focalMM, i.ApertureRatio/2*math.Abs(focalMM))
}

// Find finds the shortest thin train in any of the spaces. No group's clear
// diameter is more than apertureRatio times the magnitude of its focal length.
//
// What is asked of parts (their number, price, mass) and all that rays are
// traced for plays no part. Groups have no thickness, and both their principal planes lie
// in their one vertex; in a train of real lenses the hiatus can be
// negative, so that the limit is no lower bound on such trains.
//
// The error is that of ctx, when it ends before.
func Find(ctx context.Context, p *objective.Problem, spaces []objective.Space, apertureRatio float64, by objective.RankBy) (Limit, error) {
	limit := findWithin(ctx, p, spaces, apertureRatio, by, boxesMost)
	if math.IsInf(limit.BoundMM, 1) {
		for r := objective.GapRoom; r <= objective.ViewpointShiftMM; r++ {
			q, ratio, asked := without(p, r, apertureRatio)
			if asked && newBoxSearch(q, spaces, ratio, by).finds(ctx, triesMost) {
				limit.Without = append(limit.Without, r)
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return Limit{}, err
	}
	return limit, nil
}

// newBoxSearch prepares a search over spaces.
func newBoxSearch(p *objective.Problem, spaces []objective.Space, apertureRatio float64, by objective.RankBy) *boxSearch {
	s := &boxSearch{}
	for _, space := range spaces {
		s.cases = append(s.cases, newThinCases(p, space, apertureRatio/2, by)...)
	}
	return s
}

// findWithin looks at most boxes. It ends at once when ctx does; what it then returns means nothing.
func findWithin(ctx context.Context, p *objective.Problem, spaces []objective.Space, apertureRatio float64, by objective.RankBy, most int) Limit {
	s := newBoxSearch(p, spaces, apertureRatio, by)
	bound, settled := s.run(ctx, most)
	return Limit{
		ApertureRatio: apertureRatio, BoundMM: bound, Train: s.best, ReachedMM: s.rank, Settled: settled, Boxes: s.boxes,
	}
}

// widestAperture, a clear diameter over focal length of 2, is beyond any lens in air:
// one that is corrected for a point bends its marginal rays to 90° at an
// aperture ratio of 2 (sine condition: W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, chapter 9).
const widestAperture = 2.0

// without is the problem with one requirement given up, and the aperture ratio
// then; asked is false when it asks nothing. The aperture is given up by wider groups: the field
// that is asked for stays.
func without(p *objective.Problem, r objective.Requirement, ratio float64) (q *objective.Problem, apertureRatio float64, asked bool) {
	if r == objective.Aperture {
		return p, widestAperture, ratio < widestAperture
	}
	q, asked = p.GivenUp(r)
	return q, ratio, asked
}
