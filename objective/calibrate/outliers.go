package calibrate

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Suspect is one step of the search for outliers.
type Suspect struct {
	Index int // of the observation that was furthest off
	// R is its studentized residual, and Critical the value that one out of so many
	// exceeds with the probability of the test if none is an outlier.
	R, Critical float64
}

// Outliers are the observations that do not belong, by the generalised test of extreme
// studentized deviates (B. Rosner, Technometrics 25, 165, 1983; NIST/SEMATECH e-Handbook
// of Statistical Methods, section 1.3.5.17.3): up to most times the observation furthest
// off is taken out and the model fitted again, and the outliers are all that were taken
// out up to the last step at which R exceeds its critical value. So outliers that mask
// each other are found. Residuals are studentized internally, with which the test holds
// for a fit of any number of parameters; for a mean alone it is Rosner's.
//
// fit fits what is left, given the indices of the observations that are kept; alpha is
// the probability of a false alarm.
func Outliers(n, parameters, most int, alpha float64, fit func(kept []int) (*Fitted, error)) (outliers []int, steps []Suspect, err error) {
	kept := make([]int, n)
	for i := range kept {
		kept[i] = i
	}
	var found int
	for len(steps) < most && len(kept) > parameters+2 {
		f, err := fit(kept)
		if err != nil {
			return nil, nil, err
		}
		worst := 0
		for i, r := range f.Studentized {
			if math.Abs(r) > math.Abs(f.Studentized[worst]) {
				worst = i
			}
		}
		steps = append(steps, Suspect{kept[worst], math.Abs(f.Studentized[worst]), critical(len(kept), parameters, alpha)})
		if last := steps[len(steps)-1]; last.R > last.Critical {
			found = len(steps)
		}
		kept = append(kept[:worst:worst], kept[worst+1:]...)
	}
	for _, s := range steps[:found] {
		outliers = append(outliers, s.Index)
	}
	return outliers, steps, nil
}

// critical is the value that the largest of n internally studentized residuals exceeds
// with probability alpha: sqrt(n - p)·t/sqrt(n - p - 1 + t²), with Student's t of n - p -
// 1 degrees of freedom at 1 - alpha/(2n). For one parameter and residuals from a mean it
// is Rosner's value times sqrt(n/(n - 1)).
func critical(n, parameters int, alpha float64) float64 {
	freedom := float64(n - parameters - 1)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(1 - alpha/(2*float64(n)))
	return math.Sqrt(float64(n-parameters)) * t / math.Sqrt(freedom+t*t)
}

// some is a model of some observations of another.
type some struct {
	Model
	kept []int
	all  int
}

func (s *some) Predict(at, out []float64) {
	predicted := make([]float64, s.all)
	s.Model.Predict(at, predicted)
	for i, k := range s.kept {
		out[i] = predicted[k]
	}
}

func (s *some) Jacobian(at []float64, out *mat.Dense) {
	_, count := out.Dims()
	whole := mat.NewDense(s.all, count, nil)
	s.Model.Jacobian(at, whole)
	for i, k := range s.kept {
		out.SetRow(i, whole.RawRowView(k))
	}
}

func pick(values []float64, kept []int) []float64 {
	out := make([]float64, len(kept))
	for i, k := range kept {
		out[i] = values[k]
	}
	return out
}

// FitSome fits a model to the observations that are kept.
func FitSome(model Model, start, observed, sigma []float64, kept []int) (*Fitted, error) {
	return Fit(&some{model, kept, len(observed)}, start, pick(observed, kept), pick(sigma, kept))
}
