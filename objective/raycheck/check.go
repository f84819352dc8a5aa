package raycheck

import (
	"math"
	"slices"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// FieldFractions are the field samples of a ray check, as fractions of the
// tangent of the largest half angle.
var FieldFractions = [...]float64{0, 0.5, 0.7, 1}

// FieldSamples are the field samples that metrics of sharpness look at, as fractions of the
// tangent of the largest half angle.
func FieldSamples(p *objective.Problem) []float64 {
	n := 0
	for n < len(FieldFractions) && FieldFractions[n] <= p.Limits.FieldFraction {
		n++
	}
	return slices.Clone(FieldFractions[:n])
}

const (
	// certainMargin is the squared cosine (of 63°) that every angle of incidence
	// and refraction must reach before a check takes for granted that no ray is
	// lost between those that it traced: none nearer to the pupil's rim, none of
	// another wavelength beyond the mask and none of a smaller field. Dispersion
	// changes angles by some hundredths and the step to the rim by a few degrees.
	// TestCertain measures what is left of it.
	certainMargin = 0.2
	// weightRounding is the rounding of a sum of a bundle's weights.
	weightRounding = 1e-9
	// halfLost is the least share of a bundle that must get through for its
	// metrics to mean anything: half.
	halfLost = 0.5 - weightRounding
)

// Report is the outcome of a ray check. It belongs to the Checker and stands
// until its next check; Clone keeps one.
type Report struct {
	// FailedBy is empty when the train passes, else the first requirement or
	// limit that it fails: travel, clearance and mask_size at the exact
	// setpoints, then the limits by their names in the order of MetricList
	// (transmission_min for the one on transmission).
	FailedBy string
	Metrics  Metrics
	// MaskReport is that of the mask, of two of that at image 2; Second is that of the other,
	// empty where there is none.
	MaskReport
	Second  MaskReport
	Samples []Sample // by field, then by depth from far to near
}

// MaskReport is where one mask stands.
type MaskReport struct {
	// TravelMM is the largest less the smallest exact setpoint.
	TravelMM  float64
	Setpoints []Setpoint // one a depth sample, from far to near
}

// Mask is the report of mask k, in the order of [objective.Train.MaskGaps].
func (r *Report) Mask(k int) *MaskReport {
	if k == 0 {
		return &r.MaskReport
	}
	return &r.Second
}

// Clone is a copy that later checks don't change.
func (r *Report) Clone() *Report {
	c := *r
	for k := range objective.MasksMost {
		c.Mask(k).Setpoints = append([]Setpoint(nil), r.Mask(k).Setpoints...)
	}
	c.Samples = append([]Sample(nil), r.Samples...)
	return &c
}

// Setpoint is the mask's position for one depth. Positions are physical, in mm
// from the last vertex before the mask to the modulating layer. Blurs are the
// largest over the fields up to the limits' field fraction. The view's blur is the same for
// both masks.
type Setpoint struct {
	VergenceD      float64 // apparent
	MaskMM         float64 // least blur by exact rays
	MaskParaxialMM float64
	MaskBlurArcmin float64
	ViewBlurArcmin float64
	PixelArcmin    float64 // angle of a mask pixel at MaskParaxialMM
}

// Sample is what was measured at one field and depth, fields beyond the limits'
// field fraction included.
type Sample struct {
	FieldFraction    float64 // of the tangent of the largest half angle
	VergenceD        float64 // apparent
	MaskBlurArcmin   float64
	SecondBlurArcmin float64 // of a second mask; NaN where there is none
	ViewBlurArcmin   float64
	ViewDefocusD     float64
	ViewAstigmatismD float64
}

// Checker checks trains for one problem by exact ray tracing. It reuses its
// buffers: each goroutine needs its own. What it prepared of a train's surfaces
// stands while it is given trains of the same groups, so that one whose gaps
// alone change from call to call is measured without preparing it again.
type Checker struct {
	p              *objective.Problem
	fractions      []float64       // of the tangent of the largest half angle, field samples
	reference      int             // wavelength
	weight         []float64       // of the wavelengths; they add up to 1
	used           int             // field samples that sharpness metrics look at
	depths         []float64       // apparent vergences, 1/mm
	vergences      []float64       // those that are traced
	share          [][]float64     // of each of them in a depth sample, by depth
	ends           bool            // other wavelengths are traced at the ends of the depth range only
	fills          []pupil         // by field
	tracedBundles  []tracedBundle  // by field, then by vergence from far to near
	sampledBundles []sampledBundle // by field, then depth
	launches       []lanes.Rays    // beams at the eye, those that are traced, by wavelength
	between        lanes.Lines     // a bundle between traced vergences
	loss           *lossFill       // replaces the quadrature where rays are lost
	rim            *rimBuffers
	at             place                        // of the pupil's middle
	away           []*Checker                   // with the pupil displaced, for its sharpness alone
	summed         bool                         // a displaced pupil's bundles in use have been summed in full
	indices        map[*catalog.Glass][]float64 // by wavelength
	limits         []float64                    // by MetricList; +Inf for none
	allowance      float64                      // factor on the requirements of exact setpoints; 1, more for near misses
	anyClearance   bool                         // at exact setpoints is near enough
	// worstFirst are the bundles in use from the one that is likely to be worst
	// on: from the outermost field to the axis, in each first what is traced.
	// refocusSlackD is by how much the bounds of the eye's refocus are widened; 0 but for
	// screens.
	refocusSlackD float64
	passed        []sumsOfMasks // by bundle in use: over what passes all clear apertures, a buffer
	through       []float64     // weights of the rays that get through, a buffer
	worstFirst    []int
	masksMost     int // for how many masks room is laid out

	// The train in hand.
	t          *objective.Train
	groups     []*objective.Group // that the surfaces were prepared from
	layout     objective.Layout
	seat       objective.Seat
	steps      []step
	masks      []maskInHand // in the order of [objective.Train.MaskGaps], in which rays meet them
	gapSteps   []int        // the step before which each gap lies, by gap
	ratios     [][]float64  // by wavelength, then step
	blocks     []block      // by wavelength
	margin     float64      // as for [lanes.Rays.Through], over all that was traced
	cornersRim float64      // overfill on the rim of the box in all [Checker.corners]; NaN when not known
	viewpoint  float64      // distance from the first vertex towards the world
	report     Report
}

// maskInHand is a mask of the train in hand.
type maskInHand struct {
	gap    int
	beyond int       // first step beyond it
	layer  []float64 // paraxial distance from the first vertex behind the mask to the layer, by depth
	chief  []float64 // paraxial height in it for unit slope towards the world, by depth
}

// tracedBundle is what is traced: one field at one vergence.
type tracedBundle struct {
	field    int
	tan      float64
	vergence float64
	from, to int   // its lines in a block, and its rays at the reference wavelength
	others   int   // where its rays begin at another wavelength, unless it [Checker.refers]
	traced   []leg // by wavelength
	// Its lines in a block, by wavelength.
	mask [objective.MasksMost][]lanes.Lines
	view []lanes.Lines
}

// leg is how far a beam has been traced.
type leg uint8

const (
	atEye leg = iota
	toMask
	toSecond // of two masks; at once there with one
	toWorld
)

// toMasks is as far as the last mask.
const toMasks = toSecond

// block holds all beams of a wavelength.
type block struct {
	rays lanes.Rays                       // of the beams that are traced
	mask [objective.MasksMost]lanes.Lines // in the vertex plane before a mask, its glass allowed for
	view lanes.Lines                      // in the viewpoint plane
}

// sampledBundle is one field and depth sample.
type sampledBundle struct {
	field, depth int
	tan          float64 // of the field angle
	masks        [objective.MasksMost]maskBundle
	view         []viewSums // by wavelength
	// Where its rays are, by wavelength.
	viewFrom []source
	lossy    bool // some ray of it is lost, and its sums come from what passes
}

// maskBundle is one field and depth sample in a mask's layer.
type maskBundle struct {
	sums []maskSums // by wavelength
	all  maskSums
	from []source // where its rays are, by wavelength
}

// NewChecker prepares checks for p, which must not change afterwards.
func NewChecker(p *objective.Problem) *Checker { return newChecker(p, leastRays(p), FieldFractions[:]) }

// NewNearChecker prepares checks that also let near misses pass: trains that
// exceed no limit on sharpness, colour, vignetting and ghosts, and at their exact
// setpoints neither travel nor mask size, by more than a factor; with a factor above 1,
// whatever the clearance there. All else is judged as by [NewChecker].
func NewNearChecker(p *objective.Problem, factor float64) *Checker {
	c := NewChecker(p)
	c.allowance, c.anyClearance = factor, factor > 1
	for m := range MetricList {
		if metricIndex(m).variesWithGaps() {
			c.limits[m] *= factor
		}
	}
	return c
}

// NewCheckerAt prepares a checker that measures at given apparent vergences (1/mm,
// from far to near within the range of p) in place of the depth samples, in the
// same way: where not every sample is traced, by rays between the same ones.
func NewCheckerAt(p *objective.Problem, vergences []float64) *Checker {
	return newCheckerAt(p, leastRays(p), FieldFractions[:], vergences)
}

func newChecker(p *objective.Problem, q quadrature, fractions []float64) *Checker {
	depths := make([]float64, max(p.DepthSteps, 1))
	for i := range depths {
		depths[i] = p.Depth(i)
	}
	return newCheckerAt(p, q, fractions, depths)
}

func newCheckerAt(p *objective.Problem, q quadrature, fractions, depths []float64) *Checker {
	c := &Checker{p: p, allowance: 1, fractions: fractions, reference: p.Reference(), indices: map[*catalog.Glass][]float64{}}
	var total float64
	for _, w := range p.Weights {
		total += w
	}
	for _, w := range p.Weights {
		c.weight = append(c.weight, w/total)
	}
	for _, m := range MetricList {
		c.limits = append(c.limits, p.Limits.Limit(m.Name))
	}
	c.depths = depths
	c.vergences, c.share = tracedVergences(p, depths, q.vergences)
	c.ends = q.colourEnds
	for f, fraction := range fractions {
		if fraction <= p.Limits.FieldFraction {
			c.used = f + 1
		}
	}
	for f := c.used - 1; f >= 0; f-- {
		for _, traced := range []bool{true, false} {
			for d := range c.depths {
				if slices.Contains(c.share[d], 1) == traced {
					c.worstFirst = append(c.worstFirst, f*len(c.depths)+d)
				}
			}
		}
	}
	c.ratios = make([][]float64, len(c.weight))
	c.loss = newLossFill(len(c.weight))
	c.report.Samples = make([]Sample, len(fractions)*len(c.depths))
	c.rim = newRimBuffers(len(fractions) * len(c.depths))
	if p.SharpBox > 0 {
		for k := 1; k < pupilPlaces; k++ {
			a := *c
			a.away = nil
			a.at.x, a.at.y = placeIn(p.SharpBox, k)
			a.layOut(q)
			c.away = append(c.away, &a)
		}
	}
	c.layOut(q)
	return c
}

// layOut lays out the rays of every field and vergence, and the buffers that they
// take.
func (c *Checker) layOut(q quadrature) {
	p := c.p
	var n, others, most int
	for f, fraction := range c.fractions {
		fill := c.at.fill(p.Pupil/2, q.halfArms, fraction == 0)
		fill.weight = lanes.WithRoom(fill.weight)
		c.fills = append(c.fills, fill)
		most = max(most, len(fill.x))
		for k, v := range c.vergences {
			b := tracedBundle{field: f, tan: fraction * p.TanMax, vergence: v, from: n, to: n + len(fill.x), others: others, traced: make([]leg, len(c.weight))}
			n = b.to
			if !c.ends || k == 0 || k == len(c.vergences)-1 {
				others += len(fill.x)
			}
			c.tracedBundles = append(c.tracedBundles, b)
		}
		for d := range c.depths {
			c.sampledBundles = append(c.sampledBundles, sampledBundle{
				field: f, depth: d, tan: fraction * p.TanMax, view: make([]viewSums, len(c.weight)),
			})
		}
	}
	c.launches = nil
	for w := range c.weight {
		traced := others
		if w == c.reference {
			traced = n
		}
		all := lanes.NewRays(traced)
		for i := range c.tracedBundles {
			if b := &c.tracedBundles[i]; !c.refers(i, w) {
				fill, beam := &c.fills[b.field], all.Part(c.raysOf(b, w))
				beam.Launch(fill.x, fill.y, b.tan, b.vergence-c.p.EyeColour(w))
			}
		}
		c.launches = append(c.launches, all)
	}
	c.between = lanes.NewLines(most)
	c.through = lanes.WithRoom(make([]float64, most))
	for w := range c.weight {
		k := block{rays: lanes.NewRays(len(c.launches[w].X)), view: lanes.NewLines(n)}
		c.blocks = append(c.blocks, k)
		for i := range c.tracedBundles {
			b := &c.tracedBundles[i]
			b.view = append(b.view, k.view.Part(b.from, b.to))
		}
		for i := range c.sampledBundles {
			b := &c.sampledBundles[i]
			b.viewFrom = append(b.viewFrom, c.sourceOf(&k.view, b))
		}
	}
	c.layOutMask(0)
}

// layOutMask lays out what is kept of rays in the layer of mask k. A second mask's comes when a
// train has one.
func (c *Checker) layOutMask(k int) {
	for w := range c.blocks {
		lines := lanes.NewLines(c.tracedBundles[len(c.tracedBundles)-1].to)
		c.blocks[w].mask[k] = lines
		for i := range c.tracedBundles {
			b := &c.tracedBundles[i]
			b.mask[k] = append(b.mask[k], lines.Part(b.from, b.to))
		}
		for i := range c.sampledBundles {
			b := &c.sampledBundles[i]
			b.masks[k].from = append(b.masks[k].from, c.sourceOf(&lines, b))
		}
	}
	for i := range c.sampledBundles {
		c.sampledBundles[i].masks[k].sums = make([]maskSums, len(c.weight))
	}
	c.masksMost = k + 1
}

// Check traces t until it is clear which requirement or limit it fails first.
// What it did not come to is NaN in the report, and the metric that fails may
// be that of the first sample beyond the limit. A train that passes is measured
// in full.
func (c *Checker) Check(t *objective.Train) *Report {
	c.prepare(t)
	c.check()
	return &c.report
}

// check does so with the train in hand.
func (c *Checker) check() {
	if !c.rejected() && c.measureUsed(c.away, true, true, true) {
		c.measureRest()
	}
}

// Measure traces t for everything, whatever fails. FailedBy is the same as
// from Check.
func (c *Checker) Measure(t *objective.Train) *Report {
	c.prepare(t)
	c.measureUsed(c.away, false, true, true)
	c.measureRest()
	return &c.report
}

// MeasureLimited traces t for the metrics, whatever fails, but leaves out
// vignetting and the mismatch of blurs where these are not limited, and fields that no metric looks at. It is meant for
// trains that differ in gaps and eye relief only, one after the other.
func (c *Checker) MeasureLimited(t *objective.Train) *Report {
	c.prepare(t)
	c.measureUsed(c.away, false, c.limited(vignetting), c.limited(blurMismatch))
	return &c.report
}

// measureUsed judges everything that requirements and limits look at, in their
// order, the blurs also of the displaced pupils in away. With stop it ends when one has failed, and
// looks at displaced pupils only where the one in the middle leaves that open; it reports
// whether it came to its end.
func (c *Checker) measureUsed(away []*Checker, stop, vignetting, mismatch bool) (complete bool) {
	used := c.usedBundles()
	c.report.FailedBy = ""
	c.sum(0, used)
	over := func() bool { return stop && c.failed() }
	if c.judgeMasks(); over() {
		return false
	}
	if stop {
		if c.judgeMaskBlur(nil); over() {
			return false
		}
	}
	for _, a := range away {
		a.sum(0, used)
	}
	if c.judgeMaskBlur(away); over() {
		return false
	}
	if c.judgeDefocus(); over() {
		return false
	}
	if c.judgeViewBlur(away); over() {
		return false
	}
	if c.judgeFar(); over() {
		return false
	}
	if vignetting {
		if c.judgeVignetting(stop); over() {
			return false
		}
	}
	if c.judgeTransmission(); over() {
		return false
	}
	if mismatch {
		if c.judgeMismatch(); over() {
			return false
		}
	}
	if c.judgeGhosts(); over() {
		return false
	}
	c.judgeGrooves()
	return !over()
}

// addPupil takes a displaced pupil, which was not yet looked at, into what measureUsed has
// measured.
func (c *Checker) addPupil(a *Checker) {
	a.follow(c)
	a.sum(0, c.usedBundles())
	for i := range c.usedBundles() {
		c.addMaskBlur(i, a)
		c.addViewBlur(i, a)
	}
}

// measureRest adds the samples of fields that no limit on sharpness looks at.
func (c *Checker) measureRest() {
	used := c.usedBundles()
	c.sum(used, len(c.sampledBundles))
	for _, a := range c.away {
		a.sum(used, len(c.sampledBundles))
	}
	for i := used; i < len(c.sampledBundles); i++ {
		c.measureMaskBlur(i, c.away)
		c.measureDefocus(i)
		c.measureViewBlur(i, c.away)
	}
}

// prepare takes t in hand and clears the report.
func (c *Checker) prepare(t *objective.Train) {
	c.take(t)
	c.begin(c.away)
}

// take takes t in hand and lays out its surfaces.
func (c *Checker) take(t *objective.Train) {
	p := c.p
	c.t = t
	if slices.Equal(t.Groups, c.groups) && t.Layout == c.layout && t.Seat == c.seat {
		c.setGaps()
	} else {
		c.groups = append(c.groups[:0], t.Groups...)
		c.layout, c.seat = t.Layout, t.Seat
		c.steps, c.gapSteps = trainSteps(p, t, c.steps, c.gapSteps)
		c.takeMasks()
		for w := range c.ratios {
			c.ratios[w] = c.ratios[w][:0]
		}
		indexRatios(t, c.indicesOf, c.ratios)
	}
	c.margin, c.cornersRim = 1, math.NaN()
	for i := range c.tracedBundles {
		clear(c.tracedBundles[i].traced)
	}
	c.viewpoint = -p.Viewpoint(t)
}

// begin clears the report for the train in hand, which displaced pupils take over.
func (c *Checker) begin(away []*Checker) {
	t, r := c.t, &c.report
	r.FailedBy = ""
	r.Metrics.reset()
	if g, known := t.MassG(); known {
		r.Metrics.MassG = g
	}
	if price, known := t.Price(); known {
		r.Metrics.Price = price
	}
	nan := math.NaN()
	for k := range objective.MasksMost {
		of := r.Mask(k)
		of.TravelMM, of.Setpoints = nan, of.Setpoints[:0]
		if k >= len(c.masks) {
			continue
		}
		for d, v := range c.depths {
			of.Setpoints = append(of.Setpoints, Setpoint{
				VergenceD: 1000 * v, MaskMM: nan, MaskParaxialMM: c.place(k, d),
				MaskBlurArcmin: nan, ViewBlurArcmin: nan, PixelArcmin: arcmin(c.p.MaskPixel / math.Abs(c.masks[k].chief[d])),
			})
		}
	}
	for i := range c.sampledBundles {
		b := &c.sampledBundles[i]
		r.Samples[i] = Sample{
			FieldFraction: c.fractions[b.field], VergenceD: 1000 * c.depths[b.depth],
			MaskBlurArcmin: nan, SecondBlurArcmin: nan, ViewBlurArcmin: nan, ViewDefocusD: nan, ViewAstigmatismD: nan,
		}
	}
	for _, a := range away {
		a.follow(c)
	}
}

// takeMasks takes the masks of the train in hand, whose steps are laid out.
func (c *Checker) takeMasks() {
	gaps := c.t.MaskGaps()
	for len(c.masks) < len(gaps) {
		c.masks = append(c.masks, maskInHand{layer: make([]float64, len(c.depths)), chief: make([]float64, len(c.depths))})
	}
	c.masks = c.masks[:len(gaps)]
	for k, gap := range gaps {
		c.masks[k].gap, c.masks[k].beyond = gap, c.gapSteps[gap]
	}
	for k := c.masksMost; k < len(gaps); k++ {
		c.layOutMask(k)
		for _, a := range c.away {
			a.layOutMask(k)
		}
	}
}

// place finds mask k's paraxial place for depth d, and the chief ray there.
func (c *Checker) place(k, d int) (position float64) {
	m := &c.masks[k]
	position, chief := c.p.PlaceMask(c.t, m.gap, c.depths[d])
	m.layer[d] = c.t.Gaps[m.gap] - position
	m.chief[d] = -chief
	return position
}

// setGaps changes the distances of the surfaces that are laid out to those of
// the train.
func (c *Checker) setGaps() {
	c.steps[0].DistanceMM = c.t.EyeRelief
	for gap, s := range c.gapSteps {
		c.steps[s].DistanceMM = c.t.Gaps[gap]
	}
}

// indicesOf is the index of g at every wavelength.
func (c *Checker) indicesOf(g *catalog.Glass) []float64 {
	n, ok := c.indices[g]
	if !ok {
		for _, w := range c.p.WavelengthsNM {
			n = append(n, g.Index(w))
		}
		c.indices[g] = n
	}
	return n
}
