package lanes

// Lines are rays by where they cross a plane across the axis, in mm, and their slopes
// per unit distance along w. They can be added and scaled. They are made by NewLines: the
// arrays have some room behind their end.
type Lines struct{ X, Y, SX, SY []float64 }

// NewLines makes n lines.
func NewLines(n int) Lines {
	room := n + spare
	all := make([]float64, 4*room)
	cut := func(i int) []float64 { return all[i*room:][:n:room] }
	return Lines{cut(0), cut(1), cut(2), cut(3)}
}

// Part is the lines from and up to but not including to.
func (l *Lines) Part(from, to int) Lines {
	return Lines{l.X[from:to], l.Y[from:to], l.SX[from:to], l.SY[from:to]}
}

// Cross sets l to where rays cross the plane at a distance in mm from the vertex of the
// surface that they met last.
func (l *Lines) Cross(r *Rays, distanceMM float64) { l.cross(r, distanceMM) }

// ThroughPlate moves lines sideways as a plane plate does with the rays that they are
// taken from, see [Rays.ThroughPlate].
func (l *Lines) ThroughPlate(r *Rays, thicknessMM, index float64) {
	throughPlate(l.X, l.Y, r, thicknessMM, index)
}

// Between sets l to reference plus what rays of another wavelength differ by from it,
// a share of the way from the far to the near end.
func (l *Lines) Between(share float64, reference, far, referenceFar, near, referenceNear *Lines) {
	between(l.X, reference.X, far.X, referenceFar.X, near.X, referenceNear.X, share)
	between(l.Y, reference.Y, far.Y, referenceFar.Y, near.Y, referenceNear.Y, share)
	between(l.SX, reference.SX, far.SX, referenceFar.SX, near.SX, referenceNear.SX, share)
	between(l.SY, reference.SY, far.SY, referenceFar.SY, near.SY, referenceNear.SY, share)
}

// Mix sets l to the sum of the parts of from, each as long as l, by their shares.
func (l *Lines) Mix(from *Lines, share []float64) {
	mix(l.X, from.X, share)
	mix(l.Y, from.Y, share)
	mix(l.SX, from.SX, share)
	mix(l.SY, from.SY, share)
}
