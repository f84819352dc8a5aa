package bench

import (
	"math"

	"relaysweep/objective/raycheck/lanes"
)

// halfLost is the least share of a bundle that must get through for its figures to
// mean anything: half, less the rounding of a sum of weights.
const halfLost = 0.5 - 1e-9

// sums are weighted sums over the rays of a bundle: of points p and slopes s in the
// mask's plane, and in the viewpoint plane of positions x and of deviations e of
// slopes from those of rays to the right world point.
type sums struct {
	weight             float64
	px, py, sx, sy     float64
	pp, ps, ss         float64
	x, y, ex, ey       float64
	xx, xy, yy         float64
	xex, xey, yex, yey float64
	ee                 float64
}

// add takes one bundle at one wavelength, with a weight. Points in the mask's plane
// are those at a distance from the plane of its lines, and count from (cx, cy); v is
// the world point's vergence from the viewpoint, and (ux, uy) the ideal chief slope.
func (a *sums) add(mask, view *lanes.Lines, weight []float64, by, distance, cx, cy, v, ux, uy float64) {
	n := len(weight)
	mx, my, msx, msy := mask.X[:n], mask.Y[:n], mask.SX[:n], mask.SY[:n]
	vx, vy, vsx, vsy := view.X[:n], view.Y[:n], view.SX[:n], view.SY[:n]
	for i, q := range weight {
		q *= by
		x, y := vx[i], vy[i]
		if x != x { // lost
			continue
		}
		sx, sy := msx[i], msy[i]
		px, py := mx[i]+float64(distance*sx)-cx, my[i]+float64(distance*sy)-cy
		ex, ey := vsx[i]+float64(v*x)-ux, vsy[i]+float64(v*y)-uy
		a.weight += q
		a.px += float64(q * px)
		a.py += float64(q * py)
		a.sx += float64(q * sx)
		a.sy += float64(q * sy)
		a.pp += float64(q * (float64(px*px) + float64(py*py)))
		a.ps += float64(q * (float64(px*sx) + float64(py*sy)))
		a.ss += float64(q * (float64(sx*sx) + float64(sy*sy)))
		qx, qy := q*x, q*y
		a.x += qx
		a.y += qy
		a.ex += float64(q * ex)
		a.ey += float64(q * ey)
		a.xx += float64(qx * x)
		a.xy += float64(qx * y)
		a.yy += float64(qy * y)
		a.xex += float64(qx * ex)
		a.xey += float64(qx * ey)
		a.yex += float64(qy * ex)
		a.yey += float64(qy * ey)
		a.ee += float64(q * (float64(ex*ex) + float64(ey*ey)))
	}
}

func (a *sums) lost() bool { return !(a.weight >= halfLost) }

// maskCoefficients give the two-dimensional variance of a bundle in the mask's layer
// about its centroid, pp + 2δ·ps + δ²·ss in mm², at a distance δ towards the world
// from the plane where the sums were taken. All are +Inf for a bundle that is lost.
type maskCoefficients struct{ pp, ps, ss float64 }

func (a *sums) maskVariance() maskCoefficients {
	if a.lost() {
		inf := math.Inf(1)
		return maskCoefficients{inf, inf, inf}
	}
	w := a.weight
	return maskCoefficients{
		(a.pp - float64(a.px*a.px/w) - float64(a.py*a.py/w)) / w,
		(a.ps - float64(a.px*a.sx/w) - float64(a.py*a.sy/w)) / w,
		(a.ss - float64(a.sx*a.sx/w) - float64(a.sy*a.sy/w)) / w,
	}
}

// at is the variance at a distance δ.
func (c maskCoefficients) at(delta float64) float64 {
	if math.IsInf(c.pp, 1) {
		return c.pp
	}
	return max(0, c.pp+float64(2*delta*c.ps)+float64(delta*delta*c.ss))
}

// maskMiddle is the centroid of a bundle of the pupil in the middle in the mask's
// layer, all wavelengths together, and how it moves with the distance.
type maskMiddle struct{ x, y, sx, sy float64 }

// viewVariance gives the coefficients of the two-dimensional variance of e - ρ·x
// about the centroid, ee - 2ρ·xe + ρ²·xx.
func (a *sums) viewVariance() (ee, xe, xx float64) {
	w := a.weight
	return (a.ee - float64(a.ex*a.ex/w) - float64(a.ey*a.ey/w)) / w,
		(a.xex + a.yey - float64(a.x*a.ex/w) - float64(a.y*a.ey/w)) / w,
		(a.xx + a.yy - float64(a.x*a.x/w) - float64(a.y*a.y/w)) / w
}

// fit is the least-squares fit e = u0 + E·x over the bundle: the error matrix E in
// 1/mm, which without symmetry has four elements, and u0, the slope at the middle of
// the viewpoint plane less the ideal chief slope.
func (a *sums) fit() (e [2][2]float64, u0 [2]float64) {
	if a.lost() {
		inf := math.Inf(1)
		return [2][2]float64{{inf, inf}, {inf, inf}}, [2]float64{inf, inf}
	}
	w := a.weight
	mx, my, mex, mey := a.x/w, a.y/w, a.ex/w, a.ey/w
	xx, xy, yy := a.xx/w-float64(mx*mx), a.xy/w-float64(mx*my), a.yy/w-float64(my*my)
	det := float64(xx*yy) - float64(xy*xy)
	for i, c := range [2][2]float64{
		{a.xex/w - float64(mx*mex), a.yex/w - float64(my*mex)},
		{a.xey/w - float64(mx*mey), a.yey/w - float64(my*mey)},
	} {
		e[i][0] = (float64(c[0]*yy) - float64(c[1]*xy)) / det
		e[i][1] = (float64(c[1]*xx) - float64(c[0]*xy)) / det
	}
	u0[0] = mex - float64(e[0][0]*mx) - float64(e[0][1]*my)
	u0[1] = mey - float64(e[1][0]*mx) - float64(e[1][1]*my)
	return e, u0
}

// power is the vergence error in dioptres: half the trace of E, and its cylinder
// 2·sqrt(J0² + J45²) (L. N. Thibos, W. Wheeler, D. Horner, Optom. Vis. Sci. 74, 367,
// 1997).
func power(e [2][2]float64) (defocus, cylinder float64) {
	if math.IsInf(e[0][0], 1) {
		return e[0][0], e[0][0]
	}
	return 500 * (e[0][0] + e[1][1]), 1000 * math.Hypot(e[0][0]-e[1][1], e[0][1]+e[1][0])
}
