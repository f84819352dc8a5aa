package objective

import "relaysweep/catalog"

// Facets is a surface of a train that is cut into facets, and how rays that leave the eye meet
// it.
type Facets struct {
	Surface catalog.Surface
	// Place is the surface's number from the eye on, the first 0.
	Place int
	// ToWorld reports whether its air lies on the side of the world, else it is that of the eye.
	ToWorld bool
	// EdgeMM is the height there, in mm, of the paraxial ray that leaves the eye parallel to the
	// axis 1 mm from it, ChiefMM that of the ray through the middle of the eye with unit slope.
	EdgeMM, ChiefMM float64
}

// EdgeAt is the height in mm, per mm of height at the eye, of the ray from the axial point of an
// apparent vergence in 1/mm.
func (f *Facets) EdgeAt(vergence float64) float64 { return f.EdgeMM + float64(vergence*f.ChiefMM) }

// Vergence is the apparent vergence in 1/mm of the surface itself, as the eye sees it through what
// stands between: that at which [Facets.EdgeAt] is 0.
func (f *Facets) Vergence() float64 { return -f.EdgeMM / f.ChiefMM }

// HasFacets reports whether a surface of the train is cut into facets.
func (t *Train) HasFacets() bool {
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			if e.faceted {
				return true
			}
		}
	}
	return false
}

// EachFacets visits the train's surfaces with facets, from the eye to the world.
func (p *Problem) EachFacets(t *Train, visit func(f *Facets)) {
	if !t.HasFacets() {
		return
	}
	var all []Facets
	for g := len(t.Groups) - 1; g >= 0; g-- {
		elements := t.Groups[g].Elements
		for i := len(elements) - 1; i >= 0; i-- {
			surfaces := elements[i].Surfaces
			for s := len(surfaces) - 1; s >= 0; s-- {
				all = append(all, Facets{Surface: surfaces[s], Place: len(all), ToWorld: s == 0})
			}
		}
	}
	relief, place := t.EyeRelief-p.CombinerShift(), 0
	p.eachHeight(t, func(a heightRow, _ float64) {
		f := &all[place]
		place++
		if f.Surface.IsFaceted() {
			f.EdgeMM, f.ChiefMM = a.A, a.B-float64(relief*a.A)
			visit(f)
		}
	})
}
