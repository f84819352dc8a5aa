package raycheck

import "relaysweep/objective"

// quadrature tells with how few rays a check makes do. Where rays cross a
// plane, and in which direction, is a smooth function of pupil point and apparent
// vergence. Root-mean-square metrics integrate its square over the pupil, which a
// Gauss rule does; for vergences between those that are traced the rays
// themselves are interpolated. TestQuadrature bounds the error of both.
type quadrature struct {
	// halfArms has for each ring from the centre on how many points it has in
	// half the pupil, see gaussPupil.
	halfArms []int
	// vergences is how many apparent vergences are traced, from far to near
	// evenly; 0 traces every depth sample.
	vergences int
	// colourEnds traces other wavelengths than the reference at the far and the
	// near end only: what they differ by from it varies so little that between
	// the ends it is taken to be linear in the vergence.
	colourEnds bool
}

// leastRays is the quadrature of a check. The interpolation over vergence has an
// error in proportion to the third power of the range of slopes with which a
// point of the pupil is left, radius times range of vergences; from
// wideVergence on a fourth and fifth vergence are traced.
func leastRays(p *objective.Problem) quadrature {
	q := quadrature{halfArms: []int{2, 3, 4}, vergences: 3, colourEnds: true}
	if p.Pupil > widePupil {
		q.halfArms = []int{2, 4, 5, 6}
	}
	switch reach := p.Pupil / 2 * (p.VergenceNear - p.VergenceFar); {
	case reach > 2*wideVergence:
		q.vergences = 5
	case reach > wideVergence:
		q.vergences = 4
	}
	return q
}

// widePupil, in mm, is the diameter beyond which aberrations of higher orders ask
// for more rings and arms.
const widePupil = 6

// wideVergence is a range of slopes at the edge of the pupil: that of 5 D in a
// pupil of 4 mm.
const wideVergence = 0.01

// tracedVergences are the apparent vergences to trace for some depths, and for
// each depth the share of each in it. With more depth samples than n these are n
// over the whole range and the shares the Lagrange polynomials, otherwise the
// depths themselves.
func tracedVergences(p *objective.Problem, depths []float64, n int) (vergences []float64, share [][]float64) {
	far, near := p.VergenceFar, p.VergenceNear
	between := n > 0 && p.DepthSteps > n && far != near
	if between {
		for i := range n {
			vergences = append(vergences, far+float64((near-far)*float64(i)/float64(n-1)))
		}
		vergences[n-1] = near
	} else {
		vergences = depths
		n = len(depths)
	}
	for d, v := range depths {
		row := make([]float64, n)
		for i := range row {
			row[i] = 1
			for j := range row {
				if j != i && between {
					row[i] *= (v - vergences[j]) / (vergences[i] - vergences[j])
				}
			}
			if !between && i != d {
				row[i] = 0
			}
		}
		share = append(share, row)
	}
	return vergences, share
}

// lines are rays by where they cross a plane across the axis, in mm, and their
// slopes per unit distance towards the world. They can be added and scaled.
type lines struct{ x, y, sx, sy []float64 }

func newLines(n int) lines {
	all := make([]float64, 4*n)
	cut := func(i int) []float64 { return all[i*n : (i+1)*n : (i+1)*n] }
	return lines{cut(0), cut(1), cut(2), cut(3)}
}

func (l *lines) part(from, to int) lines {
	return lines{l.x[from:to], l.y[from:to], l.sx[from:to], l.sy[from:to]}
}

// between sets l to reference plus what rays of another wavelength differ by from
// it, a share of the way from the far to the near end.
func (l *lines) between(share float64, reference, far, referenceFar, near, referenceNear *lines) {
	one := func(to, reference, far, referenceFar, near, referenceNear []float64) {
		for i := range to {
			a, b := far[i]-referenceFar[i], near[i]-referenceNear[i]
			to[i] = reference[i] + a + float64(share*(b-a))
		}
	}
	one(l.x, reference.x, far.x, referenceFar.x, near.x, referenceNear.x)
	one(l.y, reference.y, far.y, referenceFar.y, near.y, referenceNear.y)
	one(l.sx, reference.sx, far.sx, referenceFar.sx, near.sx, referenceNear.sx)
	one(l.sy, reference.sy, far.sy, referenceFar.sy, near.sy, referenceNear.sy)
}

// mix sets l to the sum of the parts of from, two or more and each as long as l,
// by their shares.
func (l *lines) mix(from *lines, share []float64) {
	n := len(l.x)
	one := func(to, from []float64) {
		a, b := from[:len(to)], from[n:][:len(to)]
		for i := range to {
			to[i] = float64(share[0]*a[i]) + float64(share[1]*b[i])
		}
		for k := 2; k < len(share); k++ {
			q, a := share[k], from[k*n:][:len(to)]
			for i := range to {
				to[i] += float64(q * a[i])
			}
		}
	}
	one(l.x, from.x)
	one(l.y, from.y)
	one(l.sx, from.sx)
	one(l.sy, from.sy)
}
