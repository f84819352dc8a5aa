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
}

// upperShare is the upper end of a one-sided interval of 95 % confidence for a share of
// which so many were found among so many drawn (C. J. Clopper, E. S. Pearson, Biometrika 26,
// 404 (1934)): the share at which so few or fewer would be found once in twenty times.
func upperShare(found, drawn int) float64 {
	if found >= drawn {
		return 1
	}
	return distuv.Beta{Alpha: float64(found + 1), Beta: float64(drawn - found)}.Quantile(0.95)
}
