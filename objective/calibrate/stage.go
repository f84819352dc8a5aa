package calibrate

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// The parameters of a stage, in the order in which fits hold them.
const (
	// Zero is the reading of the stage in mm at which the far depth is sharp: 0 in the
	// stage table of a design.
	Zero = iota
	// RearFocal is the effective focal length of the rear group in mm.
	RearFocal
	// Eye is by how many mm the eye stands further behind the train than in the design.
	Eye
	parameterCount
)

// ParameterNames are the names of the parameters, with their unit.
var ParameterNames = [parameterCount]string{"zero_mm", "f_rear_mm", "eye_mm"}

// Stage predicts readings of the stage for a train whose rear group and eye are not quite
// those of its design. It reuses its buffers: each goroutine needs its own.
type Stage struct {
	p    *objective.Problem
	t    *objective.Train
	mask int // in the order of [objective.Train.MaskGaps]
	// FarD and NearD are the ends of the depth range, in dioptres.
	FarD, NearD float64
	focal       float64 // of the design's rear group

	// The checker of the vergences asked for last: a fit asks for the same again.
	at      []float64
	checker *raycheck.Checker
}

// manyDepths is a number of depth samples beyond which the ray check interpolates.
const manyDepths = 100

// NewStage prepares predictions for the stage of one of a train's masks, by its place in the
// order of [objective.Train.MaskGaps].
func NewStage(p *objective.Problem, t *objective.Train, mask int) *Stage {
	own := *p
	// However many depths are asked for, the same vergences over the range are traced, and
	// rays interpolated between them; limits play no part in a setpoint.
	own.DepthSteps = manyDepths
	own.Limits = objective.Limits{FieldFraction: p.Limits.FieldFraction}
	return &Stage{
		p: &own, t: t, mask: mask, FarD: 1000 * p.VergenceFar, NearD: 1000 * p.VergenceNear, focal: t.Groups[len(t.Groups)-1].FocalMM,
	}
}

// Design are the parameters of the design.
func (s *Stage) Design() []float64 { return []float64{0, s.focal, 0} }

// Readings are the stage's readings in mm, positive towards the eye, at which apparent
// vergences in dioptres are sharp: exact setpoints by rays, from that of the far depth
// on. The vergences have to lie within the design's range. The rear group's curvatures are
// scaled by the factor that gives it its focal length. Readings are NaN where the mask has
// no setpoint.
func (s *Stage) Readings(parameters, vergencesD []float64) []float64 {
	at := s.traced(vergencesD)
	if !slices.Equal(at, s.at) {
		own := *s.p
		own.SharpBox = 0 // displaced pupils play no part in a setpoint
		s.at, s.checker = at, raycheck.NewCheckerAt(&own, at)
	}
	out := make([]float64, len(vergencesD))
	for i, p := range s.setpoints(s.checker, parameters) {
		out[i] = p.StageMM
	}
	return out
}

// Setpoint is where the mask stands for one depth, and the stage's reading there.
type Setpoint struct {
	raycheck.Setpoint
	StageMM float64
}

// Setpoints are those of [Stage.Readings], with what blur remains there.
func (s *Stage) Setpoints(parameters, vergencesD []float64) []Setpoint {
	return s.setpoints(raycheck.NewCheckerAt(s.p, s.traced(vergencesD)), parameters)
}

// traced are the far depth and vergences in dioptres, in 1/mm.
func (s *Stage) traced(vergencesD []float64) []float64 {
	at := append([]float64{s.FarD / 1000}, vergencesD...)
	for i := range at[1:] {
		at[1+i] /= 1000
	}
	return at
}

// setpoints are those of a checker's depths but for the first, the far one.
func (s *Stage) setpoints(by *raycheck.Checker, parameters []float64) []Setpoint {
	found := by.MeasureLimited(s.changed(parameters[RearFocal], parameters[Eye])).Mask(s.mask).Setpoints
	out := make([]Setpoint, len(found)-1)
	for i := range out {
		out[i] = Setpoint{found[1+i], parameters[Zero] + found[1+i].MaskMM - found[0].MaskMM}
	}
	return out
}

// Viewpoint is the distance from the viewpoint to the eye in mm, in the paraxial model.
func (s *Stage) Viewpoint(parameters []float64) float64 {
	return s.p.ViewpointShift(s.changed(parameters[RearFocal], parameters[Eye]))
}

// changed is the train with another focal length of its rear group and the eye elsewhere.
func (s *Stage) changed(focal, eye float64) *objective.Train {
	return s.varied(len(s.t.Groups)-1, focal, s.t.Gaps, eye)
}

// varied is the train with another focal length of one group, other gaps between groups and
// the eye elsewhere.
func (s *Stage) varied(of int, focal float64, between []float64, eye float64) *objective.Train {
	t := s.t
	elements, gaps := make([][]*objective.Element, len(t.Groups)), make([][]float64, len(t.Groups))
	for g, group := range t.Groups {
		elements[g], gaps[g] = group.Elements, group.GapsMM
	}
	with := func(curvature float64) *objective.Train {
		if curvature != 1 {
			elements[of] = nil
			for _, e := range t.Groups[of].Elements {
				elements[of] = append(elements[of], bent(s.p, e, curvature))
			}
		}
		return s.p.TrainAt(objective.Space{Layout: t.Layout, Seat: t.Seat}, elements, gaps, slices.Clone(between), t.EyeRelief+eye)
	}
	train, curvature := with(1), 1.0
	if focal == t.Groups[of].FocalMM {
		return train
	}
	// A thin group's focal length goes with the reciprocal of its curvatures; thickness
	// changes that little, so that a few steps reach rounding.
	for range 30 {
		f := train.Groups[of].FocalMM
		if math.Abs(f/focal-1) < 1e-14 || !(f/focal > 0) {
			break
		}
		curvature *= f / focal
		train = with(curvature)
	}
	return train
}

// bent is an element with its curvatures, and its polynomial terms, scaled.
func bent(p *objective.Problem, e *objective.Element, scale float64) *objective.Element {
	l := *e.Lens
	l.Surfaces = nil
	for _, s := range e.Lens.Surfaces {
		b := catalog.Surface{RadiusMM: s.RadiusMM / scale, Conic: s.Conic, PitchMM: s.PitchMM, DraftDeg: s.DraftDeg}
		for _, a := range s.Asphere {
			b.Asphere = append(b.Asphere, a*scale)
		}
		l.Surfaces = append(l.Surfaces, b)
	}
	return objective.NewLibrary(p, []*catalog.Lens{&l}).ElementOf(l.Part, e.Reversed)
}

// Measurement is one setpoint found on the bench.
type Measurement struct {
	VergenceD float64 // apparent
	StageMM   float64 // reading, positive towards the eye
	SigmaMM   float64 // standard error of the reading
}

// stageModel predicts measurements from the parameters that are free.
type stageModel struct {
	s     *Stage
	free  []int
	fixed []float64
	at    []float64 // vergences, each once
	of    []int     // place in at, by measurement
}

func (s *Stage) model(measured []Measurement, free []int) *stageModel {
	m := &stageModel{s: s, free: free, fixed: s.Design()}
	for _, one := range measured {
		m.at = append(m.at, one.VergenceD)
	}
	slices.Sort(m.at)
	m.at = slices.Compact(m.at)
	for _, one := range measured {
		i, _ := slices.BinarySearch(m.at, one.VergenceD)
		m.of = append(m.of, i)
	}
	return m
}

// whole has all parameters, given the free ones.
func (m *stageModel) whole(at []float64) []float64 {
	all := slices.Clone(m.fixed)
	for i, k := range m.free {
		all[k] = at[i]
	}
	return all
}

// Predict sets out to the readings that the parameters predict.
func (m *stageModel) Predict(at, out []float64) {
	readings := m.s.Readings(m.whole(at), m.at)
	for i, k := range m.of {
		out[i] = readings[k]
	}
}

// Jacobian sets out to their derivatives, by differences.
func (m *stageModel) Jacobian(at []float64, out *mat.Dense) {
	slopes := m.s.slopes(m.whole(at), m.at)
	for i, k := range m.of {
		for j, parameter := range m.free {
			out.Set(i, j, slopes[k][parameter])
		}
	}
}

// The steps of differences: of the focal length as a share, and of the eye in mm. The
// truncation error goes with their square, some 1e-6 of a slope.
const (
	focalStep = 1e-3
	eyeStep   = 0.1
)

// slopes are the derivatives of readings by all parameters, by vergence.
func (s *Stage) slopes(parameters, vergencesD []float64) [][parameterCount]float64 {
	out := make([][parameterCount]float64, len(vergencesD))
	for k, step := range [parameterCount]float64{RearFocal: focalStep * s.focal, Eye: eyeStep} {
		if k == Zero {
			for i := range out {
				out[i][Zero] = 1
			}
			continue
		}
		up, down := slices.Clone(parameters), slices.Clone(parameters)
		up[k] += step
		down[k] -= step
		high, low := s.Readings(up, vergencesD), s.Readings(down, vergencesD)
		for i := range out {
			out[i][k] = (high[i] - low[i]) / (2 * step)
		}
	}
	return out
}

// Calibration is a stage fitted to measurements.
type Calibration struct {
	Stage *Stage
	// Parameters has all of them; those that were held are the design's.
	Parameters []float64
	Free       []int
	// Fit is over the free parameters and the measurements that were kept. Its errors are
	// those given with the measurements.
	Fit *Fitted
	// Outliers are the measurements left out, by their place, in the order in which they
	// were found to be furthest off.
	Outliers []int
	Kept     []int
	// Predicted and Corrected are the readings at all measurements' depths of the design
	// and of the fit, and Residuals what was measured less the latter.
	Predicted, Corrected, Residuals []float64
	// Scaled tells that errors are multiplied by [Fitted.Scale].
	Scaled bool
}

// Options of a calibration.
type Options struct {
	Held         []int // parameters that stay as designed
	KeepOutliers bool
	Scaled       bool // errors from the scatter about the fit, not as given
}

const (
	// outlierAlpha is the probability with which measurements without an outlier are said
	// to have one.
	outlierAlpha = 0.05
	// outlierLeast is how many of its own standard errors an outlier is off at least.
	outlierLeast = 2
)

// Calibrate fits the parameters to measurements. Where these do not determine them the
// error is an *Undetermined, which tells what to measure next.
func (s *Stage) Calibrate(measured []Measurement, o Options) (*Calibration, error) {
	c := &Calibration{Stage: s, Scaled: o.Scaled}
	for k := range parameterCount {
		if !slices.Contains(o.Held, k) {
			c.Free = append(c.Free, k)
		}
	}
	model := s.model(measured, c.Free)
	var start, observed, sigma []float64
	for _, k := range c.Free {
		start = append(start, model.fixed[k])
	}
	for _, m := range measured {
		observed, sigma = append(observed, m.StageMM), append(sigma, m.SigmaMM)
	}
	if len(model.at) < len(c.Free) {
		return nil, s.undetermined(measured, c.Free, len(model.at))
	}
	fit := func(kept []int) (*Fitted, error) {
		var some []Measurement
		for _, i := range kept {
			some = append(some, measured[i])
		}
		return Fit(s.model(some, c.Free), start, pick(observed, kept), pick(sigma, kept))
	}
	failed := func(err error) error {
		if errors.Is(err, ErrDegenerate) {
			return s.undetermined(measured, c.Free, len(model.at))
		}
		return err
	}
	var err error
	if !o.KeepOutliers {
		if c.Outliers, _, err = Outliers(len(measured), len(c.Free), len(measured)/4, outlierAlpha, fit); err != nil {
			return nil, failed(err)
		}
	}
	if err = c.keep(measured, model, fit); err != nil {
		return nil, failed(err)
	}
	// Readings that scatter much less than their errors have outliers among them that are
	// none: what lies within its own error stays.
	strange := c.Outliers[:0]
	for _, i := range c.Outliers {
		if math.Abs(c.Residuals[i]) > outlierLeast*measured[i].SigmaMM {
			strange = append(strange, i)
		}
	}
	if len(strange) < len(c.Outliers) {
		c.Outliers = strange
		if err = c.keep(measured, model, fit); err != nil {
			return nil, failed(err)
		}
	}
	return c, nil
}

// keep fits all measurements but the outliers.
func (c *Calibration) keep(measured []Measurement, model *stageModel, fit func(kept []int) (*Fitted, error)) (err error) {
	c.Kept, c.Residuals = nil, nil
	for i := range measured {
		if !slices.Contains(c.Outliers, i) {
			c.Kept = append(c.Kept, i)
		}
	}
	if c.Fit, err = fit(c.Kept); err != nil {
		return err
	}
	c.Parameters = model.whole(c.Fit.Parameters)
	var at []float64
	for _, m := range measured {
		at = append(at, m.VergenceD)
	}
	c.Predicted, c.Corrected = c.Stage.Readings(c.Stage.Design(), at), c.Stage.Readings(c.Parameters, at)
	for i, m := range measured {
		c.Residuals = append(c.Residuals, m.StageMM-c.Corrected[i])
	}
	return nil
}

// factor is by what a standard error as given is multiplied for half of a 95 % interval:
// the normal distribution's 1.96, or with scaled errors Student's t of the fit's degrees of
// freedom (from which the scatter is known) times their scale.
func (c *Calibration) factor() float64 {
	if !c.Scaled {
		return distuv.UnitNormal.Quantile(0.975)
	}
	if c.Fit.Freedom < 1 {
		return math.Inf(1)
	}
	return distuv.StudentsT{Sigma: 1, Nu: float64(c.Fit.Freedom)}.Quantile(0.975) * c.Fit.Scale()
}

// StandardError is that of a parameter, as given or scaled; 0 for one that was held.
func (c *Calibration) StandardError(parameter int) float64 {
	i := slices.Index(c.Free, parameter)
	if i < 0 {
		return 0
	}
	if c.Scaled {
		return c.Fit.StandardError(i) * c.Fit.Scale()
	}
	return c.Fit.StandardError(i)
}

// Half is half of a parameter's 95 % interval.
func (c *Calibration) Half(parameter int) float64 {
	i := slices.Index(c.Free, parameter)
	if i < 0 {
		return 0
	}
	return c.Fit.StandardError(i) * c.factor()
}

// Table gives the corrected readings for vergences in dioptres, and half of the width of
// their 95 % band: what the measurements leave open about the curve, not the scatter of a
// single reading about it.
func (c *Calibration) Table(vergencesD []float64) (readings, half []float64) {
	readings = c.Stage.Readings(c.Parameters, vergencesD)
	slopes := c.Stage.slopes(c.Parameters, vergencesD)
	for i := range slopes {
		half = append(half, c.factor()*math.Sqrt(max(0, quadratic(c.Fit.Covariance, slopes[i], c.Free))))
	}
	return readings, half
}

// quadratic is gᵀ·C·g over the free parameters.
func quadratic(covariance *mat.SymDense, g [parameterCount]float64, free []int) (sum float64) {
	for i, a := range free {
		for j, b := range free {
			sum += g[a] * covariance.At(i, j) * g[b]
		}
	}
	return sum
}

// Undetermined tells that measurements do not determine the parameters, and which
// further one would help most.
type Undetermined struct {
	Depths, Parameters int // at how many depths was measured, for how many parameters
	Advice             Advice
}

// Advice is which further measurement narrows the band of the stage table most.
type Advice struct {
	VergenceD float64
	// Before and After are half of the widest part of the band in mm.
	BeforeMM, AfterMM float64
}

func (u *Undetermined) Error() string {
	return fmt.Sprintf("%d depths do not determine %d parameters; a measurement at %s would help most: it narrows the stage table's 95 %% band from ±%.3g to ±%.3g mm",
		u.Depths, u.Parameters, depthOf(u.Advice.VergenceD), u.Advice.BeforeMM, u.Advice.AfterMM)
}

// depthOf is a vergence as a depth for people.
func depthOf(vergenceD float64) string {
	if vergenceD == 0 {
		return "infinity (0 D)"
	}
	return fmt.Sprintf("%.3g m (%.3g D)", 1/vergenceD, vergenceD)
}

func (s *Stage) undetermined(measured []Measurement, free []int, depths int) error {
	return &Undetermined{depths, len(free), s.Advise(measured, free)}
}

// What is known of the parameters before anything is measured, as standard deviations:
// a zero to 1 mm, a focal length to 1 % as makers state it, an eye to 3 mm. Advice for
// measurements that determine nothing yet rests on it; it is common practice.
const (
	knownZero  = 1.0
	knownFocal = 0.01
	knownEye   = 3.0
	// adviceDepths is at how many depths, evenly in vergence, advice looks.
	adviceDepths = 33
)

// Advise finds at which depth a further measurement, as good as the best so far, narrows
// the widest part of the band most, from the covariance at the design's parameters.
func (s *Stage) Advise(measured []Measurement, free []int) Advice {
	var at []float64
	for i := range adviceDepths {
		at = append(at, s.FarD+(s.NearD-s.FarD)*float64(i)/(adviceDepths-1))
	}
	slopes := s.slopes(s.Design(), at)
	known := [parameterCount]float64{knownZero, knownFocal * s.focal, knownEye}
	information := mat.NewSymDense(len(free), nil)
	for i, k := range free {
		information.SetSym(i, i, 1/(known[k]*known[k]))
	}
	add := func(to *mat.SymDense, g [parameterCount]float64, sigma float64) {
		for i, a := range free {
			for j := i; j < len(free); j++ {
				to.SetSym(i, j, to.At(i, j)+g[a]*g[free[j]]/(sigma*sigma))
			}
		}
	}
	sigma := math.Inf(1)
	var own []float64
	for _, m := range measured {
		own, sigma = append(own, m.VergenceD), min(sigma, m.SigmaMM)
	}
	if len(measured) > 0 {
		for i, g := range s.slopes(s.Design(), own) {
			add(information, g, measured[i].SigmaMM)
		}
	} else {
		sigma = s.p.StageResolution
	}
	widest := func(information *mat.SymDense) (half float64) {
		var c mat.Cholesky
		var covariance mat.SymDense
		if !c.Factorize(information) || c.InverseTo(&covariance) != nil {
			return math.Inf(1)
		}
		for _, g := range slopes {
			half = max(half, math.Sqrt(quadratic(&covariance, g, free)))
		}
		return half * distuv.UnitNormal.Quantile(0.975)
	}
	best := Advice{BeforeMM: widest(information), AfterMM: math.Inf(1)}
	for i, v := range at {
		more := mat.NewSymDense(len(free), nil)
		more.CopySym(information)
		add(more, slopes[i], sigma)
		if half := widest(more); half < best.AfterMM {
			best.VergenceD, best.AfterMM = v, half
		}
	}
	return best
}
