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
