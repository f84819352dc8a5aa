package bench

import (
	"math"

	"relaysweep/objective"
)

const (
	// focalSteps is how many steps of the secant rule find the curvatures of a lens
	// with a given focal length; focalTolerance is the relative error at which they
	// end.
	focalSteps     = 20
	focalTolerance = 1e-13
)

// prepare makes the lenses of a build.
func (b *Bench) prepare(build *Build) {
	b.build = build
	for i := range b.lenses {
		b.lenses[i].make(&build.Lenses[i], b.reference)
		b.lensTurn[i] = lean(build.Lenses[i].TiltRad)
	}
	for g := range b.groupTurn {
		b.groupTurn[g] = lean(build.Groups[g].TiltRad)
	}
	n := 0
	for i := len(b.lenses) - 1; i >= 0; i-- {
		l := &b.lenses[i]
		for s := len(l.surfaces) - 1; s >= 0; s-- {
			for w := range b.ratios {
				before, after := 1.0, 1.0
				if s < len(l.dense) {
					before = l.dense[s][w]
				}
				if s > 0 {
					after = l.dense[s-1][w]
				}
				b.ratios[w][n] = before / after
			}
			out := &b.surfaces[n]
			out.curvature = -l.bent[s]
			scale := 1.0
			if l.curvature[s] != 0 {
				scale = l.bent[s] / l.curvature[s]
			}
			for k := range out.asphere {
				out.asphere[k] = -float64(scale * l.surfaces[s].Asphere[k])
			}
			n++
		}
	}
}

// make gives the lens the glass and the curvatures of a build. An error of the Abbe
// number scales the dispersion about the d line: with nd' = nd + δ and V' = V(1 + ε)
// it is n(λ) - nd times (nd' - 1)/(nd - 1)/(1 + ε), from V = (nd - 1)/(nF - nC).
func (l *lens) make(e *LensError, reference int) {
	l.length = 0
	for s, t := range l.thickness {
		l.length += t + e.ThicknessMM[s]
	}
	for g, index := range l.index {
		d := l.line[g].d
		scale := 1.0
		if e.Abbe[g] != 0 || e.Index[g] != 0 {
			scale = (d + e.Index[g] - 1) / (d - 1) / (1 + e.Abbe[g])
		}
		for w, n := range index {
			l.dense[g][w] = n
			if scale != 1 || e.Index[g] != 0 {
				l.dense[g][w] = d + e.Index[g] + float64((n-d)*scale)
			}
		}
	}
	for s, c := range l.curvature {
		l.bent[s] = c
		if e.Radius[s] != 0 {
			l.bent[s] = c / (1 + e.Radius[s])
		}
	}
	if !e.FocalSet || l.power == 0 {
		return
	}
	wanted := l.power / (1 + e.Focal)
	power := func() float64 { return -l.matrix(l.bent, l.dense, e.ThicknessMM, reference).C }
	scale := func(by float64) {
		for s := range l.bent {
			l.bent[s] *= by
		}
	}
	at, off := 1.0, power()-wanted
	next := wanted / (off + wanted)
	for range focalSteps {
		if math.Abs(off) <= focalTolerance*math.Abs(wanted) || !(next > 0.5 && next < 2) {
			return
		}
		scale(next / at)
		missed := power() - wanted
		if missed == off {
			return
		}
		at, next, off = next, next-float64(missed*(next-at)/(missed-off)), missed
	}
}

// place puts every surface where the build and the compensators have it, and finds
// what follows from the paraxial matrices.
func (b *Bench) place() {
	t, n := b.t, 0
	last := len(t.Gaps) - 1
	for i := range b.gaps {
		b.gaps[i] = t.Gaps[i] + b.build.GapsMM[i]
	}
	b.gaps[last] += b.adjusted[0]
	b.gaps[0] += b.adjusted[1]
	w := t.EyeRelief
	for g := len(t.Groups) - 1; g >= 0; g-- {
		from, to := b.groupAt[g], b.groupAt[g+1]
		var length float64
		for i := from; i < to; i++ {
			length += b.lenses[i].length
			if i < to-1 {
				length += b.lenses[i].gap + b.build.Lenses[i].GapMM
			}
		}
		seat, turn := &b.build.Groups[g].Seat, &b.groupTurn[g]
		middle := vec{seat.DecentreMM[0], seat.DecentreMM[1], w + length/2}
		local := -length / 2
		for i := to - 1; i >= from; i-- {
			l, e := &b.lenses[i], &b.build.Lenses[i]
			own := turn.then(&b.lensTurn[i])
			axis := own.axis()
			pivot := middle.add(turn.of(vec{e.DecentreMM[0], e.DecentreMM[1], local + l.length/2}))
			along := -l.length / 2
			for s := len(l.surfaces) - 1; s >= 0; s-- {
				out := &b.surfaces[n]
				out.vertex = vec{
					pivot[0] + float64(along*axis[0]), pivot[1] + float64(along*axis[1]), pivot[2] + float64(along*axis[2]),
				}
				out.axis, out.turn = axis, own
				if s > 0 {
					along += l.thickness[s-1] + e.ThicknessMM[s-1]
				}
				n++
			}
			local += l.length
			if i > from {
				local += b.lenses[i-1].gap + b.build.Lenses[i-1].GapMM
			}
		}
		w += length
		if g > 0 {
			for k := range b.masks {
				if m := &b.masks[k]; g-1 == m.gap {
					m.vertex = w
				}
			}
			w += b.gaps[g-1]
		}
	}
	b.length = w - t.EyeRelief
	b.describe()
}

// describe finds what the paraxial matrices say of the build.
func (b *Bench) describe() {
	p, t := b.p, b.t
	one := objective.Matrix{A: 1, D: 1}
	all, behind := one, [objective.MasksMost]objective.Matrix{one, one}
	then := func(m objective.Matrix) {
		all = all.Then(m)
		for k := range b.masks {
			behind[k] = behind[k].Then(m)
		}
	}
	for g := range t.Groups {
		for i := b.groupAt[g]; i < b.groupAt[g+1]; i++ {
			l, e := &b.lenses[i], &b.build.Lenses[i]
			one := l.matrix(l.bent, l.dense, e.ThicknessMM, b.reference)
			if i < b.groupAt[g+1]-1 {
				one = one.Then(objective.Gap(l.gap + e.GapMM))
			}
			then(one)
		}
		if g == len(b.gaps) {
			break
		}
		gap := b.gaps[g]
		if t.HoldsMask(g) {
			gap -= p.MaskShift()
		}
		then(objective.Gap(gap))
		for k := range b.masks {
			if b.masks[k].gap == g {
				behind[k] = one
			}
		}
	}
	then(objective.Gap(t.EyeRelief - p.CombinerShift()))
	b.theta = 1 / all.A
	b.viewpoint = b.length + t.EyeRelief - all.B/all.A
	b.steps = 0
	for k := range b.masks {
		b.masks[k].describe(b, &behind[k])
	}
}

// describe finds what the matrix from the first vertex behind a mask's gap to the eye says of it.
func (m *mask) describe(b *Bench, behind *objective.Matrix) {
	p := b.p
	for d, v := range b.depths {
		// As for [objective.Problem.PlaceMask]; the determinant of the matrix is 1, so
		// that dx/dV is 1/(C - V·A)².
		r := behind.C - float64(v*behind.A)
		x := (float64(v*behind.B) - behind.D) / r
		m.layer[d] = x + p.MaskShift()/2
		m.chief[d] = float64(behind.A*x) + behind.B
	}
	for _, v := range [...]float64{p.VergenceFar, p.VergenceNear} {
		r := behind.C - float64(v*behind.A)
		b.steps = max(b.steps, 1000*p.StageResolution*r*r)
	}
}

// maskDistance is how far from its vertex, towards the world, the layer of mask k stands
// at depth d, its zero moved by a further distance towards the eye.
func (b *Bench) maskDistance(k, d int, further float64) float64 {
	m := &b.masks[k]
	gap := m.gap
	distance := b.t.Gaps[gap] + b.build.GapsMM[gap] - m.setpoint[d] - b.build.mask(k).StageZeroMM - further
	if gap == len(b.t.Gaps)-1 {
		distance += b.adjusted[0] // the rear group moves, the mask stays
	}
	return distance
}
