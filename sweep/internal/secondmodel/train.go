package secondmodel

import "math"

// train is the whole row of stacks with its gaps.
type train struct {
	r      Request
	layout string
	seat   string
	stacks []stack
	// air are the gaps between the stacks, vertex to vertex, as if nothing but
	// air stood in them; gaps are the same as they are built, the glass of masks
	// included.
	air, gaps []float64
	maskGaps  []int // the gaps that hold masks, of two the one nearer to the eye first
	theta     float64
}

func (t *train) rear() stack { return t.stacks[len(t.stacks)-1] }

// place sets the gap between the stacks i and i+1.
func (t *train) place(i int, air float64) {
	t.air[i] = air
	t.gaps[i] = air
	if t.holdsMask(i) {
		t.gaps[i] += t.r.maskShift()
	}
}

// holdsMask reports whether a mask stands in a gap.
func (t *train) holdsMask(gap int) bool {
	for _, g := range t.maskGaps {
		if g == gap {
			return true
		}
	}
	return false
}

// newTrain puts the stacks where the afocal condition and the magnification
// want them. inner is the air gap inside a pair relay. It answers false where
// a group that must be positive is not.
func newTrain(r Request, layout, seat string, stacks []stack, inner float64) (*train, bool) {
	n := len(stacks)
	t := &train{r: r, layout: layout, seat: seat, stacks: stacks, air: make([]float64, n-1), gaps: make([]float64, n-1)}
	switch seat {
	case "front":
		t.maskGaps = []int{0}
	case "both":
		t.maskGaps = []int{n - 2, 0}
	default:
		t.maskGaps = []int{n - 2}
	}
	front, rear := stacks[0].m, stacks[n-1].m
	// No group may be without power, which is what a focal length beyond 10^6 mm
	// counts as.
	for _, s := range stacks {
		if math.Abs(s.m.c) < 1e-6 {
			return t, false
		}
	}
	if !(front.c < 0 && rear.c < 0) {
		return t, false
	}
	if layout == "keplerian" {
		t.theta = -front.f() / rear.f()
		t.place(0, front.bfd()+rear.ffd())
		return t, true
	}
	t.theta = r.Magnification
	relay := t.relayMatrix(inner)
	if !(relay.c <= -1e-6) {
		return t, false
	}
	if layout == "erector-pair" {
		t.place(1, inner)
	}
	// The front group's image has to be imaged by the relay with the
	// transverse magnification -m. From an object at the distance o before the
	// relay's first vertex the matrix to a plane at the distance i behind its
	// last one is T(i)·relay·T(o): its lower right element is 1/(-m), its upper
	// right one vanishes.
	m := t.theta * rear.f() / front.f()
	o := (-1/m - relay.d) / relay.c
	through := relay.times(translation(o, 1))
	i := -through.b / through.d
	t.place(0, front.bfd()+o)
	t.place(n-2, i+rear.ffd())
	return t, true
}

// relayMatrix is the relay's, from its first to its last vertex.
func (t *train) relayMatrix(inner float64) matrix {
	if t.layout == "erector-pair" {
		return t.stacks[2].m.times(translation(inner, 1)).times(t.stacks[1].m)
	}
	return t.stacks[1].m
}

// length is from the first to the last vertex.
func (t *train) length() float64 {
	sum := 0.0
	for _, s := range t.stacks {
		sum += s.t
	}
	for _, g := range t.gaps {
		sum += g
	}
	return sum
}

// airRelief is the air path that is equivalent to the eye relief e.
func (t *train) airRelief(e float64) float64 { return e - t.r.combinerShift() }

// view is a surface with the matrix from just before it to the eye.
type view struct {
	face
	m matrix
}

// views are all surfaces, world side first, with their matrices to the eye at
// the relief e; and for each mask the matrix to the eye from the plane of the last vertex
// before it, seen through its gap as if it held air alone.
func (t *train) views(e float64) (all []view, masks []matrix) {
	masks = make([]matrix, len(t.maskGaps))
	all = make([]view, 0, 8*len(t.stacks))
	m := translation(t.airRelief(e), 1)
	for i := len(t.stacks) - 1; i >= 0; i-- {
		faces := t.stacks[i].faces
		for j := len(faces) - 1; j >= 0; j-- {
			f := faces[j]
			if j < len(faces)-1 {
				m = m.times(translation(faces[j+1].z-f.z, f.after))
			}
			m = m.times(refraction(f.surface.Curvature(), f.before, f.after))
			all = append(all, view{f, m})
		}
		if i > 0 {
			m = m.times(translation(t.air[i-1], 1))
			for k, g := range t.maskGaps {
				if i-1 == g {
					masks[k] = m
				}
			}
		}
	}
	for i, j := 0, len(all)-1; i < j; i, j = i+1, j-1 {
		all[i], all[j] = all[j], all[i]
	}
	return all, masks
}

// chief is the height at the start of m of the ray that reaches the eye's
// centre with slope 1.
func (m matrix) chief() float64 { return -m.b }

// edge is the height at the start of m of the ray that reaches height 1 at
// the eye from the axial point at vergence v: it arrives with slope v.
func (m matrix) edge(v float64) float64 { return m.d - m.b*v }

// setpoint is where in the mask's gap the mask appears at vergence v: the
// distance of its layer from the last vertex before it, the mask's glass
// around it, and the chief height per unit slope there.
func (t *train) setpoint(mask matrix, v float64) (position, chief float64) {
	// A ray of unit slope from an axial point of the gap at x arrives at the
	// eye with height and slope that are linear in x; it seems to come from
	// vergence v when slope = v·height.
	miss := func(x float64) float64 {
		m := mask.times(translation(-x, 1))
		return v*m.b - m.d
	}
	at0 := miss(0)
	x := -at0 / (miss(1) - at0)
	return x + t.r.maskShift()/2, t.chiefAt(mask, x+t.r.maskShift()/2)
}

// chiefAt is the chief height per unit slope in a layer at a position.
func (t *train) chiefAt(mask matrix, position float64) float64 {
	return mask.times(translation(-(position - t.r.maskShift()/2), 1)).chief()
}

// maskRoom are the ends of the positions that keep the glass of the k-th mask clear of
// the surfaces on both sides.
func (t *train) maskRoom(k int) (lo, hi float64) {
	keep, g := t.r.ClearanceMM+t.r.MaskGlassMM/2, t.maskGaps[k]
	lo = t.stacks[g].maxLast + keep
	hi = t.gaps[g] + t.stacks[g+1].minFirst - keep
	return lo, hi
}

// viewpointShift is from the viewpoint to the eye at relief e.
func (t *train) viewpointShift(e float64) float64 {
	all, _ := t.views(e)
	m := all[0].m
	return t.length() + e - m.b/m.a
}

// fieldMax is the largest full angle in radians that every clear aperture
// passes together with the full pupil and box.
func (t *train) fieldMax(e float64) float64 {
	all, _ := t.views(e)
	least := math.Inf(1)
	for _, s := range all {
		edge := math.Max(math.Abs(s.m.edge(t.r.far())), math.Abs(s.m.edge(t.r.near())))
		least = math.Min(least, (s.clear-t.r.reach()*edge)/math.Abs(s.m.chief()))
	}
	return 2 * math.Atan(math.Max(0, least))
}
