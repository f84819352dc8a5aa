package sweep

import "gonum.org/v1/gonum/stat/distuv"

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

// close finds the upper limits. all tells of each of the two sets of designs that were turned away,
// by third-order sums and by rays, whether all of it was drawn: then its share is known. Otherwise
// one limit of 97.5 % for each holds for both at once with 95 %, and the larger one for all.
func (a *Audit) close(thirdAll, othersAll bool) {
	third := &a.ThirdOrder
	others := AuditOfThirdOrder{Drawn: a.Drawn - third.Drawn, Passed: a.Passed - third.Passed}
	if third.Drawn > 0 {
		third.MissedShareUpper95 = upperShare(third.Passed, third.Drawn, confidence)
	}
	if third.Drawn == 0 || others.Drawn == 0 && othersAll {
		a.MissedShareUpper95 = upperShare(a.Passed, a.Drawn, confidence)
		return
	}
	each := func(s *AuditOfThirdOrder, all bool) float64 {
		if all && s.Drawn > 0 {
			return float64(s.Passed) / float64(s.Drawn)
		}
		return upperShare(s.Passed, s.Drawn, (1+confidence)/2)
	}
	a.MissedShareUpper95 = max(each(third, thirdAll), each(&others, othersAll))
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
