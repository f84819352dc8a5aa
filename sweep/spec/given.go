package spec

import (
	"fmt"
	"slices"
	"strings"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// GivenAt says at which gaps a train that a spec gives is measured.
type GivenAt string

// The gaps of a train that is given.
const (
	// AtParaxial are its paraxial gaps, with the eye relief of the spec where that
	// has one, and otherwise the least that meets the requirements.
	AtParaxial GivenAt = "paraxial"
	// AtGaps are the gaps of the spec.
	AtGaps GivenAt = "given"
	// AtRefined are gaps and an eye relief re-optimised by exact rays.
	AtRefined GivenAt = "refined"
)

// Given is the train that the spec gives, false for none or a text that names none.
func (s *Spec) Given() (objective.DesignName, bool) {
	if s.Train.Given == "" {
		return objective.DesignName{}, false
	}
	name, slips := objective.ParseDesignID(s.Train.Given)
	return name, len(slips) == 0
}

// GivenAt is at which gaps the train is to be measured.
func (s *Spec) GivenAt() GivenAt {
	switch {
	case len(s.Train.GivenGapsMM) > 0:
		return AtGaps
	case s.Train.GivenReliefMM != nil || s.Refine.Method == RefineNone:
		return AtParaxial
	}
	return AtRefined
}

// Gives reports whether the spec gives a train to measure in place of a search, at
// every sweep point.
func (s *Spec) Gives() bool { return s.Train.Given != "" || s.sweptOf([]string{"train.given"}) >= 0 }

// givenTexts are the designs that the spec gives, with the path of the key.
func (s *Spec) givenTexts() (texts []string, path []string) {
	const key = "train.given"
	if axis := s.sweptOf([]string{key}); axis >= 0 {
		for _, v := range s.Axes[axis].Values {
			texts = append(texts, v.(string))
		}
		return texts, []string{sweepSection, key}
	}
	if s.Train.Given != "" {
		texts = []string{s.Train.Given}
	}
	return texts, []string{"train", "given"}
}

// GivenFaults hold the trains that the spec gives against the lenses of its tables:
// one fault tells all that is wrong with one of them.
func (s *Spec) GivenFaults(lenses []*catalog.Lens) catalog.Faults {
	var faults catalog.Faults
	texts, path := s.givenTexts()
	for _, text := range texts {
		name, slips := objective.ParseDesignID(text)
		if text == "" {
			slips = []objective.Slip{{Found: "an empty text among the swept ones", Want: "a design as " + exampleDesign}}
		}
		slips = append(slips, partSlips(name, lenses)...)
		if len(slips) == 0 {
			continue
		}
		found := make([]string, len(slips))
		var want []string
		for i, slip := range slips {
			found[i] = slip.Found
			if !slices.Contains(want, slip.Want) {
				want = append(want, slip.Want)
			}
		}
		faults = append(faults, s.doubt(showDesign(text)+": "+strings.Join(found, "; "), strings.Join(want, ";\n      "), path...))
	}
	return faults
}

// GivenFault is a fault of a train that the spec gives.
func (s *Spec) GivenFault(text, found string) catalog.Fault {
	_, path := s.givenTexts()
	return s.doubt(showDesign(text)+": "+found, "groups that converge, or its gaps in train.given_gaps_mm", path...)
}

// showDesign is a design in quotes, cut short where it is long.
func showDesign(text string) string {
	const most = 120
	if r := []rune(text); len(r) > most {
		text = string(r[:most-3]) + "..."
	}
	return fmt.Sprintf("%q", text)
}

// partSlips are the parts of a design that no table has, or not that way round, each
// once.
func partSlips(name objective.DesignName, lenses []*catalog.Lens) []objective.Slip {
	known := make([]string, len(lenses))
	byPart := make(map[string]*catalog.Lens, len(lenses))
	for i, l := range lenses {
		known[i], byPart[l.Part] = l.Part, l
	}
	var slips []objective.Slip
	seen := map[objective.LensName]bool{}
	for _, group := range name.Groups {
		for _, lens := range group {
			if seen[lens] {
				continue
			}
			seen[lens] = true
			l := byPart[lens.Part]
			switch {
			case l == nil:
				want := fmt.Sprintf("in place of %q a part of the lens tables", lens.Part)
				if near := catalog.Nearest(lens.Part, known); len(near) > 0 {
					want += ", the nearest: " + strings.Join(near, ", ")
				}
				slips = append(slips, objective.Slip{Found: fmt.Sprintf("no part %q", lens.Part), Want: want})
			case lens.Reversed && l.IsSymmetric():
				slips = append(slips, objective.Slip{
					Found: fmt.Sprintf("%q, which is the same either way round", lens.String()), Want: fmt.Sprintf("%q, without /r", lens.Part),
				})
			}
		}
	}
	return slips
}

// givenDoubts tell which parts of a train that is given a search would not use, or
// not there, and what else keeps it out of the space of the search.
func (s *Spec) givenDoubts(lenses []*catalog.Lens) []catalog.Fault {
	var doubts []catalog.Fault
	texts, path := s.givenTexts()
	if !s.Gives() {
		for key, set := range map[string]bool{"given_gaps_mm": len(s.Train.GivenGapsMM) > 0, "given_relief_mm": s.Train.GivenReliefMM != nil} {
			if set {
				doubts = append(doubts, s.doubt("there is no train in train.given, so that a search is made, which does not ask for this", "a train in train.given, or the line left out", "train", key))
			}
		}
		slices.SortFunc(doubts, func(a, b catalog.Fault) int { return strings.Compare(a.Key, b.Key) })
		return doubts
	}
	wavelength := s.referenceNM()
	used := map[string]bool{}
	for _, l := range s.CatalogFilter().Apply(lenses, wavelength) {
		used[l.Part] = true
	}
	for _, text := range texts {
		name, slips := objective.ParseDesignID(text)
		if len(slips) > 0 {
			continue
		}
		var why []string
		if !slices.Contains(s.Train.Layouts, name.Layout) {
			why = append(why, fmt.Sprintf("%s is not among train.layouts", name.Layout))
		} else if !slices.Contains(s.Seats(name.Layout), name.Seat) {
			why = append(why, fmt.Sprintf("mask.seat is %q", s.Mask.Seat))
		}
		var left []string
		p, slots := s.Problem(), name.Layout.SlotsOf()
		for i, group := range name.Groups {
			if len(group) > s.Train.LensesPerGroup {
				why = append(why, fmt.Sprintf("%d lenses in the %s are more than train.lenses_per_group", len(group), name.Layout.GroupNames()[i]))
			}
			for _, lens := range group {
				if p.SlotsFor(lens.Part)&slots[i] == 0 {
					why = append(why, fmt.Sprintf("train.%s does not have %s", strings.TrimSuffix(name.Layout.GroupNames()[i], "2"), lens.Part))
				}
				if !used[lens.Part] && !slices.Contains(left, lens.Part) {
					left = append(left, lens.Part)
				}
			}
		}
		if len(left) > 0 {
			why = append(why, "the keys of [catalog], or a stock of 0, leave out "+joinWords(left, "and"))
		}
		if len(why) > 0 {
			doubts = append(doubts, s.doubt("a search by this spec does not come by the train: "+strings.Join(why, "; "),
				"nothing else, to measure it; for a search to come by it, these keys changed", path...))
		}
	}
	return doubts
}

// referenceNM is the reference wavelength.
func (s *Spec) referenceNM() float64 {
	p := s.Problem()
	return p.WavelengthsNM[p.Reference()]
}
