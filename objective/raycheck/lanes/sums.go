package lanes

// CrossingSums are weighted sums over lines that give the variance of their crossings with
// any plane: a crossing is (px + δ·sx, py + δ·sy) at a distance δ along w from the plane
// where p was taken.
type CrossingSums struct {
	PP, PS, SS     float64 // Σ p·p, Σ p·s, Σ s·s over both coordinates
	Weight         float64
	PX, SX, PY, SY float64
}

// Of sets a to the sums over lines by where they cross the plane at a distance, in mm, from
// theirs; PY is counted from chief. Those of weight 0 don't count, whatever they are.
func (a *CrossingSums) Of(l *Lines, weight []float64, distanceMM, chiefMM float64) {
	a.of(l, weight, distanceMM, chiefMM)
}

// SlopeSums are weighted sums over lines by their positions x, y and by how much their
// slopes differ from those of lines to a point.
type SlopeSums struct {
	XX, XE, EXX float64 // Σ x·x, Σ x·ex, Σ ex·ex
	X           float64
	YY, YE, EYY float64 // likewise along y
	Y           float64
	Weight      float64
	EX, EY      float64
	_           float64 // a vector has four
}

// Of sets a to the sums over lines by how much their slopes differ from those of lines to the point
// at a vergence, in 1/mm, in the direction of slope chief along y. Those of weight 0 don't
// count, whatever they are.
func (a *SlopeSums) Of(l *Lines, weight []float64, vergence, chief float64) {
	a.of(l, weight, vergence, chief)
}
