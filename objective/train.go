package objective

import "math"

// Space is the layout and seat of a train: with the groups they make a design.
type Space struct {
	Layout Layout
	Seat   Seat
}

// Assemble puts groups into a train, world to eye, at its paraxial gaps and
// tests the requirements focal, magnification, gap and length. inner is the
// air gap inside a pair relay, ignored elsewhere. The train is afocal; its eye
// relief is still to be chosen, see [Problem.Solve].
//
// The upright layouts have Θ = +Magnification. With m = Θ·f_rear/f_front the
// relay images image 1 on image 2 at magnification -m: the distances from its
// focal points are f/m and f·m (Newton's equation), and the slope of a ray is
// scaled by f_front, m and 1/f_rear in turn to Θ.
func (p *Problem) Assemble(t *Train, inner float64) Requirement {
	front, rear := t.Groups[0], t.Groups[len(t.Groups)-1]
	t.Gaps = t.Gaps[:0]
	if !positive(front.FocalMM) || !positive(rear.FocalMM) {
		return Focal
	}
	switch t.Layout {
	case Keplerian:
		t.AngularMagnification = -front.FocalMM / rear.FocalMM
		if math.Abs(-t.AngularMagnification/p.Magnification-1) > p.MagnificationTol {
			return Magnification
		}
		t.Gaps = append(t.Gaps, front.BFDMM+rear.FFDMM)
	default:
		if t.Layout == ErectorPair && (powerless(t.Groups[1].FocalMM) || powerless(t.Groups[2].FocalMM)) {
			return Focal
		}
		relay := p.relayOf(t, inner)
		if !positive(relay.FocalMM) {
			return Focal
		}
		t.AngularMagnification = p.Magnification
		m := p.Magnification * rear.FocalMM / front.FocalMM
		t.Gaps = append(t.Gaps, front.BFDMM+relay.FocalMM/m+relay.FFDMM)
		if t.Layout == ErectorPair {
			t.Gaps = append(t.Gaps, inner)
		}
		t.Gaps = append(t.Gaps, relay.BFDMM+float64(relay.FocalMM*m)+rear.FFDMM)
	}
	for _, mask := range t.MaskGaps() {
		t.Gaps[mask] += p.MaskShift()
	}
	t.Length = rear.ThicknessMM
	failed := Met
	for i, gap := range t.Gaps {
		if !t.HoldsMask(i) && gap < p.LeastGap(t.Groups[i], t.Groups[i+1])-RoundingSlack {
			failed = GapRoom
		}
		t.Length += t.Groups[i].ThicknessMM + gap
	}
	if failed == Met && t.Length > p.LengthMax+RoundingSlack {
		failed = Length
	}
	return failed
}

func positive(f float64) bool { return f > 0 && f <= FocalMost }

// FocalMost, in mm, is the largest magnitude of the focal length of a group that
// counts as having power. The focal points of weaker ones, windows as good as all, lie
// so far off that sums with their distances lose the digits that tell trains apart.
const FocalMost = 1e6

// powerless reports whether a focal length counts as none.
func powerless(f float64) bool { return !(math.Abs(f) <= FocalMost) }

// relayOf is the relay of an upright train as one group: the pair's two groups
// at their inner gap taken together.
func (p *Problem) relayOf(t *Train, inner float64) Group {
	if t.Layout == ErectorSingle {
		return *t.Groups[1]
	}
	a, b := t.Groups[1], t.Groups[2]
	m := a.matrix.Then(Gap(inner)).Then(b.matrix)
	relay := Group{ThicknessMM: a.ThicknessMM + inner + b.ThicknessMM}
	relay.FocalMM, relay.FFDMM, relay.BFDMM = m.cardinal()
	return relay
}

// Relay is the train's relay as one group, false for a keplerian.
func (p *Problem) Relay(t *Train) (relay Group, ok bool) {
	switch t.Layout {
	case ErectorSingle:
		return *t.Groups[1], true
	case ErectorPair:
		return p.relayOf(t, t.Gaps[1]), true
	}
	return Group{}, false
}

// Solve assembles a train and judges it; when all requirements are met the
// train stands with its smallest eye relief.
func (p *Problem) Solve(t *Train, inner float64) Requirement {
	if failed := p.Assemble(t, inner); failed != Met {
		return failed
	}
	relief, failed := p.Judge(t)
	if failed == Met {
		t.EyeRelief, t.ReliefMost = relief.Lo, relief.Hi
	}
	return failed
}
