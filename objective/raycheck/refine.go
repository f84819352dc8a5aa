package raycheck

import (
	"math"

	"relaysweep/objective"
	"slices"
)

// Refiner measures a train of given groups at gaps and eye reliefs other than
// its paraxial ones, as an optimisation needs it: the ranked length, and by how
// much each requirement and limit is exceeded. It reuses its buffers: each
// goroutine needs its own.
//
// What is asked of a refined train differs from what is asked of a paraxial one
// where exact rays can tell more:
//
//   - It need not be afocal. The world point that belongs to an apparent vergence V
//     still lies at V/Θ² from the viewpoint, Θ = 1/A being the angular magnification:
//     that is where the world is. Where the train, by the matrix [[A, B], [C, D]] to
//     the eye, would have to have it (at A²V - AC, from slopes u = U·x at the viewpoint
//     and C·x + u/A = V·A·x at the eye) differs from it by AC, which the limits
//     on axis_vergence_D and view_defocus_D are there to bound. axis_vergence_D always
//     has a limit, [objective.AxisVergenceDefaultD] where the user set none.
//   - The angular magnification keeps the tolerance.
//   - Travel, clearance and mask size are those of the exact setpoints.
//   - The apertures are judged by traced vignetting where vignetted_pct has a limit;
//     where it has none the paraxial requirement on them stays.
type Refiner struct {
	p        *objective.Problem // with the limits of refined trains
	by       objective.RankBy
	c        *Checker
	start, t *objective.Train
	gapLeast []float64 // by gap; of no meaning for a mask's
	room     objective.RefineBounds
	names    []string
	excess   []float64
	// Of the stand-in for vignetting, see watch.
	allowedShare  float64 // of a pupil
	overfillError float64
	watched       []watchedPupil
	levels        []float64  // a buffer
	largest       []float64  // another
	leading       []*Checker // the displaced pupils that an estimate looks at, see lead
	// Of the unknowns, see Centre.
	centre   []float64
	moves    [2][2]float64   // mm of the first and the last gap for vergence and magnification
	paraxial objective.Train // a buffer
}

// NewRefiner prepares refinements of trains for p, which must not change
// afterwards, that are ranked by a length.
func NewRefiner(p *objective.Problem, by objective.RankBy) *Refiner {
	q := refined(p)
	return &Refiner{p: q, by: by, c: NewChecker(q)}
}

// Begin takes a train at its paraxial gaps in hand, which stays as it is.
func (r *Refiner) Begin(start *objective.Train) {
	r.start = start
	t := *start
	t.Gaps = append([]float64(nil), start.Gaps...)
	r.t = &t
	r.gapLeast = r.gapLeast[:0]
	for i := range start.Gaps {
		r.gapLeast = append(r.gapLeast, r.p.LeastGap(start.Groups[i], start.Groups[i+1]))
	}
	r.room = r.p.RefineBoundsOf(start)
	r.allowedShare = r.c.limits[vignetting] / 100
	r.watched = r.watched[:0]
}

// Unknowns is the number of what an optimisation may change: the gaps and the
// eye relief.
func (r *Refiner) Unknowns() int { return len(r.start.Gaps) + 1 }

// place moves the train in hand: x holds by how many mm each gap, and at last
// the eye relief, differs from the paraxial one.
func (r *Refiner) place(x []float64) {
	t, n := r.t, len(r.start.Gaps)
	t.Length = r.start.Length
	for i := range t.Gaps {
		t.Gaps[i] = r.start.Gaps[i] + x[i]
		t.Length += x[i]
	}
	t.EyeRelief = r.start.EyeRelief + x[n]
	t.AngularMagnification = r.p.AngularMagnificationOf(t)
}

// Evaluate measures the train in hand moved by x, in mm: each gap, and at last
// the eye relief. It returns the ranked length in mm and by how much each
// requirement and limit is exceeded, not positive where it is met: as a share
// of the limit, or in mm where a distance has to be kept. The slice stands until
// the next call, its length and order until the next Begin.
func (r *Refiner) Evaluate(x []float64) (length float64, excess []float64) {
	r.place(x)
	r.names, r.excess = r.names[:0], r.excess[:0]
	r.addParaxial()
	r.c.MeasureLimited(r.t)
	r.addSetpoints()
	r.addMetrics(true)
	r.lead()
	if r.c.limited(vignetting) {
		r.watch()
	}
	return r.t.Ranked(r.by), r.excess
}

// Estimate is Evaluate with blurs of those displaced pupils only that were worst when it was
// last called, and with a stand-in for vignetting, a smooth one that takes
// few rays: several excesses at the end in place of one, and as many from one
// estimate to the next. They are negative where there is less than the allowed
// vignetting, at any distance from that, and the nearer to the place where Evaluate
// was last called, which has to be once after Begin, the better. Evaluate decides.
func (r *Refiner) Estimate(x []float64) (length float64, excess []float64) {
	return r.EstimateUntil(x, func(float64, []float64) bool { return false })
}

// EstimateUntil is Estimate that ends as soon as what it has found is enough. It asks after
// each part of the work, the cheap ones first, with the excesses so far: each of them is one
// of those of Estimate, or less than that.
func (r *Refiner) EstimateUntil(x []float64, enough func(length float64, excess []float64) bool) (length float64, excess []float64) {
	c := r.c
	r.place(x)
	length = r.t.Ranked(r.by)
	r.names, r.excess = r.names[:0], r.excess[:0]
	r.addParaxial()
	if enough(length, r.excess) {
		return length, r.excess
	}
	c.take(r.t)
	paraxial := len(r.excess)
	if r.addAxis() && enough(length, r.excess) {
		return length, r.excess
	}
	r.levels = r.levels[:0]
	for i := range r.watched {
		level := r.watchedLevel(&r.watched[i])
		r.levels = append(r.levels, level)
		if r.addWatched(level); enough(length, r.excess) {
			return length, r.excess
		}
	}
	c.begin(nil)
	c.measureUsed(nil, false, false, c.limited(blurMismatch))
	r.names, r.excess = r.names[:paraxial], r.excess[:paraxial]
	r.addSetpoints()
	setpoints := len(r.excess)
	for next := 0; ; next++ {
		r.names, r.excess = r.names[:setpoints], r.excess[:setpoints]
		r.addMetrics(false)
		for _, level := range r.levels {
			r.addWatched(level)
		}
		if next == len(r.leading) || enough(length, r.excess) {
			return length, r.excess
		}
		c.addPupil(r.leading[next])
	}
}

// add records a value against its limit, with the scale by which the excess is
// divided. What can't be measured counts as far beyond.
func (r *Refiner) add(name string, value, limit, scale float64) {
	excess := (value - limit) / scale
	if !(excess <= hopelessExcess) {
		excess = hopelessExcess
	}
	r.names = append(r.names, name)
	r.excess = append(r.excess, excess)
}

// hopelessExcess bounds all excesses, so that sums of them stay finite.
const hopelessExcess = 1e3

// Scales of limits that are zero or nearly so, in the limits' units: the
// magnification's tolerance, and vignetting in percent.
const (
	toleranceScale  = 1e-3
	vignettingScale = 1.0
)

// addParaxial judges what does not need rays.
func (r *Refiner) addParaxial() {
	p, t := r.p, r.t
	wanted := p.Magnification
	if t.Layout == objective.Keplerian {
		wanted = -wanted
	}
	r.add(objective.Magnification.String(), math.Abs(t.AngularMagnification/wanted-1), p.MagnificationTol+objective.RequirementSlack, max(p.MagnificationTol, toleranceScale))
	for i, gap := range t.Gaps {
		if !t.HoldsMask(i) {
			r.add(objective.GapRoom.String(), r.gapLeast[i]-objective.RoundingSlack, gap, 1)
		}
	}
	if !math.IsInf(p.LengthMax, 1) {
		r.add(objective.Length.String(), t.Length, p.LengthMax+objective.RoundingSlack, 1)
	}
	r.add(objective.Relief.String(), p.LeastRelief()-objective.RoundingSlack, t.EyeRelief, 1)
	r.add(objective.Relief.String(), t.EyeRelief, p.ReliefMax+objective.RoundingSlack, 1)
	if p.Refining() {
		r.room.Each(r.t, r.add)
	}
	if !r.c.limited(vignetting) {
		p.EachAperture(t, func(used, clear float64) {
			r.add(objective.Aperture.String(), used, clear+objective.RoundingSlack, 1)
		})
	}
	if limit := p.LimitOn(objective.PixelArcmin); !math.IsInf(limit, 1) {
		for _, gap := range t.MaskGaps() {
			least := math.Inf(1)
			for _, v := range [2]float64{p.VergenceFar, p.VergenceNear} { // |a| is monotonic between them
				_, chief := p.PlaceMask(t, gap, v)
				least = min(least, math.Abs(chief))
			}
			r.add(objective.PixelArcmin.String(), arcmin(p.MaskPixel/least), limit*(1+objective.RequirementSlack), max(limit, objective.LimitScale))
		}
	}
	if limit := p.LimitOn(objective.DepthStepD); !math.IsInf(limit, 1) {
		for _, gap := range t.MaskGaps() {
			step := max(p.DepthStep(t, gap, p.VergenceFar), p.DepthStep(t, gap, p.VergenceNear))
			r.add(objective.DepthStepD.String(), step, limit*(1+objective.RequirementSlack), max(limit, objective.LimitScale))
		}
	}
	if limit := p.LimitOn(objective.ViewpointShiftMM); !math.IsInf(limit, 1) {
		r.add(objective.ViewpointShiftMM.String(), math.Abs(p.ViewpointShift(t)), limit+objective.RoundingSlack, 1)
	}
}

// addAxis judges the vergence on the axis, which takes a few rays and is the first thing that
// wrong gaps spoil, unless these rays come near to being lost. It reports whether it did.
func (r *Refiner) addAxis() bool {
	c := r.c
	if c.toView(0, c.reference); !c.certain() {
		return false
	}
	defocus, _ := c.sampledBundles[0].view[c.reference].power()
	limit := c.limits[axisVergence]
	r.add(objective.AxisVergenceD, math.Abs(defocus), limit, max(limit, objective.LimitScale))
	return true
}

// addSetpoints judges the exact setpoints that rays have found.
func (r *Refiner) addSetpoints() {
	p, c := r.p, r.c
	for k := range c.masks {
		r.add(objective.Travel.String(), c.report.Mask(k).TravelMM, p.Travel*(1+objective.RequirementSlack), max(p.Travel, 1))
	}
	var at [objective.MasksMost]atSetpoints
	for k := range c.masks {
		at[k] = c.atSetpoints(k)
		r.add(objective.Clearance.String(), at[k].lo-at[k].first, at[k].slack, 1)
		r.add(objective.Clearance.String(), at[k].last-at[k].hi, at[k].slack, 1)
	}
	for _, at := range at[:len(c.masks)] {
		r.add(objective.MaskSize.String(), 2*at.chief*p.TanHalfWidth, p.MaskWidth*(1+objective.RequirementSlack), p.MaskWidth)
		r.add(objective.MaskSize.String(), 2*at.chief*p.TanHalfHeight, p.MaskHeight*(1+objective.RequirementSlack), p.MaskHeight)
	}
}

// addMetrics judges the metrics that rays have measured, vignetting where it is one of
// them. Limits on what is sampled over
// fields and depths are judged sample by sample: the largest of them is no
// smooth function of the gaps.
func (r *Refiner) addMetrics(withVignetting bool) {
	p, c, report := r.p, r.c, &r.c.report
	for m := range MetricList {
		limit := c.limits[m]
		if math.IsInf(limit, 1) || metricIndex(m) == vignetting && !withVignetting || metricIndex(m).ofFacets() && !c.t.HasFacets() {
			continue
		}
		name, scale := MetricList[m].Name, max(limit, objective.LimitScale)
		if MetricList[m].sample != nil {
			for i := range c.usedBundles() {
				for value := range MetricList[m].samples(&report.Samples[i], len(c.masks)) {
					r.add(name, math.Abs(value), limit, scale)
				}
			}
			continue
		}
		for value := range MetricList[m].values(&report.Metrics, len(c.masks)) {
			value = math.Abs(value)
			if metricIndex(m) == vignetting {
				scale = max(limit, vignettingScale)
				if value == 0 { // nothing is near, even where nothing is allowed
					value = -scale
				}
			}
			r.add(name, value, limit, scale)
		}
	}
	if least := p.Limits.TransmissionMin; least > 0 {
		r.add(TransmissionMin, least, report.Metrics.Transmission, least)
	}
}

// Settle is a train of its own, moved by x, with what the ray check says of it:
// FailedBy is empty when it meets everything that is asked of a refined train.
// active names, in the order of judgement, the requirements and limits that keep
// it from being shorter or are as good as reached: those with an excess above
// -activeShare, see [Refiner.Evaluate].
func (r *Refiner) Settle(x []float64) (t *objective.Train, report *Report, active []string) {
	_, excess := r.Evaluate(x)
	for i, e := range excess {
		if e > -activeShare && !slices.Contains(active, r.names[i]) {
			active = append(active, r.names[i])
		}
	}
	moved := *r.t
	moved.Gaps = slices.Clone(r.t.Gaps)
	moved.Refined = true
	r.names, r.excess = r.names[:0], r.excess[:0]
	r.addParaxial()
	report = r.c.Check(&moved).Clone()
	for i, e := range r.excess {
		if e > 0 {
			report.FailedBy = r.names[i]
			break
		}
	}
	return &moved, report, active
}

// activeShare is the share of a limit, or the mm, within which a requirement or
// limit counts as reached.
const activeShare = 2e-3
