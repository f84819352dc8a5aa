package calibrate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Spread is how trains of one design scatter as they are built, as standard deviations.
type Spread struct {
	FocalShare float64 // of the focal length of each group, relative
	GapMM      float64 // of the gaps between groups
}

// Scatter gives the standard deviations with which the fitted parameters of trains built by a
// spread scatter about the design's, for measurements without errors. The focal length of the rear
// group scatters by its own share, and the eye by the 3 mm to which one can be placed (common
// practice). What the other groups and the gaps change of the readings appears in these parameters
// as well, as the fit has no others: to first order by (JᵀWJ)⁻¹JᵀW, J the derivatives of the
// readings and W the weights of the measurements. Parameters that are held have 0. The zero is
// wherever the stage was mounted, and has infinity.
func (s *Stage) Scatter(measured []Measurement, free []int, of Spread) [parameterCount]float64 {
	var squares [parameterCount]float64
	own := [parameterCount]float64{Zero: math.Inf(1), RearFocal: of.FocalShare * math.Abs(s.focal), Eye: knownEye}
	for _, k := range free {
		squares[k] = own[k] * own[k]
	}
	model := s.model(measured, free)
	slopes, design := s.slopes(s.Design(), model.at), s.Readings(s.Design(), model.at)
	information := mat.NewSymDense(len(free), nil)
	for i, m := range measured {
		g := slopes[model.of[i]]
		for a := range free {
			for b := a; b < len(free); b++ {
				information.SetSym(a, b, information.At(a, b)+g[free[a]]*g[free[b]]/(m.SigmaMM*m.SigmaMM))
			}
		}
	}
	var factors mat.Cholesky
	determined := factors.Factorize(information)
	// add takes in what a step of one standard deviation changes.
	add := func(group int, share float64, gap int, gapMM float64) {
		gaps := slices.Clone(s.t.Gaps)
		if gap >= 0 {
			gaps[gap] += gapMM
		}
		built := NewStage(s.p, s.varied(group, s.t.Groups[group].FocalMM*(1+share), gaps, 0), s.mask)
		readings := built.Readings(built.Design(), model.at)
		right, shift := mat.NewVecDense(len(free), nil), mat.NewVecDense(len(free), nil)
		for i, m := range measured {
			k := model.of[i]
			for a := range free {
				right.SetVec(a, right.AtVec(a)+slopes[k][free[a]]*(readings[k]-design[k])/(m.SigmaMM*m.SigmaMM))
			}
		}
		if err := factors.SolveVecTo(shift, right); err != nil || math.IsNaN(mat.Norm(shift, 2)) {
			return // where the mask has no setpoint this scatter is not known
		}
		for a, k := range free {
			squares[k] += shift.AtVec(a) * shift.AtVec(a)
		}
	}
	if last := len(s.t.Groups) - 1; determined {
		for g := range last {
			add(g, of.FocalShare, -1, 0)
			add(last, 0, g, of.GapMM)
		}
	}
	for k := range squares {
		squares[k] = math.Sqrt(squares[k])
	}
	return squares
}

// slopeStep is the step of differences over vergences in dioptres.
const slopeStep = 0.01

// Slopes are by how many mm the readings change with a dioptre of vergence, within the range of the
// design.
func (s *Stage) Slopes(parameters, vergencesD []float64) []float64 {
	var ends []float64
	for _, v := range vergencesD {
		ends = append(ends, max(v-slopeStep, s.FarD), min(v+slopeStep, s.NearD))
	}
	readings, slopes := s.Readings(parameters, ends), make([]float64, len(vergencesD))
	for i := range slopes {
		slopes[i] = (readings[2*i+1] - readings[2*i]) / (ends[2*i+1] - ends[2*i])
	}
	return slopes
}
