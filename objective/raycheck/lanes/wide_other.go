//go:build !amd64

package lanes

func (r *Rays) flat(distance, ratio float64) float64 { return r.plainFlat(distance, ratio) }

func (r *Rays) sphere(distance, curvature, ratio float64) float64 {
	return r.plainSphere(distance, curvature, ratio)
}

func (r *Rays) conic(s *Surface, ratio float64) float64 { return r.plainConic(s, ratio) }

func (r *Rays) asphere(s *Surface, ratio float64) float64 { return r.plainAsphere(s, ratio) }
