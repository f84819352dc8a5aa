package objective

import "math"

// maskMotion describes how the setpoints of a mask follow from the eye's
// place. Everything behind the mask's gap acts as one group of focal length f;
// with p the eye's distance behind its rear focal point, an apparent point at
// distance d before the eye is imaged at x = K/(d - p) behind its front focal
// point, K = f² (Newton's equation: W. J. Smith, Modern Optical Engineering,
// 4th ed., 2008, Eq. 2.3), and the chief ray of unit slope stands there at
// height |a| = f·d/(d - p). In vergence V = 1/d, with w = 1 - p·V:
//
//	x = K·V/w, |a| = f/w, dx/dV = K/w².
//
// All conditions below are therefore intervals in p; the setpoint is finite
// over the whole range when w > 0 at the near end.
type maskMotion struct {
	p     *Problem
	focal float64 // magnitude
}

// lowerW is the interval of p for which 1 - p·V >= w at vergence V.
func lowerW(v, w float64) Interval {
	i := Everything
	i.clip(v, 1-w)
	return i
}

// upperW is the interval of p for which 1 - p·V <= w at vergence V.
func upperW(v, w float64) Interval {
	i := Everything
	i.clip(-v, w-1)
	return i
}

// room is the interval of p for which every setpoint x lies in [lo, hi].
func (m maskMotion) room(lo, hi float64) Interval {
	far, near := m.p.VergenceFar, m.p.VergenceNear
	k := m.focal * m.focal
	i := Interval{math.Inf(-1), math.Inf(1)}
	if near > 0 {
		i.Hi = math.Nextafter(1/near, math.Inf(-1)) // d > p
	}
	switch { // the smallest x is the far one: K·V/w >= lo
	case lo <= 0:
	case far == 0:
		return nothing
	default:
		i = i.And(upperW(far, k*far/lo))
	}
	switch { // the largest is the near one: K·V/w <= hi
	case near == 0:
		if hi < 0 {
			return nothing
		}
	case hi <= 0:
		return nothing
	default:
		i = i.And(lowerW(near, k*near/hi))
	}
	return i
}

// travel is the interval of p for which the setpoints span at most travel.
// K·(Vn - Vf) <= travel·(1 - p·Vn)(1 - p·Vf) holds, on the side d > p, up to
// the smaller root of the quadratic, written here without cancellation.
func (m maskMotion) travel(travel float64) Interval {
	far, near := m.p.VergenceFar, m.p.VergenceNear
	switch {
	case far == near:
		return Everything
	case travel <= 0:
		return nothing
	}
	c := m.focal * m.focal * (near - far) / travel
	sum := near + far
	root := 2 * (1 - c) / (sum + math.Sqrt(float64(sum*sum)-float64(4*near*far*(1-c))))
	return Interval{math.Inf(-1), root}
}

// size is the interval of p for which the field fits on the mask at every
// setpoint. |a| is monotonic in V, so the ends of the depth range decide.
func (m maskMotion) size() Interval {
	need := m.focal * max(2*m.p.TanHalfWidth/m.p.MaskWidth, 2*m.p.TanHalfHeight/m.p.MaskHeight)
	return lowerW(m.p.VergenceFar, need).And(lowerW(m.p.VergenceNear, need))
}

// pixel is the interval of p for which a pixel subtends at most arcmin.
func (m maskMotion) pixel(arcmin float64) Interval {
	if math.IsInf(arcmin, 1) {
		return Everything
	}
	need := m.focal * math.Tan(arcmin*ArcminRad) / m.p.MaskPixel
	return upperW(m.p.VergenceFar, need).And(upperW(m.p.VergenceNear, need))
}

// step is the interval of p for which the stage's resolution is at most step
// dioptres: resolution/|dx/dV| <= step, with dx/dV in mm per dioptre.
func (m maskMotion) step(step float64) Interval {
	if math.IsInf(step, 1) {
		return Everything
	}
	need := m.focal * math.Sqrt(step/(1000*m.p.StageResolution))
	return upperW(m.p.VergenceFar, need).And(upperW(m.p.VergenceNear, need))
}

// ArcminRad is one arcminute in radians.
const ArcminRad = math.Pi / (180 * 60)
