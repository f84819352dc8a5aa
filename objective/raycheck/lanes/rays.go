// Package lanes takes bundles of rays through one surface after the other and sums them up,
// four rays at a time on processors that can (AVX2), else one by one. Both give the same
// bits, but for which NaN a NaN is: they do the same operations in the same order and round
// after each, so that nothing depends on the machine. Set RELAYSWEEP_PLAIN=1 in the
// environment to have rays go one by one everywhere.
//
// plain.go has what is done, a ray at a time. The module in gen writes the same as vector
// code (kernels_amd64.s), and wide_amd64.go chooses between the two.
//
// Rays advance along w, slopes are dx/dw and dy/dw, and positions are relative to the
// vertex of the surface that was met last.
package lanes

import "math"

// Rays are many rays as a structure of arrays: position in mm, the w coordinate from
// the last vertex, direction cosines, KW > 0, and 1/KW. A ray that is lost, because
// it misses a surface or is totally reflected, has NaN for KW from there on; ask with
// Lost. They are made by NewRays: the arrays have some room behind their end.
type Rays struct {
	X, Y, W    []float64
	KX, KY, KW []float64
	Per        []float64 // 1/KW
}

// spare is the room behind an array for the rest of the last vector.
const spare = 3

// WithRoom is a copy of numbers with room behind its end, as arrays of rays have it. It lets
// weights of as many lines be taken four at a time.
func WithRoom(numbers []float64) []float64 {
	return append(make([]float64, 0, len(numbers)+spare), numbers...)
}

// NewRays makes n rays.
func NewRays(n int) Rays {
	room := n + spare
	all := make([]float64, 7*room)
	cut := func(i int) []float64 { return all[i*room:][:n:room] }
	return Rays{cut(0), cut(1), cut(2), cut(3), cut(4), cut(5), cut(6)}
}

// Lost reports whether ray i is lost.
func (r *Rays) Lost(i int) bool { return math.IsNaN(r.KW[i]) }

// AllLost reports whether all rays are lost.
func (r *Rays) AllLost() bool {
	for i := range r.KW {
		if !r.Lost(i) {
			return false
		}
	}
	return true
}

// Part is the rays from and up to but not including to.
func (r *Rays) Part(from, to int) Rays {
	return Rays{r.X[from:to], r.Y[from:to], r.W[from:to], r.KX[from:to], r.KY[from:to], r.KW[from:to], r.Per[from:to]}
}

// CopyFrom sets the rays to those of s.
func (r *Rays) CopyFrom(s *Rays) {
	copy(r.X, s.X)
	copy(r.Y, s.Y)
	copy(r.W, s.W)
	copy(r.KX, s.KX)
	copy(r.KY, s.KY)
	copy(r.KW, s.KW)
	copy(r.Per, s.Per)
}

// Launch sets the rays to leave the eye's pupil at (px, py), in mm, on the line through
// the apparent point of field tangent tan at vergence v, in 1/mm: that point has height
// tan/v at distance 1/v, and for v = 0 it is a direction.
func (r *Rays) Launch(px, py []float64, tan, v float64) { r.launch(px, py, tan, v) }

// ThroughPlate moves the rays sideways as a plane plate of some thickness and index
// does, wherever in its gap it stands, see [PlateSlope].
func (r *Rays) ThroughPlate(thicknessMM, index float64) {
	throughPlate(r.X, r.Y, r, thicknessMM, index)
}

// PlateSlope is by how much a plane plate of index n changes dx/dw and dy/dw inside it,
// as a factor on the direction cosines (kx, ky) of a ray in air with the third
// direction cosine kw: the difference between the slopes in glass and in air. Times
// the thickness it is the ray's sideways shift (W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, pp. 134-135, before the small-angle approximation).
func PlateSlope(n, kw float64) float64 {
	return 1/math.Sqrt(float64(n*n)-1+float64(kw*kw)) - 1/kw
}

// Overfill raises each of over to the squared height of a ray in squares of the
// semi-diameter, where that is more.
func (r *Rays) Overfill(over []float64, semiDiameterMM float64) {
	r.overfill(over, 1/(semiDiameterMM*semiDiameterMM))
}

// Surface is one surface of revolution with the space before it: a conic, of which a
// plane and a sphere are cases, with even polynomial terms; or the plane at its vertex, cut
// into facets with the slopes of such a surface.
type Surface struct {
	DistanceMM float64   // from the vertex before
	Curvature  float64   // 1/mm, positive where the centre lies towards larger w
	Conic      float64   // 0 for a sphere
	Asphere    []float64 // a4, a6, … in mm^-3, mm^-5, …; empty for none
	Faceted    bool
}

// Through takes the rays to a surface and through it. ratio is the index before the
// surface over that after it. margin is the smallest squared cosine of an angle of
// incidence or refraction among the rays, at most 1: how far they are from being lost.
// It is negative when one is lost here.
func (r *Rays) Through(s *Surface, ratio float64) (margin float64) {
	switch {
	case s.Faceted:
		return r.facets(s, ratio)
	case len(s.Asphere) > 0:
		return r.asphere(s, ratio)
	case s.Curvature == 0:
		return r.flat(s.DistanceMM, ratio)
	case s.Conic != 0:
		return r.conic(s, ratio)
	}
	return r.sphere(s.DistanceMM, s.Curvature, ratio)
}

// Tilted is a sphere, or a plane, that stands anywhere. Rays that meet it keep their
// positions as they are: relative to no vertex.
type Tilted struct {
	Vertex    [3]float64 // x, y and w
	Axis      [3]float64 // unit vector along its own axis, towards larger w
	Curvature float64    // 1/mm, positive where the centre lies along the axis
}

// ThroughTilted takes the rays to a surface and through it, wherever they stand. ratio is the
// index before the surface over that after it.
func (r *Rays) ThroughTilted(s *Tilted, ratio float64) { r.tilted(s, ratio) }
