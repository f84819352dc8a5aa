//go:build !amd64

package lanes

func (r *Rays) flat(distance, ratio float64) float64 { return r.plainFlat(distance, ratio) }

func (r *Rays) sphere(distance, curvature, ratio float64) float64 {
	return r.plainSphere(distance, curvature, ratio)
}

func (r *Rays) conic(s *Surface, ratio float64) float64 { return r.plainConic(s, ratio) }

func (r *Rays) asphere(s *Surface, ratio float64) float64 { return r.plainAsphere(s, ratio) }

func (r *Rays) facets(s *Surface, ratio float64) float64 { return r.plainFacets(s, ratio) }

func (r *Rays) launch(px, py []float64, tan, v float64) { r.plainLaunch(px, py, tan, v) }

func throughPlate(x, y []float64, r *Rays, thickness, index float64) {
	plainPlate(x, y, r, thickness, index)
}

func (r *Rays) overfill(over []float64, scale float64) { r.plainOverfill(over, scale) }

func (l *Lines) cross(r *Rays, distance float64) { l.plainCross(r, distance) }

func between(to, reference, far, referenceFar, near, referenceNear []float64, share float64) {
	plainBetween(to, reference, far, referenceFar, near, referenceNear, share)
}

func mix(to, from, share []float64) { plainMix(to, from, share) }

func (r *Rays) tilted(s *Tilted, ratio float64) { r.plainTilted(s, ratio) }

func (a *CrossingSums) of(l *Lines, weight []float64, distance, chief float64) {
	*a = l.plainCrossingSums(weight, distance, chief)
}

func (a *SlopeSums) of(l *Lines, weight []float64, vergence, chief float64) {
	*a = l.plainSlopeSums(weight, vergence, chief)
}
