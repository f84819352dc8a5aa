package lanes

import (
	"os"

	"golang.org/x/sys/cpu"
)

//go:generate go run -C gen .

// width is the number of rays that go together.
const width = 4

// wide reports whether rays go four at a time.
var wide = cpu.X86.HasAVX2 && os.Getenv("RELAYSWEEP_PLAIN") != "1"

// termsMost is the largest number of polynomial terms that rays go four at a time with.
const termsMost = 16

func (r *Rays) flat(distance, ratio float64) (margin float64) {
	n := len(r.X)
	if !wide || n == 0 {
		return r.plainFlat(distance, ratio)
	}
	x, y, w, kx, ky, kw, per := r.arrays()
	return flatAVX2(x, y, w, kx, ky, kw, per, n, distance, ratio)
}

func (r *Rays) sphere(distance, curvature, ratio float64) (margin float64) {
	n := len(r.X)
	if !wide || n == 0 {
		return r.plainSphere(distance, curvature, ratio)
	}
	x, y, w, kx, ky, kw, per := r.arrays()
	return sphereAVX2(x, y, w, kx, ky, kw, per, n, distance, curvature, ratio)
}

func (r *Rays) tilted(s *Tilted, ratio float64) {
	n := len(r.X)
	if !wide || n == 0 {
		r.plainTilted(s, ratio)
		return
	}
	x, y, w, kx, ky, kw, per := r.arrays()
	tiltedAVX2(x, y, w, kx, ky, kw, per, n,
		s.Vertex[0], s.Vertex[1], s.Vertex[2], s.Axis[0], s.Axis[1], s.Axis[2], s.Curvature, ratio)
}

func (r *Rays) conic(s *Surface, ratio float64) (margin float64) {
	n := len(r.X)
	if !wide || n == 0 {
		return r.plainConic(s, ratio)
	}
	x, y, w, kx, ky, kw, per := r.arrays()
	return conicAVX2(x, y, w, kx, ky, kw, per, n, s.DistanceMM, s.Curvature, s.Conic, ratio)
}

// asphere goes on by plain code where a ray needs care, for the vector that it is in.
func (r *Rays) asphere(s *Surface, ratio float64) (margin float64) {
	if !wide || len(s.Asphere) > termsMost {
		return r.plainAsphere(s, ratio)
	}
	var powers [termsMost + 1][2]float64
	for i, a := range s.Asphere {
		powers[i] = [2]float64{a, float64(2*(i+2)) * a}
	}
	margin = 1
	rest := *r
	for n := len(rest.X); n > 0; n = len(rest.X) {
		x, y, w, kx, ky, kw, per := rest.arrays()
		next, among := asphereAVX2(x, y, w, kx, ky, kw, per, n,
			s.DistanceMM, s.Curvature, s.Conic, ratio, &powers[0], &powers[len(s.Asphere)])
		margin = min(margin, among)
		if next == n {
			return margin
		}
		care := rest.Part(next, min(next+width, n))
		margin = min(margin, care.plainAsphere(s, ratio))
		rest = rest.Part(min(next+width, n), n)
	}
	return margin
}

func (r *Rays) facets(s *Surface, ratio float64) (margin float64) {
	n := len(r.X)
	if !wide || n == 0 || len(s.Asphere) > termsMost {
		return r.plainFacets(s, ratio)
	}
	var powers [termsMost + 1][2]float64
	for i, a := range s.Asphere {
		powers[i] = [2]float64{a, float64(2*(i+2)) * a}
	}
	x, y, w, kx, ky, kw, per := r.arrays()
	return facetsAVX2(x, y, w, kx, ky, kw, per, n, s.DistanceMM, s.Curvature, s.Conic, ratio, &powers[0], &powers[len(s.Asphere)])
}

func (r *Rays) launch(px, py []float64, tan, v float64) {
	n := len(px)
	if !wide || n < width {
		r.plainLaunch(px, py, tan, v)
		return
	}
	part := r.Part(0, n)
	x, y, w, kx, ky, kw, per := part.arrays()
	launchAVX2(&px[0], &py[:n][0], x, y, w, kx, ky, kw, per, n, tan, v)
}

func throughPlate(x, y []float64, r *Rays, thickness, index float64) {
	n := len(x)
	if !wide || n < width {
		plainPlate(x, y, r, thickness, index)
		return
	}
	plateAVX2(&x[0], &y[:n][0], &r.KX[:n][0], &r.KY[:n][0], &r.KW[:n][0], n, thickness, index)
}

func (r *Rays) overfill(over []float64, scale float64) {
	n := len(over)
	if !wide || n < width {
		r.plainOverfill(over, scale)
		return
	}
	overfillAVX2(&over[0], &r.X[:n][0], &r.Y[:n][0], n, scale)
}

func (l *Lines) cross(r *Rays, distance float64) {
	n := len(l.X)
	if !wide || n == 0 {
		l.plainCross(r, distance)
		return
	}
	x, y, sx, sy := l.arrays(n)
	all := whole(n)
	crossAVX2(x, y, sx, sy, &r.X[:all][0], &r.Y[:all][0], &r.W[:all][0], &r.KX[:all][0], &r.KY[:all][0], &r.Per[:all][0], n, distance)
}

func between(to, reference, far, referenceFar, near, referenceNear []float64, share float64) {
	n := len(to)
	if !wide || n == 0 {
		plainBetween(to, reference, far, referenceFar, near, referenceNear, share)
		return
	}
	all := whole(n)
	betweenAVX2(&to[:all][0], &reference[:all][0], &far[:all][0], &referenceFar[:all][0], &near[:all][0], &referenceNear[:all][0], n, share)
}

func mix(to, from, share []float64) {
	n := len(to)
	if !wide || n == 0 {
		plainMix(to, from, share)
		return
	}
	all := whole(n)
	mixAVX2(&to[:all][0], &from[:n*(len(share)-1)+all][0], n, &share[0], len(share))
}

func (a *CrossingSums) of(l *Lines, weight []float64, distance, chief float64) {
	n := len(weight)
	if !wide || n == 0 || cap(weight) < whole(n) {
		*a = l.plainCrossingSums(weight, distance, chief)
		return
	}
	x, y, sx, sy := l.arrays(n)
	crossingSumsAVX2(x, y, sx, sy, &weight[0], n, distance, chief, &a.PP)
}

func (a *SlopeSums) of(l *Lines, weight []float64, vergence, chief float64) {
	n := len(weight)
	if !wide || n == 0 || cap(weight) < whole(n) {
		*a = l.plainSlopeSums(weight, vergence, chief)
		return
	}
	x, y, sx, sy := l.arrays(n)
	slopeSumsAVX2(x, y, sx, sy, &weight[0], n, vergence, chief, &a.XX)
}

// whole is n, up to whole vectors.
func whole(n int) int { return (n + spare) / width * width }

// arrays is where the arrays of rays begin, which have room for whole vectors.
func (r *Rays) arrays() (x, y, w, kx, ky, kw, per *float64) {
	n := whole(len(r.X))
	return &r.X[:n][0], &r.Y[:n][0], &r.W[:n][0], &r.KX[:n][0], &r.KY[:n][0], &r.KW[:n][0], &r.Per[:n][0]
}

// arrays is where the arrays of n lines begin, likewise.
func (l *Lines) arrays(n int) (x, y, sx, sy *float64) {
	n = whole(n)
	return &l.X[:n][0], &l.Y[:n][0], &l.SX[:n][0], &l.SY[:n][0]
}
