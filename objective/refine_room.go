package objective

import "math"

// How much shorter than at its paraxial gaps a train can be that refinement may
// reach. Write the gaps of an upright train by the relay's magnification m' and by
// how far image 2 misses the rear group's front focal point, ε (positive: the gap is
// longer):
//
//	gap 1 = BFD_front + FFD_relay + f_relay/m'
//	gap 2 = BFD_relay + FFD_rear + f_relay·m' + ε
//
// Every pair of gaps has one (m', ε). The paraxial gaps have m = Θ0·f_rear/f_front and
// ε = 0. With η = ε/f_rear² and the eye at p behind the rear focal point, a ray of a
// distant scene followed through front, relay and rear by Newton's equation gives the
// entries of the matrix to the eye
//
//	C = -ε/(f_front·f_rear·m'),  A = f_rear·(1 - p·η)/(f_front·m'),
//
// so that the scene has the size Θ = 1/A and, seen from the viewpoint, the vergence
// -A·C = A²·η/(1 - p·η). A refined train keeps |A·C| <= v and Θ within τ of Θ0. It
// follows with v_eye = v·(Θ0·(1+τ))² and P the largest |p|
//
//	|η| <= y = v_eye/(1 - v_eye·P),
//	m'/m between (1-τ)(1-P·y) and (1+τ)(1+P·y),
//	L' - L >= -f_rear²·y + f_relay·(least (m' + 1/m') of that range - m - 1/m).
//
// Nothing is neglected. A keplerian has no relay: m' = m, and only the first term. What
// a pair's inner gap can take off is found by [PairTrain.Least], which looks at every
// inner gap that leaves an eye relief at its paraxial gaps. Refinement stays among these,
// and makes no train shorter by more than pairShorterMost than it is there.

// aberrationMostD is, in dioptres, how much more vergence of a distant scene a refined train may
// have by its matrix than the limit on axis_vergence_D: that limit holds for the fit over the
// pupil, to which spherical aberration adds, and gaps make up for it. What aberration adds
// beyond this is not made up for.
const aberrationMostD = 0.95

// eyeMost is the largest v_eye·|p| of trains that are refined: eyes further from the
// rear focal point than some 200 mm are not.
const eyeMost = 0.2

// pairShorterMost, in mm, is the most that refinement takes off the length of a train with
// a pair relay at the paraxial gaps that belong to its inner gap. It bounds how long the
// trains are that can come below a limit; some mm are what there is to gain.
const pairShorterMost = 10.0

// AxisVergenceDefaultD is the limit on axis_vergence_D, in dioptres, that a
// refined train meets where the user set none: some focus error that every eye
// of normal depth of focus bears.
const AxisVergenceDefaultD = 0.25

// AxisVergenceD is the name of the limit on the vergence error of the world on the axis.
const AxisVergenceD = "axis_vergence_D"

// Refining reports whether designs are to be refined.
func (p *Problem) Refining() bool { return p.NearMissFactor > 0 }

// AxisLimitD is the limit on axis_vergence_D of a refined train, in dioptres.
func (p *Problem) AxisLimitD() float64 {
	if limit := p.Limits.Limit(AxisVergenceD); !math.IsInf(limit, 1) {
		return limit
	}
	return AxisVergenceDefaultD
}

// ResidualVergenceMax is v, in 1/mm.
func (p *Problem) ResidualVergenceMax() float64 { return (p.AxisLimitD() + aberrationMostD) / 1000 }

// refineRoom is what refinement can change with a rear group.
type refineRoom struct {
	shorter float64 // mm: f_rear²·y
	sway    float64 // m' lies between m/(1+sway) and m·(1+sway)
}

// refineRoomOf is the room with a rear group of a focal length and back focal distance.
func (p *Problem) refineRoomOf(focal, bfd float64) refineRoom {
	atEye, far, ok := p.eyeRange(bfd)
	if !ok {
		return refineRoom{}
	}
	y := atEye / (1 - atEye*far)
	return refineRoom{float64(focal * focal * y), p.swayOf(far * y)}
}

// swayOf is the sway where |p·η| is at most turn.
func (p *Problem) swayOf(turn float64) float64 {
	tolerance := p.MagnificationTol + RequirementSlack
	return max((1+tolerance)*(1+turn), 1/((1-tolerance)*(1-turn))) - 1
}

// swayMost is the largest sway with any rear group.
func (p *Problem) swayMost() float64 {
	if !p.Refining() {
		return 0
	}
	return p.swayOf(eyeMost / (1 - eyeMost))
}

// eyeRange is v_eye in 1/mm and the largest |p| in mm of a refined train whose rear
// group has a back focal distance, false when no eye relief has it near enough.
func (p *Problem) eyeRange(bfd float64) (atEye, far float64, ok bool) {
	if !p.Refining() {
		return 0, 0, false
	}
	size := p.Magnification * (1 + p.MagnificationTol + RequirementSlack)
	atEye = p.ResidualVergenceMax() * size * size
	at := p.reliefs().affine(1, -p.CombinerShift()-bfd).And(Interval{-eyeMost / atEye, eyeMost / atEye})
	if at.Empty() {
		return 0, 0, false
	}
	return atEye, max(math.Abs(at.Lo), math.Abs(at.Hi)), true
}

// reliefs are the eye reliefs that the user allows, physical.
func (p *Problem) reliefs() Interval { return Interval{p.LeastRelief(), p.ReliefMax} }

// LeastRefined is a length in mm that no refinement of a train at its paraxial gaps goes
// below. Of a pair it holds for the inner gap that the train has, see [PairTrain.Least].
func (p *Problem) LeastRefined(t *Train) float64 {
	rear := t.Groups[len(t.Groups)-1]
	room := p.refineRoomOf(rear.FocalMM, rear.BFDMM)
	least := t.Length - room.shorter
	if relay, ok := p.Relay(t); ok {
		m := p.Magnification * rear.FocalMM / t.Groups[0].FocalMM
		least -= relay.FocalMM * (kappa(m) - leastKappa(swayed(m, room.sway)))
	}
	if t.Layout == ErectorPair {
		least = max(least, t.Length-pairShorterMost)
	}
	return least
}

// kappa is κ = 2 + m + 1/m.
func kappa(m float64) float64 { return 2 + m + 1/m }

// swayed is the range of m' for an m.
func swayed(m, sway float64) Interval { return Interval{m / (1 + sway), m * (1 + sway)} }
