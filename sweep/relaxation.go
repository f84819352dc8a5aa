package sweep

import (
	"maps"
	"math"
	"slices"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// relaxation is one requirement or limit that can be eased alone.
type relaxation struct {
	// name is that under which failures are counted; a requirement that several
	// keys set has one relaxation a key, and those after the first are named after it.
	name  string
	start float64
	// eased is where easing ends: what no bench would go beyond.
	eased float64
	set   func(p *objective.Problem, value float64)
	// lenses sets a value that the lens tables have rather than the spec; nil
	// for none.
	lenses func(lenses []*catalog.Lens, value float64) []*catalog.Lens
	// needs is how many a train takes of what a relaxation of whole numbers allows:
	// the value that it needs, whatever its gaps are. It is nil for the others.
	needs func(t *objective.Train) float64
}

// easedLength and the others are where easing ends.
const (
	easedTravel    = 1000.0 // mm
	easedRelief    = 1000.0 // mm
	easedMask      = 1000.0 // mm
	easedArcmin    = 600.0
	easedDioptres  = 10.0
	easedShift     = 1e5 // mm
	easedSum       = 1e9 // g, price
	easedTolerance = 10.0
	easedField     = 0.02  // share of the field
	easedVignetted = 100.0 // %
)

// vignetted is the limit on what is lost of the pupil.
const vignetted = "vignetted_pct"

// relaxations are the paraxial requirements on a library's trains that a number in the
// spec or the lens tables sets, in the order in which they are tested. The
// aperture's number is the field: its width in degrees, the height going with it.
func relaxations(s *spec.Spec, lib *objective.Library) []relaxation {
	p := lib.Problem
	more := func(name string, start, eased float64, set func(p *objective.Problem, v float64)) relaxation {
		return relaxation{name: name, start: start, eased: math.Max(start, eased), set: set}
	}
	less := func(name string, start, eased float64, set func(p *objective.Problem, v float64)) relaxation {
		return relaxation{name: name, start: start, eased: math.Min(start, eased), set: set}
	}
	limit := func(name string, eased float64) relaxation {
		return more(name, p.Limits.Limit(name), eased, func(p *objective.Problem, v float64) {
			p.Limits.Max = maps.Clone(p.Limits.Max)
			p.Limits.Max[name] = v
		})
	}
	all := []relaxation{
		less("gap", p.GroupGapMin, 0, func(p *objective.Problem, v float64) { p.GroupGapMin = v }),
		more("length", p.LengthMax, math.Inf(1), func(p *objective.Problem, v float64) { p.LengthMax = v }),
		less("relief", p.ReliefMin, p.CombinerMM, func(p *objective.Problem, v float64) { p.ReliefMin = v }),
		more("relief_max_mm", p.ReliefMax, easedRelief, func(p *objective.Problem, v float64) { p.ReliefMax = v }),
		less("aperture", s.Field.WidthDeg, s.Field.WidthDeg*easedField, func(p *objective.Problem, v float64) {
			eased := *s
			eased.Field.WidthDeg = v
			eased.Field.HeightDeg = s.Field.HeightDeg * v / s.Field.WidthDeg
			q := eased.Problem()
			p.TanHalfWidth, p.TanHalfHeight, p.TanMax = q.TanHalfWidth, q.TanHalfHeight, q.TanMax
		}),
		less("clearance", p.Clearance, 0, func(p *objective.Problem, v float64) { p.Clearance = v }),
		more("travel", p.Travel, easedTravel, func(p *objective.Problem, v float64) { p.Travel = v }),
		more("mask_size", p.MaskWidth, easedMask, func(p *objective.Problem, v float64) {
			p.MaskHeight *= v / p.MaskWidth
			p.MaskWidth = v
		}),
		limit("pixel_arcmin", easedArcmin),
		limit("depth_step_D", easedDioptres),
		limit("viewpoint_shift_mm", easedShift),
	}
	all = append(all, partRelaxations(s, lib)...)
	// Not a paraxial requirement, but what may be lost of the pupil is also what the
	// apertures need not pass.
	all = append(all, more(vignetted, p.Limits.Limit(vignetted), easedVignetted, func(p *objective.Problem, v float64) {
		p.Limits.Max = maps.Clone(p.Limits.Max)
		p.Limits.Max[vignetted] = v
		p.PupilCut = objective.PupilCut(v / 100)
	}))
	all = append(all, limit("price", easedSum), limit("mass_g", easedSum))
	if slices.Contains(s.Train.Layouts, objective.Keplerian) {
		all = append(all, more("magnification", p.MagnificationTol, easedTolerance, func(p *objective.Problem, v float64) {
			p.MagnificationTol = v
		}))
	}
	return slices.DeleteFunc(all, func(l relaxation) bool { return math.IsInf(l.start, 1) || l.start == l.eased })
}

// partRelaxations are the relaxations on what parts a train may take: how many lenses, how
// many different ones, and how many of one whose stock is bounded.
func partRelaxations(s *spec.Spec, lib *objective.Library) []relaxation {
	p := lib.Problem
	groups := 0
	for _, layout := range s.Train.Layouts {
		groups = max(groups, len(layout.GroupNames()))
	}
	most := float64(groups * s.Train.LensesPerGroup)
	var all []relaxation
	if p.LensesMax > 0 {
		all = append(all, relaxation{
			name: "parts", start: float64(p.LensesMax), eased: most,
			set:   func(p *objective.Problem, v float64) { p.LensesMax = int(v) },
			needs: func(t *objective.Train) float64 { return float64(lensesIn(t)) },
		})
	}
	if p.PartsMax > 0 {
		all = append(all, relaxation{
			name: "distinct_parts_max", start: float64(p.PartsMax), eased: most,
			set:   func(p *objective.Problem, v float64) { p.PartsMax = int(v) },
			needs: func(t *objective.Train) float64 { return float64(len(pieces(t))) },
		})
	}
	least := math.Inf(1)
	stock := map[string]int{}
	for _, l := range lib.Lenses {
		if l.Stock >= 0 {
			stock[l.Part] = l.Pieces()
			least = math.Min(least, float64(l.Pieces()))
		}
	}
	if len(stock) > 0 {
		all = append(all, relaxation{
			name: "stock", start: least, eased: most,
			lenses: func(lenses []*catalog.Lens, v float64) []*catalog.Lens {
				eased := slices.Clone(lenses)
				for i, l := range eased {
					if l.Stock >= 0 && l.Pieces() < int(v) {
						more := *l
						more.Stock = int(v) - l.Owned
						eased[i] = &more
					}
				}
				return eased
			},
			needs: func(t *objective.Train) float64 {
				need := least
				for part, n := range pieces(t) {
					if have, bounded := stock[part]; bounded && n > have {
						need = math.Max(need, float64(n))
					}
				}
				return need
			},
		})
	}
	return slices.DeleteFunc(all, func(l relaxation) bool { return l.start >= l.eased })
}

// pieces is how many of each part a train takes.
func pieces(t *objective.Train) map[string]int {
	n := map[string]int{}
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			n[e.Lens.Part]++
		}
	}
	return n
}

// lensesIn is how many lenses a train has.
func lensesIn(t *objective.Train) int {
	n := 0
	for _, g := range t.Groups {
		n += len(g.Elements)
	}
	return n
}
