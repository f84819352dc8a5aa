package objective

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"relaysweep/catalog"
)

// Relaxation is a number of the spec or of the lens tables by which a requirement can be eased
// alone.
type Relaxation struct {
	// Name is that of the requirement. Where several numbers set a requirement, those after the
	// first have a name of their own.
	Name string
	// Start is the number as asked, in the unit of its key in the spec.
	Start float64
	// End is where easing ends: what no bench would go beyond.
	End float64
	// Set eases a problem to a value; nil where the number is not one of the problem's.
	Set func(p *Problem, value float64)
	// Lenses are the lenses with a value that the lens tables have; nil for none.
	Lenses func(lenses []*catalog.Lens, value float64) []*catalog.Lens
	// Needs is the value that a train needs of a number that counts, whatever its gaps are;
	// nil for a number that does not count.
	Needs func(t *Train) float64
}

// relaxing is what relaxations are made for.
type relaxing struct {
	p      *Problem
	lenses []*catalog.Lens
	// most is how many lenses the largest train has.
	most float64
}

// Relaxations are those of all paraxial requirements on trains of these layouts, in the order of
// the requirements. What asks nothing, or has no effect, has none.
func (l *Library) Relaxations(layouts []Layout, lensesPerGroup int) []Relaxation {
	x := relaxing{p: l.Problem, lenses: l.Lenses}
	for _, layout := range layouts {
		x.most = max(x.most, float64(len(layout.GroupNames())*lensesPerGroup))
	}
	var all []Relaxation
	for r := range Met {
		// The layouts with a relay have the magnification that is asked for, at their paraxial gaps.
		if r == Magnification && !slices.Contains(layouts, Keplerian) {
			continue
		}
		all = append(all, requirements[r].relaxations(&x)...)
	}
	return all
}

// GivenUp is the problem with a requirement eased to the end; asked is false where that changes
// nothing.
func (p *Problem) GivenUp(r Requirement) (eased *Problem, asked bool) {
	q := *p
	for _, x := range requirements[r].relaxations(&relaxing{p: p}) {
		x.Set(&q, x.End)
		asked = true
	}
	return &q, asked
}

// relaxations are those of one requirement that ease it.
func (r *requirement) relaxations(x *relaxing) []Relaxation {
	if r.relax == nil {
		return nil
	}
	all := r.relax(x)
	for i := range all {
		all[i].Name = cmp.Or(all[i].Name, r.name)
	}
	return slices.DeleteFunc(all, func(l Relaxation) bool { return math.IsInf(l.Start, 1) || l.Start == l.End })
}

// more is a relaxation by a larger number, less one by a smaller.
func more(start, end float64, set func(p *Problem, v float64)) Relaxation {
	return Relaxation{Start: start, End: math.Max(start, end), Set: set}
}

func less(start, end float64, set func(p *Problem, v float64)) Relaxation {
	return Relaxation{Start: start, End: math.Min(start, end), Set: set}
}

// called gives a relaxation a name of its own.
func (l Relaxation) called(name string) Relaxation {
	l.Name = name
	return l
}

// relaxLimit eases a requirement that is a limit as well.
func relaxLimit(name string, end float64) func(x *relaxing) []Relaxation {
	return func(x *relaxing) []Relaxation {
		return []Relaxation{more(x.p.Limits.Limit(name), end, func(p *Problem, v float64) { p.Limits.ease(name, v) })}
	}
}

// ease sets a limit and leaves the limits as they are in copies of the problem.
func (l *Limits) ease(name string, value float64) {
	l.Max = maps.Clone(l.Max)
	l.Max[name] = value
}

// Where easing ends.
const (
	easedLength    = 1000.0 // mm, of travel, mask and eye relief
	easedArcmin    = 600.0
	easedDioptres  = 10.0
	easedShift     = 1e5 // mm
	easedSum       = 1e9 // g, price
	easedTolerance = 10.0
	easedField     = 0.02 // share of the field
	easedLost      = 100  // %
)

// VignettedPct is the name of the limit on what is lost of the pupil. What may be lost, the
// apertures need not let pass.
const VignettedPct = "vignetted_pct"

func relaxRelief(x *relaxing) []Relaxation {
	return []Relaxation{
		less(x.p.ReliefMin, x.p.CombinerMM, func(p *Problem, v float64) { p.ReliefMin = v }),
		more(x.p.ReliefMax, easedLength, func(p *Problem, v float64) { p.ReliefMax = v }).called("relief_max_mm"),
	}
}

// relaxAperture eases the field, in degrees of its width and the height in proportion, and what
// may be lost of the pupil.
func relaxAperture(x *relaxing) []Relaxation {
	wide, high := x.p.FieldWidthDeg, x.p.FieldHeightDeg
	return []Relaxation{
		less(wide, wide*easedField, func(p *Problem, v float64) { p.SetField(v, high*v/wide) }),
		more(x.p.Limits.Limit(VignettedPct), easedLost, func(p *Problem, v float64) {
			p.Limits.ease(VignettedPct, v)
			p.PupilCut = PupilCut(v / 100)
		}).called(VignettedPct),
	}
}

// relaxMaskSize eases the mask's width, the height in proportion.
func relaxMaskSize(x *relaxing) []Relaxation {
	return []Relaxation{more(x.p.MaskWidth, easedLength, func(p *Problem, v float64) {
		p.MaskHeight *= v / p.MaskWidth
		p.MaskWidth = v
	})}
}

// relaxParts eases how many lenses a train may take, how many different ones, and how many of
// one whose stock is bounded.
func relaxParts(x *relaxing) []Relaxation {
	var all []Relaxation
	count := func(name string, start float64, l Relaxation) {
		if l.Name, l.Start, l.End = name, start, x.most; start < x.most {
			all = append(all, l)
		}
	}
	if x.p.LensesMax > 0 {
		count("", float64(x.p.LensesMax), Relaxation{
			Set:   func(p *Problem, v float64) { p.LensesMax = int(v) },
			Needs: func(t *Train) float64 { return float64(countParts(t.Groups).lenses) },
		})
	}
	if x.p.PartsMax > 0 {
		count("distinct_parts_max", float64(x.p.PartsMax), Relaxation{
			Set:   func(p *Problem, v float64) { p.PartsMax = int(v) },
			Needs: func(t *Train) float64 { return float64(countParts(t.Groups).distinct) },
		})
	}
	least := math.Inf(1)
	stock := map[string]int{}
	for _, l := range x.lenses {
		if l.Stock >= 0 {
			stock[l.Part] = l.Pieces()
			least = math.Min(least, float64(l.Pieces()))
		}
	}
	count("stock", least, Relaxation{
		Lenses: func(lenses []*catalog.Lens, v float64) []*catalog.Lens { return withStock(lenses, int(v)) },
		Needs: func(t *Train) float64 {
			need := least
			for _, g := range t.Groups {
				for _, e := range g.Elements {
					n := 0
					for _, h := range t.Groups {
						n += piecesOf(e.Part, h.Elements)
					}
					if have, bounded := stock[e.Lens.Part]; bounded && n > have {
						need = math.Max(need, float64(n))
					}
				}
			}
			return need
		},
	})
	return all
}

// withStock are lenses of which each has at least so many pieces in stock.
func withStock(lenses []*catalog.Lens, pieces int) []*catalog.Lens {
	eased := slices.Clone(lenses)
	for i, l := range eased {
		if l.Stock >= 0 && l.Pieces() < pieces {
			more := *l
			more.Stock = pieces - l.Owned
			eased[i] = &more
		}
	}
	return eased
}
