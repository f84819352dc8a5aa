package sweep

import (
	"math"
	"math/big"

	"gonum.org/v1/gonum/stat/distuv"
)

// Audit is what came of refining designs that the screen turned away, drawn at random.
type Audit struct {
	Drawn  int
	Passed int // of these, once refined
	// MissedShareUpper95 is the upper limit of the share that would pass of all that the
	// screen turned away up to the last listed length, at 95 % confidence, one-sided; 1 where
	// nothing was drawn.
	MissedShareUpper95 float64
	// ThirdOrder is the part of it that was drawn from what third-order sums turned away.
	ThirdOrder AuditOfThirdOrder
}

// AuditOfThirdOrder is what came of refining designs that third-order sums turned away.
type AuditOfThirdOrder struct {
	Drawn, Passed      int
	MissedShareUpper95 float64 // of these alone, as of an [Audit]
}

// close finds the upper limits. Where designs were drawn from what third-order sums turned away
// and from what rays did, one limit of 97.5 % for each holds for both at once with 95 %; together
// they are weighted by how many designs either turned away.
func (a *Audit) close(proof *Proof, byRays map[string]*big.Int) {
	third, rest := a.ThirdOrder, Audit{Drawn: a.Drawn - a.ThirdOrder.Drawn, Passed: a.Passed - a.ThirdOrder.Passed}
	a.ThirdOrder.MissedShareUpper95 = upperShare(third.Passed, third.Drawn, confidence)
	thirds, others := 0.0, 0.0
	if n := proof.SetAside[byThirdOrder]; n != nil {
		thirds, _ = n.Float64()
	}
	for _, n := range byRays {
		x, _ := n.Float64()
		others += x
	}
	switch {
	case thirds == 0 || others == 0:
		a.MissedShareUpper95 = upperShare(a.Passed, a.Drawn, confidence)
	default:
		each := (1 + confidence) / 2
		a.MissedShareUpper95 = math.Min(1, (float64(thirds*upperShare(third.Passed, third.Drawn, each))+
			float64(others*upperShare(rest.Passed, rest.Drawn, each)))/(thirds+others))
	}
}

// confidence is that of the limits.
const confidence = 0.95

// upperShare is the upper end of a one-sided interval of a confidence for a share of
// which so many were found among so many drawn (C. J. Clopper, E. S. Pearson, Biometrika 26,
// 404 (1934)): the share at which so few or fewer would be found once in twenty times, at 95 %.
func upperShare(found, drawn int, confidence float64) float64 {
	if found >= drawn {
		return 1
	}
	return distuv.Beta{Alpha: float64(found + 1), Beta: float64(drawn - found)}.Quantile(confidence)
}
