package lanes

import "math"

// plainFacets meets the plane at the vertex of a surface, and bends each ray at a facet as steep
// as the surface at that height. Facets count as infinitely narrow. A ray that would go on
// backwards is lost.
func (r *Rays) plainFacets(st *Surface, ratio float64) (margin float64) {
	margin = 1
	for i := range r.X {
		px, py := r.toPlane(i, st.DistanceMM)
		r.X[i], r.Y[i], r.W[i] = px, py, 0
		slope := st.slope(float64(px*px) + float64(py*py))
		nx, ny := slope*px, slope*py
		normal := math.Sqrt(1 + float64(nx*nx) + float64(ny*ny))
		margin = min(margin, r.refract(i, ratio, nx/normal, ny/normal, 1/normal))
		k := r.KW[i]
		if !(k > 0) {
			r.KW[i], r.Per[i] = math.NaN(), math.NaN()
			margin = min(margin, -1)
			continue
		}
		margin = min(margin, k*k)
	}
	return margin
}

// slope is dw/dh divided by h at the squared height h2.
func (st *Surface) slope(h2 float64) float64 {
	c := st.Curvature
	slope := c / math.Sqrt(1-float64((1+st.Conic)*c*c*h2))
	power := 1.0
	for i, a := range st.Asphere {
		power *= h2
		slope += float64(float64(2*(i+2)) * a * power)
	}
	return slope
}
