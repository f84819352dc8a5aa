package bench

import (
	"math"

	"relaysweep/objective"
)

const (
	// compensated, in D and in mm, is how near the compensators come to what they
	// aim at; compensatorSteps is how often they are moved at most.
	compensated      = 1e-7
	compensatorSteps = 40
	// The steps of the differences from which the Jacobian is made, in mm and 1/mm:
	// 1e-3 D.
	gapStep      = 1e-3
	vergenceStep = 1e-6
)

// compensate sets the gaps that are on, by real rays on the axis. It reports whether
// it found a position for them.
//
// The two conditions are that a far point looks as far as in the design, and that a
// mark at the far distance is as sharp on the mask, at its far setpoint, as in the
// design. Rays start at the eye, so that the second needs to know at which vergence
// the eye sees the mark: with the last gap on at that of the far setpoint, without it
// at one that is a second unknown. Newton's steps use the Jacobian of the design.
func (b *Bench) compensate() bool {
	b.adjusted = [2]float64{}
	b.place()
	if !b.on.LastGap && !b.on.FrontGap {
		return true
	}
	var further float64
	for range compensatorSteps {
		vergence, sharp := b.alongAxis(further)
		vergence, sharp = vergence-b.nominal.vergence, sharp-b.nominal.sharpness
		if !b.on.FrontGap {
			sharp = 0
		}
		if math.Abs(vergence) <= compensated && math.Abs(sharp) <= compensated {
			return true
		}
		one := float64(b.inverse[0][0]*vergence) + float64(b.inverse[0][1]*sharp)
		two := float64(b.inverse[1][0]*vergence) + float64(b.inverse[1][1]*sharp)
		if math.IsNaN(one) || math.IsNaN(two) {
			return false
		}
		if b.on.LastGap {
			b.adjusted[0] -= one
		} else {
			further -= one
		}
		if b.on.FrontGap {
			b.adjusted[1] -= two
		}
		b.place()
	}
	return false
}

// alongAxis traces the bundle on the axis at the far depth, seen at a further vergence
// in 1/mm. It gives the world's vergence error in D, and how far towards the world
// from the first mask, at its far setpoint, the bundle is sharpest.
func (b *Bench) alongAxis(further float64) (vergence, sharp float64) {
	d, far := &b.fields[0], b.depths[0]
	if further == 0 {
		launch := d.launch.Part(0, b.points)
		b.axis.CopyFrom(&launch)
	} else {
		launch := d.launch.Part(0, b.points)
		for i := range b.points {
			// The pupil point before the combiner's shift, which the launch has in it.
			k := launch.KW[i]
			var back float64
			if b.p.CombinerMM > 0 {
				n := b.p.CombinerIndex
				back = b.p.CombinerMM * (1/math.Sqrt(float64(n*n)-1+float64(k*k)) - 1/k)
			}
			b.launch(&b.axis, i, d, launch.X[i]-float64(back*launch.KX[i]), launch.Y[i]-float64(back*launch.KY[i]), far+further)
		}
		shiftByPlate(&b.axis, b.p.CombinerMM, b.p.CombinerIndex)
	}
	b.throughAll(&b.axis, b.reference, &b.axisAt.masks, &b.axisAt.view)
	var a sums
	theta := b.theta
	a.add(&b.axisAt.masks[0], &b.axisAt.view, b.pointWeight, 1, b.maskDistance(0, 0, 0), 0, 0, far/(theta*theta), 0, 0)
	e, _ := a.fit()
	vergence, _ = power(e)
	c := a.maskVariance()
	return vergence, -c.ps / c.ss
}

// findNominal measures the design: the setpoints and centroids that builds are
// compared with, and the compensators' Jacobian.
func (b *Bench) findNominal() {
	n := &b.nominal
	zero := b.NewBuild()
	b.prepare(zero)
	b.adjusted = [2]float64{}
	b.place()
	n.theta = b.theta
	var o Outcome
	b.trace(&o)
	for k := range b.masks {
		b.findSetpoints(k)
	}
	n.vergence, n.sharpness = b.alongAxis(0)
	b.inverse = b.compensators()
}

// findSetpoints finds those of mask k in the design, and the centroids there.
func (b *Bench) findSetpoints(k int) {
	m := &b.masks[k]
	m.setpoint = make([]float64, len(b.depths))
	m.centroid = make([][2]float64, len(b.fields)*len(b.depths))
	for depth := range b.depths {
		var ps, ss float64
		for f := range b.fields {
			d := &b.fields[f]
			if d.fraction >= b.used {
				break
			}
			if c := m.blur[(f*len(b.depths)+depth)*b.places]; !math.IsInf(c.pp, 1) {
				ps += float64(d.share * c.ps)
				ss += float64(d.share * c.ss)
			}
		}
		var delta float64
		if ss > 0 {
			delta = -ps / ss
		}
		m.setpoint[depth] = b.t.Gaps[m.gap] - m.layer[depth] - delta
		for f := range b.fields {
			m.centroid[f*len(b.depths)+depth] = b.centroid(k, f, depth, delta)
		}
	}
}

// compensators is the inverse of the Jacobian of the two conditions, at the design, by
// the unknowns of [Bench.compensate].
func (b *Bench) compensators() [2][2]float64 {
	move := func(last, front, further float64) (vergence, sharp float64) {
		b.adjusted = [2]float64{last, front}
		b.place()
		return b.alongAxis(further)
	}
	slope := func(last, front, further, step float64) (vergence, sharp float64) {
		v1, s1 := move(last*step, front*step, further*step)
		v0, s0 := move(-last*step, -front*step, -further*step)
		return (v1 - v0) / (2 * step), (s1 - s0) / (2 * step)
	}
	j := objective.Matrix{A: 1, D: 1}
	if b.on.LastGap {
		j.A, j.C = slope(1, 0, 0, gapStep)
	} else if b.on.FrontGap {
		j.A, j.C = slope(0, 0, 1, vergenceStep)
	}
	if b.on.FrontGap {
		j.B, j.D = slope(0, 1, 0, gapStep)
	} else {
		j.C = 0
	}
	b.adjusted = [2]float64{}
	det := float64(j.A*j.D) - float64(j.B*j.C)
	return [2][2]float64{{j.D / det, -j.B / det}, {-j.C / det, j.A / det}}
}
