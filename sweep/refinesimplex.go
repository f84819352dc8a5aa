package sweep

import (
	"math"
	"slices"
)

// simplexBound follows gonum's NelderMead by the values that it is given, and tells of the
// next evaluation from where on the method no longer asks how bad a place is: it turns away
// all that is worse. Such a place need not be evaluated to its end.
// TestSimplexBound holds it against the method.
type simplexBound struct {
	unknowns  int
	values    []float64 // of the simplex, ascending once it is complete
	reflected float64
	next      simplexStep
}

// simplexStep is what an evaluation is for.
type simplexStep uint8

const (
	simplexFill simplexStep = iota // a place of a new simplex, or of one that has shrunk
	simplexReflect
	simplexExpand
	simplexContractOutside
	simplexContractInside
)

// bound is the value above which the next one makes no difference; +Inf where any does.
func (s *simplexBound) bound() float64 {
	switch s.next {
	case simplexReflect, simplexContractInside:
		return s.values[s.unknowns]
	case simplexExpand, simplexContractOutside:
		return s.reflected
	}
	return math.Inf(1)
}

// evaluated takes note of the next value.
func (s *simplexBound) evaluated(value float64) {
	n := s.unknowns
	switch s.next {
	case simplexFill:
		if s.values = append(s.values, value); len(s.values) == n+1 {
			s.complete()
		}
	case simplexReflect:
		s.reflected = value
		switch {
		case value < s.values[0]:
			s.next = simplexExpand
		case value < s.values[n-1]:
			s.replaceWorst(value)
		case value < s.values[n]:
			s.next = simplexContractOutside
		default:
			s.next = simplexContractInside
		}
	case simplexExpand:
		s.replaceWorst(min(value, s.reflected))
	case simplexContractOutside:
		if value <= s.reflected {
			s.replaceWorst(value)
		} else {
			s.shrink()
		}
	case simplexContractInside:
		if value < s.values[n] {
			s.replaceWorst(value)
		} else {
			s.shrink()
		}
	}
}

func (s *simplexBound) replaceWorst(value float64) {
	s.values[s.unknowns] = value
	s.complete()
}

func (s *simplexBound) complete() {
	slices.Sort(s.values)
	s.next = simplexReflect
}

// shrink leaves the best place only.
func (s *simplexBound) shrink() {
	s.values = s.values[:1]
	s.next = simplexFill
}
