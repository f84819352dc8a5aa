package bench

import "math"

type vec [3]float64

func (a vec) add(b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// rotation is a matrix by rows; it takes directions of a frame to those of the
// bench.
type rotation [3]vec

var upright = rotation{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}

// lean is the rotation that takes the axis w to the direction in which it leans by
// lean[0] towards x and lean[1] towards y: by the angle θ = hypot(lean) about the axis
// across that direction (O. Rodrigues' formula, see H. Goldstein, Classical
// Mechanics, 2nd ed., 1980, section 4-7).
func lean(by [2]float64) rotation {
	theta := math.Hypot(by[0], by[1])
	if theta == 0 {
		return upright
	}
	x, y := by[0]/theta, by[1]/theta
	sin, cos := math.Sincos(theta)
	half := math.Sin(theta / 2)
	v := 2 * half * half // 1 - cos θ
	return rotation{
		{1 - float64(v*x*x), -float64(v * x * y), sin * x},
		{-float64(v * x * y), 1 - float64(v*y*y), sin * y},
		{-sin * x, -sin * y, cos},
	}
}

// of takes a direction of the frame to the bench.
func (r *rotation) of(a vec) vec {
	var b vec
	for i := range b {
		b[i] = float64(r[i][0]*a[0]) + float64(r[i][1]*a[1]) + float64(r[i][2]*a[2])
	}
	return b
}

// into takes a direction of the bench to the frame.
func (r *rotation) into(a vec) vec {
	var b vec
	for i := range b {
		b[i] = float64(r[0][i]*a[0]) + float64(r[1][i]*a[1]) + float64(r[2][i]*a[2])
	}
	return b
}

// axis is the direction of the frame's own axis.
func (r *rotation) axis() vec { return vec{r[0][2], r[1][2], r[2][2]} }

// then is the rotation of a frame that stands with q in one that stands with r.
func (r *rotation) then(q *rotation) rotation {
	var p rotation
	for j := range p {
		column := r.of(vec{q[0][j], q[1][j], q[2][j]})
		for i := range p {
			p[i][j] = column[i]
		}
	}
	return p
}
