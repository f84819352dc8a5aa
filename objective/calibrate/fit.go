package calibrate

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Model predicts observations from parameters.
type Model interface {
	// Predict sets out to the predictions of all observations.
	Predict(at, out []float64)
	// Jacobian sets out to their derivatives: a row an observation, a column a
	// parameter.
	Jacobian(at []float64, out *mat.Dense)
}

// Fitted is the outcome of a fit.
type Fitted struct {
	Parameters []float64
	// Covariance is that of the parameters when the observations have the errors given:
	// (JᵀJ)⁻¹ with rows in units of these errors.
	Covariance *mat.SymDense
	// Residuals are observed less predicted, in the observations' unit, and Studentized
	// the same over their own standard deviations, the scatter of the fit as the error.
	Residuals, Studentized []float64
	ChiSquared             float64
	Freedom                int // observations less parameters
	// Probability is that of a chi-squared as large or larger if model and errors are
	// right; NaN without freedom.
	Probability float64
}

// StandardError is that of a parameter, for the errors as given.
func (f *Fitted) StandardError(i int) float64 { return math.Sqrt(f.Covariance.At(i, i)) }

// Scale is sqrt(chi-squared/freedom): errors as given times it are those that the scatter
// about the fit shows. NaN without freedom.
func (f *Fitted) Scale() float64 { return math.Sqrt(f.ChiSquared / float64(f.Freedom)) }

// Correlation is that of two parameters.
func (f *Fitted) Correlation(i, j int) float64 {
	return f.Covariance.At(i, j) / (f.StandardError(i) * f.StandardError(j))
}

// ErrDegenerate tells that the observations do not determine all parameters.
var ErrDegenerate = errors.New("the measurements do not determine all parameters")

// ErrDiverged tells that a fit found no least sum of squares.
var ErrDiverged = errors.New("the fit finds no least sum of squares")

const (
	// conditionMost is the condition of a Jacobian with columns of length one beyond
	// which parameters count as not determined.
	conditionMost = 1e8
	fitSteps      = 500
	// stepLeast is a step, relative to the parameters, below which a fit has ended, and
	// dampingMost the damping beyond which no step lowers the sum of squares.
	stepLeast   = 1e-13
	dampingMost = 1e20
)

// Fit minimises the sum of squares of (observed - predicted)/sigma from a start, by the
// method of K. Levenberg (Quarterly of Applied Mathematics 2, 164, 1944) and D. W.
// Marquardt (J. SIAM 11, 431, 1963), each step solved by a QR decomposition. It fails
// with ErrDegenerate or ErrDiverged; there must be as many observations as parameters.
func Fit(model Model, start, observed, sigma []float64) (*Fitted, error) {
	n, count := len(observed), len(start)
	if n < count {
		return nil, ErrDegenerate
	}
	at, next := append([]float64(nil), start...), make([]float64, count)
	residual, trial, predicted := make([]float64, n), make([]float64, n), make([]float64, n)
	square := func(at, residual []float64) float64 {
		model.Predict(at, predicted)
		var sum float64
		for i := range residual {
			residual[i] = (observed[i] - predicted[i]) / sigma[i]
			sum += float64(residual[i] * residual[i])
		}
		return sum
	}
	jacobian := mat.NewDense(n, count, nil)
	scale, augmented := make([]float64, count), mat.NewDense(n+count, count, nil)
	right, step := mat.NewVecDense(n+count, nil), mat.NewVecDense(count, nil)
	chi2, damping := square(at, residual), 1e-3
	if math.IsNaN(chi2) || math.IsInf(chi2, 0) {
		return nil, ErrDiverged
	}
	ended := false
	for range fitSteps {
		weighted(model, at, sigma, jacobian)
		for j := range scale {
			scale[j] = max(scale[j], mat.Norm(jacobian.ColView(j), 2))
			if scale[j] == 0 || math.IsNaN(scale[j]) {
				return nil, ErrDegenerate
			}
		}
		for !ended {
			augmented.Zero()
			right.Zero()
			for i := range n {
				for j := range count {
					augmented.Set(i, j, jacobian.At(i, j)/scale[j])
				}
				right.SetVec(i, residual[i])
			}
			for j := range count {
				augmented.Set(n+j, j, math.Sqrt(damping))
			}
			var qr mat.QR
			qr.Factorize(augmented)
			if err := qr.SolveVecTo(step, false, right); err != nil {
				if condition := mat.Condition(0); !errors.As(err, &condition) || math.IsInf(float64(condition), 1) {
					damping *= 10
					ended = damping > dampingMost
					continue
				}
			}
			least := true
			for j := range next {
				move := step.AtVec(j) / scale[j]
				next[j] = at[j] + move
				least = least && math.Abs(move) <= stepLeast*math.Abs(at[j])
			}
			if lower := square(next, trial); lower < chi2 {
				chi2 = lower
				copy(at, next)
				residual, trial = trial, residual
				damping = max(damping/10, 1e-18)
				ended = least
				break
			}
			damping *= 10
			ended = least || damping > dampingMost
		}
		if ended {
			break
		}
	}
	if !ended {
		return nil, ErrDiverged
	}
	return describe(model, polish(model, at, observed, sigma, square), observed, sigma)
}

// weighted sets out to the Jacobian with rows in units of the errors.
func weighted(model Model, at, sigma []float64, out *mat.Dense) {
	model.Jacobian(at, out)
	for i := range sigma {
		row := out.RawRowView(i)
		for j := range row {
			row[j] /= sigma[i]
		}
	}
}

// polish takes undamped steps as long as each is shorter than the one before: near the
// minimum the sum of squares is flat to rounding, and its gradient is not.
func polish(model Model, at, observed, sigma []float64, square func(at, residual []float64) float64) []float64 {
	n, count := len(observed), len(at)
	jacobian, residual := mat.NewDense(n, count, nil), make([]float64, n)
	last := math.Inf(1)
	for range 20 {
		square(at, residual)
		weighted(model, at, sigma, jacobian)
		scale := make([]float64, count)
		for j := range scale {
			scale[j] = mat.Norm(jacobian.ColView(j), 2)
			for i := range n {
				jacobian.Set(i, j, jacobian.At(i, j)/scale[j])
			}
		}
		var qr mat.QR
		qr.Factorize(jacobian)
		var step mat.VecDense
		if err := qr.SolveVecTo(&step, false, mat.NewVecDense(n, residual)); err != nil {
			return at
		}
		length := mat.Norm(&step, 2)
		if !(length < last) {
			return at
		}
		last = length
		next := make([]float64, count)
		for j := range next {
			next[j] = at[j] + step.AtVec(j)/scale[j]
		}
		at = next
	}
	return at
}

// describe gives a fit's errors and residuals.
func describe(model Model, at, observed, sigma []float64) (*Fitted, error) {
	n, count := len(observed), len(at)
	jacobian := mat.NewDense(n, count, nil)
	weighted(model, at, sigma, jacobian)
	covariance, leverage, err := invert(jacobian)
	if err != nil {
		return nil, err
	}
	f := &Fitted{
		Parameters: at, Covariance: covariance, Residuals: make([]float64, n), Studentized: make([]float64, n),
		Freedom: n - count, Probability: math.NaN(),
	}
	model.Predict(at, f.Residuals)
	for i, predicted := range f.Residuals {
		f.Residuals[i] = observed[i] - predicted
		r := f.Residuals[i] / sigma[i]
		f.ChiSquared += float64(r * r)
	}
	if f.Freedom > 0 {
		f.Probability = distuv.ChiSquared{K: float64(f.Freedom)}.Survival(f.ChiSquared)
	}
	for i := range f.Studentized {
		f.Studentized[i] = f.Residuals[i] / (sigma[i] * f.Scale() * math.Sqrt(1-leverage[i]))
		if !(1-leverage[i] > 1e-9) { // nothing else tells of this parameter
			f.Studentized[i] = 0
		}
	}
	return f, nil
}

// invert gives (JᵀJ)⁻¹ and the leverages, the diagonal of J(JᵀJ)⁻¹Jᵀ.
func invert(jacobian *mat.Dense) (covariance *mat.SymDense, leverage []float64, err error) {
	n, count := jacobian.Dims()
	scaled, scale := mat.DenseCopyOf(jacobian), make([]float64, count)
	for j := range scale {
		scale[j] = mat.Norm(jacobian.ColView(j), 2)
		for i := range n {
			scaled.Set(i, j, jacobian.At(i, j)/scale[j])
		}
	}
	var svd mat.SVD
	if !svd.Factorize(scaled, mat.SVDThin) || !(svd.Cond() <= conditionMost) {
		return nil, nil, ErrDegenerate
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	values := svd.Values(nil)
	covariance = mat.NewSymDense(count, nil)
	for i := range count {
		for j := i; j < count; j++ {
			var sum float64
			for k, s := range values {
				sum += v.At(i, k) * v.At(j, k) / (s * s)
			}
			covariance.SetSym(i, j, sum/(scale[i]*scale[j]))
		}
	}
	leverage = make([]float64, n)
	for i := range leverage {
		for k := range values {
			leverage[i] += u.At(i, k) * u.At(i, k)
		}
	}
	return covariance, leverage, nil
}
