package thirdorder

import (
	"math"
	"slices"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// Group is what third-order theory knows of a group in one orientation. It
// does not change, and may be used by many goroutines.
type Group struct {
	// Rays are taken from one principal plane to the other, between which they keep their heights
	// and change p by power times these. Where the planes lie too far off they are those of the
	// vertices, and the passage takes rays from the last to the first.
	principal bool
	power     float64
	passage   passage
	// eyeSide is the distance in mm from the last vertex along ζ to the plane where rays
	// start, worldSide from that where they end to the first vertex.
	eyeSide, worldSide float64
	quartic            quartic // in rays where they start
	petzval            float64 // π
	colour             []quadratic
}

// principalMost, in mm, is how far off principal planes may lie: much farther, and what the
// forms hold there says nothing about the lenses any more in the digits that there are.
const principalMost = 500.0

// toPrincipalPlanes writes a group that is made from vertex to vertex in rays at its principal
// planes.
func (c *Group) toPrincipalPlanes() {
	power := -c.passage.m.p
	eyeSide, worldSide := (1-c.passage.c.p)/power, (1-c.passage.m.y)/power
	if !(max(math.Abs(eyeSide), math.Abs(worldSide)) <= principalMost) {
		return
	}
	c.principal, c.power, c.eyeSide, c.worldSide = true, power, eyeSide, worldSide
	c.quartic.before(-eyeSide)
	for i := range c.colour {
		c.colour[i].before(-eyeSide)
	}
}

// Maker makes groups. It keeps the indices of the glasses it has met: each goroutine needs its own.
type Maker struct {
	wavelengths []float64 // nm; the reference one first
	indices     map[*catalog.Glass][]float64
}

// NewMaker prepares for the wavelengths of p.
func NewMaker(p *objective.Problem) *Maker {
	m := &Maker{indices: map[*catalog.Glass][]float64{}}
	reference := p.Reference()
	m.wavelengths = append(m.wavelengths, p.WavelengthsNM[reference])
	m.wavelengths = append(m.wavelengths, slices.Delete(slices.Clone(p.WavelengthsNM), reference, reference+1)...)
	return m
}

func (m *Maker) indicesOf(g *catalog.Glass) []float64 {
	n, ok := m.indices[g]
	if !ok {
		for _, w := range m.wavelengths {
			n = append(n, g.Index(w))
		}
		m.indices[g] = n
	}
	return n
}

// Group makes a group's constants.
func (m *Maker) Group(g *objective.Group) *Group {
	c := &Group{passage: none, colour: make([]quadratic, len(m.wavelengths)-1)}
	air := make([]float64, len(m.wavelengths))
	for i := range air {
		air[i] = 1
	}
	for e := len(g.Elements) - 1; e >= 0; e-- {
		element, before := g.Elements[e], air
		for s := len(element.Surfaces) - 1; s >= 0; s-- {
			after := air
			if s > 0 {
				after = m.indicesOf(element.Glasses[s-1])
			}
			c.refract(&element.Surfaces[s], before, after)
			if s > 0 {
				c.cross(element.Thickness[s-1], after)
			}
			before = after
		}
		if e > 0 {
			c.cross(g.GapsMM[e-1], air)
		}
	}
	for _, e := range g.Elements {
		if slices.ContainsFunc(e.Surfaces, catalog.Surface.IsFaceted) {
			c.quartic = unknown
			return c
		}
	}
	c.toPrincipalPlanes()
	return c
}

// unknown is the quartic of a group with facets. Rays at facets are not normal to a wave: where
// they turn by the slope of a surface on the plane at its vertex, n sin turns by (sqrt(n² - p²) -
// sqrt(n'² - p'²))·∇z, which no function f has as its derivative by the place, as it depends on p.
// An estimate from it is NaN, and exceeds nothing. Such a group is written from vertex to vertex.
var unknown = quartic{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}

// cross adds a distance in mm in a glass of the given indices. The ray goes on by p/sqrt(n² - p²)
// times the distance, which is the derivative by p of -sqrt(n² - p²).
func (c *Group) cross(distance float64, n []float64) {
	w := &c.passage
	c.quartic.addFourth(distance/(8*n[0]*n[0]*n[0]), w.m.p, w.c.p)
	for i := range c.colour {
		c.colour[i].addSquare(distance*(1/n[i+1]-1/n[0])/2, w.m.p, w.c.p)
	}
	w.advance(distance / n[0])
}

// refract adds a surface, towards the eye of which the glass has the indices n, towards the world
// next.
//
// At a surface z(x) along ζ, what refraction keeps is q = p + sqrt(n² - p²)·∇z. To it leads
// the generating function x·p + z(x)·sqrt(n² - p²), with x where the ray meets the surface,
// from the vertex plane before the surface, and from there on the same of the other
// side backwards. To the fourth order, with z = c·x²/2 + b·x⁴ and p' behind the surface,
//
//	f = (n' - n)·b·x⁴ - c/4·x²·(p'²/n' - p²/n).
//
// In two dimensions x²p² is the symmetric form of y²p² and 2/3 of (x × p)².
func (c *Group) refract(s *catalog.Surface, n, next []float64) {
	// The surface as it stands along ζ, towards the world.
	curvature := -s.Curvature()
	fourth := float64((1+s.Conic)*curvature*curvature*curvature) / 8
	if len(s.Asphere) > 0 {
		fourth -= s.Asphere[0]
	}
	w := &c.passage
	c.quartic.addFourth((next[0]-n[0])*fourth, w.m.y, w.c.y)
	y := [2]float64{w.m.y, w.c.y}
	c.quartic.addSquares(curvature/4/n[0], y, [2]float64{w.m.p, w.c.p})
	power := (next[0] - n[0]) * curvature
	for i := range c.colour {
		c.colour[i].addSquare(((next[i+1]-n[i+1])*curvature-power)/2, w.m.y, w.c.y)
	}
	w.m.p -= float64(power * w.m.y)
	w.c.p -= float64(power * w.c.y)
	c.quartic.addSquares(-curvature/4/next[0], y, [2]float64{w.m.p, w.c.p})
	c.petzval -= curvature / 6 * (1/next[0] - 1/n[0])
}

// isUnknown reports whether it has facets.
func (c *Group) isUnknown() bool { return math.IsNaN(c.quartic[0]) }
