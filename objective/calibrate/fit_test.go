package calibrate

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// table reads numbers, a row a line.
func table(t *testing.T, text string) [][]float64 {
	t.Helper()
	var rows [][]float64
	for line := range strings.FieldsSeq(text) {
		var row []float64
		for cell := range strings.SplitSeq(line, ",") {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

func column(rows [][]float64, k int) []float64 {
	var c []float64
	for _, row := range rows {
		c = append(c, row[k])
	}
	return c
}

// formula is a model y(x) with its derivatives by the parameters.
type formula struct {
	x []float64
	y func(b []float64, x float64, slope []float64) float64
}

func (f *formula) Predict(at, out []float64) {
	slope := make([]float64, len(at))
	for i, x := range f.x {
		out[i] = f.y(at, x, slope)
	}
}

func (f *formula) Jacobian(at []float64, out *mat.Dense) {
	for i, x := range f.x {
		f.y(at, x, out.RawRowView(i))
	}
}

func ones(n int) []float64 {
	return slices.Repeat([]float64{1}, n)
}

func close(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g (off by %.2g)", what, got, want, math.Abs(got/want-1))
	}
}

// TestNIST: the certified values of NIST/ITL Statistical Reference Datasets, nonlinear
// regression (Misra1a, Chwirut2, MGH17, Rat43) and linear regression (Norris), to the
// eleven digits that are certified: parameters, their standard deviations with the
// scatter of the fit as error, and the sum of squares. Correlations are not certified;
// they were computed independently at the certified optimum.
func TestNIST(t *testing.T) {
	exp := math.Exp
	for _, c := range []struct {
		name, data string
		columns    [2]int // of x and y
		y          func(b []float64, x float64, slope []float64) float64
		starts     [][]float64
		parameters []float64
		deviations []float64
		rss        float64
		correlated [][3]float64
	}{
		{
			"Misra1a", dataMisra1a, [2]int{0, 1},
			func(b []float64, x float64, s []float64) float64 {
				e := exp(-b[1] * x)
				s[0], s[1] = 1-e, b[0]*x*e
				return b[0] * (1 - e)
			},
			[][]float64{{500, 0.0001}, {250, 0.0005}},
			[]float64{2.3894212918e+02, 5.5015643181e-04}, []float64{2.7070075241, 7.2668688436e-06}, 1.2455138894e-01,
			[][3]float64{{0, 1, -0.99877619}},
		},
		{
			"Chwirut2", dataChwirut2, [2]int{0, 1},
			func(b []float64, x float64, s []float64) float64 {
				e, d := exp(-b[0]*x), b[1]+b[2]*x
				s[0], s[1], s[2] = -x*e/d, -e/d/d, -x*e/d/d
				return e / d
			},
			[][]float64{{0.1, 0.01, 0.02}, {0.15, 0.008, 0.010}},
			[]float64{1.6657666537e-01, 5.1653291286e-03, 1.2150007096e-02},
			[]float64{3.8303286810e-02, 6.6621605126e-04, 1.5304234767e-03}, 5.1304802941e+02,
			[][3]float64{{1, 0, 0.84419}, {2, 0, -0.93974}, {2, 1, -0.96201}},
		},
		{
			"MGH17", dataMGH17, [2]int{0, 1},
			func(b []float64, x float64, s []float64) float64 {
				e, g := exp(-x*b[3]), exp(-x*b[4])
				s[0], s[1], s[2], s[3], s[4] = 1, e, g, -x*b[1]*e, -x*b[2]*g
				return b[0] + b[1]*e + b[2]*g
			},
			[][]float64{{0.5, 1.5, -1, 0.01, 0.02}},
			[]float64{3.7541005211e-01, 1.9358469127, -1.4646871366, 1.2867534640e-02, 2.2122699662e-02},
			[]float64{2.0723153551e-03, 2.2031669222e-01, 2.2175707739e-01, 4.4861358114e-04, 8.9471996575e-04}, 5.4648946975e-05,
			[][3]float64{{1, 0, 0.91317}, {2, 0, -0.91523}, {2, 1, -0.9999738}, {4, 3, -0.98505}},
		},
		{
			"Rat43", dataRat43, [2]int{0, 1},
			func(b []float64, x float64, s []float64) float64 {
				e := exp(b[1] - b[2]*x)
				d := math.Pow(1+e, 1/b[3])
				s[0] = 1 / d
				s[1] = -b[0] / d * e / (1 + e) / b[3]
				s[2] = -x * s[1]
				s[3] = b[0] / d * math.Log(1+e) / (b[3] * b[3])
				return b[0] / d
			},
			[][]float64{{100, 10, 1, 1}, {700, 5, 0.75, 1.3}},
			[]float64{6.9964151270e+02, 5.2771253025, 7.5962938329e-01, 1.2792483859},
			[]float64{1.6302297817e+01, 2.0828735829, 1.9566123451e-01, 6.8761936385e-01}, 8.7864049080e+03,
			[][3]float64{{1, 0, -0.57368}, {2, 1, 0.98771}, {3, 2, 0.94390}},
		},
		{
			"Norris", dataNorris, [2]int{0, 1},
			func(b []float64, x float64, s []float64) float64 {
				s[0], s[1] = 1, x
				return b[0] + b[1]*x
			},
			[][]float64{{0.1, 0.1}},
			[]float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-03}, 26.6173985294224,
			nil,
		},
	} {
		rows := table(t, c.data)
		for _, start := range c.starts {
			y := column(rows, c.columns[1])
			f, err := Fit(&formula{column(rows, c.columns[0]), c.y}, start, y, ones(len(y)))
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			// Half of a unit of the last certified digit is at most 5e-11 of the number.
			const digits = 5e-11
			close(t, c.name+" sum of squares", f.ChiSquared, c.rss, digits)
			for i := range c.parameters {
				close(t, c.name+" parameter", f.Parameters[i], c.parameters[i], digits)
				close(t, c.name+" standard deviation", f.StandardError(i)*f.Scale(), c.deviations[i], digits)
			}
			for _, r := range c.correlated {
				close(t, c.name+" correlation", f.Correlation(int(r[0]), int(r[1])), r[2], 1e-5)
			}
		}
	}
}

// line is York's straight line with errors in both axes: the true abscissas are
// parameters too, and both coordinates of each point are observed.
type line struct{ points int }

func (l *line) Predict(at, out []float64) {
	for i := range l.points {
		out[i], out[l.points+i] = at[2+i], at[0]+at[1]*at[2+i]
	}
}

func (l *line) Jacobian(at []float64, out *mat.Dense) {
	out.Zero()
	for i := range l.points {
		out.Set(i, 2+i, 1)
		out.Set(l.points+i, 0, 1)
		out.Set(l.points+i, 1, at[2+i])
		out.Set(l.points+i, 2+i, at[1])
	}
}

// TestYork: K. Pearson's data with D. York's weights (Canadian J. Physics 44, 1079,
// 1966, Tables I and II; D. York and others, Am. J. Physics 72, 367, 2004), with errors
// as given and scaled: some programs report the one, some the other.
func TestYork(t *testing.T) {
	rows := table(t, dataYork)
	n := len(rows)
	observed := append(column(rows, 0), column(rows, 1)...)
	var sigma []float64
	for _, w := range append(column(rows, 2), column(rows, 3)...) {
		sigma = append(sigma, 1/math.Sqrt(w))
	}
	f, err := Fit(&line{n}, append([]float64{5, -0.5}, observed[:n]...), observed, sigma)
	if err != nil {
		t.Fatal(err)
	}
	close(t, "intercept", f.Parameters[0], 5.47991022403286, 1e-12)
	close(t, "slope", f.Parameters[1], -0.48053340744620, 1e-12)
	close(t, "chi-squared", f.ChiSquared, 11.86635319406, 1e-11)
	close(t, "error of the intercept", f.StandardError(0), 0.294970735493, 1e-10)
	close(t, "error of the slope", f.StandardError(1), 0.057985009001, 1e-10)
	close(t, "scale", f.Scale(), 1.217905640539, 1e-11)
	close(t, "scaled error of the intercept", f.StandardError(0)*f.Scale(), 0.359246522551, 1e-10)
	close(t, "scaled error of the slope", f.StandardError(1)*f.Scale(), 0.070620269529, 1e-10)
	if f.Freedom != 8 {
		t.Errorf("%d degrees of freedom, want 8", f.Freedom)
	}
}

// TestRosner: the 54 values of B. Rosner, Technometrics 25, 165, 1983 (NIST/SEMATECH
// e-Handbook, section 1.3.5.17.3), of which exactly three are outliers although the
// first two steps reject nothing. The handbook's statistics are from residuals over the
// standard deviation: those of this package times sqrt((n - 1)/n).
func TestRosner(t *testing.T) {
	values := column(table(t, dataRosner), 0)
	mean := &formula{make([]float64, len(values)), func(b []float64, _ float64, s []float64) float64 {
		s[0] = 1
		return b[0]
	}}
	outliers, steps, err := Outliers(len(values), 1, 10, 0.05, func(kept []int) (*Fitted, error) {
		return FitSome(mean, []float64{1}, values, ones(len(values)), kept)
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range [][3]float64{
		{3.1189, 3.1588, 6.01}, {2.9430, 3.1514, 5.42}, {3.1794, 3.1439, 5.34}, {2.8102, 3.1362, 4.64}, {2.8156, 3.1282, -0.25},
		{2.8482, 3.1201, 4.30}, {2.2793, 3.1118, 3.68}, {2.3104, 3.1032, 3.59}, {2.1016, 3.0945, 0.68}, {2.0672, 3.0854, 3.30},
	} {
		n := float64(len(values) - i)
		from := math.Sqrt((n - 1) / n)
		if got := steps[i]; math.Abs(got.R*from-want[0]) > 5.1e-5 || math.Abs(got.Critical*from-want[1]) > 5.1e-5 || values[got.Index] != want[2] {
			t.Errorf("step %d: %.4f against %.4f, %v; want %v", i+1, got.R*from, got.Critical*from, values[got.Index], want)
		}
	}
	var found []float64
	for _, i := range outliers {
		found = append(found, values[i])
	}
	if !slices.Equal(found, []float64{6.01, 5.42, 5.34}) {
		t.Errorf("outliers %v", found)
	}
}

// TestGrubbs: the critical values of F. E. Grubbs, Technometrics 11, 1, 1969, two-sided
// at 5 % (NIST/SEMATECH e-Handbook, section 1.3.5.17.1), which are those of the first
// step.
func TestGrubbs(t *testing.T) {
	for n, want := range map[int]float64{8: 2.1266, 10: 2.2900, 20: 2.7082, 30: 2.9085, 100: 3.3841} {
		got := critical(n, 1, 0.05) * math.Sqrt(float64(n-1)/float64(n))
		if math.Abs(got-want) > 5.1e-5 {
			t.Errorf("n = %d: %.4f, want %.4f", n, got, want)
		}
	}
}

// TestDegenerate: two parameters that do the same are not told apart, and fewer
// observations than parameters are refused.
func TestDegenerate(t *testing.T) {
	same := &formula{[]float64{1, 2, 3, 4}, func(b []float64, x float64, s []float64) float64 {
		s[0], s[1] = x, 2*x
		return b[0]*x + 2*b[1]*x
	}}
	y := []float64{1, 2, 3, 4.1}
	if _, err := Fit(same, []float64{0.1, 0.1}, y, ones(4)); !errors.Is(err, ErrDegenerate) {
		t.Errorf("two parameters that do the same: %v", err)
	}
	same.x = same.x[:1]
	if _, err := Fit(same, []float64{0.1, 0.1}, y[:1], ones(1)); !errors.Is(err, ErrDegenerate) {
		t.Errorf("one observation: %v", err)
	}
	nowhere := &formula{[]float64{1, 2}, func(b []float64, x float64, s []float64) float64 {
		s[0] = 1
		return math.NaN()
	}}
	if _, err := Fit(nowhere, []float64{1}, []float64{1, 2}, ones(2)); !errors.Is(err, ErrDiverged) {
		t.Errorf("a model without values: %v", err)
	}
}
