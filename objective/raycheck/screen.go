package raycheck

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// Screener tells, by exact rays at its paraxial gaps, whether a train is worth being
// refined: at some of several eye reliefs it exceeds no limit of the ray check by more than
// the problem's NearMissFactor (see [NewNearChecker]). Gaps can put right the vergence on the
// axis, so that it is left out, and the view's blur is taken after a refocus to which they
// help. It reuses its buffers: each goroutine needs its own.
type Screener struct {
	p    *objective.Problem // with the limits of refined trains
	near *Checker
	few  *fewRays
	// Of MaskBlurs: a train that holds only what the mask sees of any train.
	mask  *Checker
	alone objective.Train
}

// Screened is what a screen found.
type Screened struct {
	// Failed is the first limit that is exceeded by more than the factor at the least eye
	// relief, empty where the train is worth being refined.
	Failed string
	// Relief is the least of the eye reliefs looked at where it is, in mm, physical.
	Relief float64
}

// MaskBlurName is the name of the limit on the mask's blur.
var MaskBlurName = MetricList[maskBlur].Name

// screenStep, in mm, is the distance between the eye reliefs that a screen looks at
// behind the least one. They lie on a grid, so that trains with the same rear group
// share them.
const screenStep = 10.0

// NewScreener prepares screens for p, which must not change afterwards.
func NewScreener(p *objective.Problem) *Screener {
	q := refined(p)
	near := NewNearChecker(q, p.NearMissFactor)
	near.limits[axisVergence] = math.Inf(1)
	// Gaps can change the vergence of the world by so much, as a refocus does.
	near.refocusSlackD = 1000 * p.ResidualVergenceMax()
	return &Screener{p: q, near: near, few: near.newFewRays(), mask: NewNearChecker(q, p.NearMissFactor)}
}

// refined is the problem with the limits that hold for refined trains.
func refined(p *objective.Problem) *objective.Problem {
	q := *p
	q.Limits.Max = maps.Clone(p.Limits.Max)
	if q.Limits.Max == nil {
		q.Limits.Max = map[string]float64{}
	}
	q.Limits.Max[MetricList[axisVergence].Name] = p.AxisLimitD()
	return &q
}

// Screen screens a train that is solved at its least eye relief.
func (s *Screener) Screen(t *objective.Train) Screened {
	first := ""
	at := *t
	for relief := range screenReliefs(t) {
		at.EyeRelief = relief
		c := s.near
		c.take(&at)
		if s.few.blursView(c) || c.blursView() {
			first = cmp.Or(first, MetricList[viewBlur].Name)
			continue
		}
		c.begin(c.away)
		c.check() // with the rays that have been traced
		if c.report.FailedBy == "" {
			return Screened{Relief: relief}
		}
		first = cmp.Or(first, c.report.FailedBy)
	}
	return Screened{Failed: first}
}

// blursView reports whether the view's blur of the train in hand is beyond its limit, by
// the rays of one wavelength at the field and depth that are likely to be worst. With the weight w of
// the wavelength, the variance over all wavelengths after the best refocus is no less than w
// times the variance of these rays, about their own centroid and after a refocus
// of their own within the same bounds. Rays that are lost are left out, as they are from
// the metric, and more than lostMost of them are more than half of the bundle; what is left
// of them samples the pupil roughly, so that the limit then is lossyDoubt times as high.
func (c *Checker) blursView() bool {
	if !c.limited(viewBlur) {
		return false
	}
	i := c.worstFirst[0]
	b := &c.sampledBundles[i]
	c.traceFor(i, c.reference, toWorld)
	l := b.viewFrom[c.reference].of()
	sums := c.viewSums(l, c.throughWeights(l, b), b)
	if sums.Weight < 1-lostMost {
		return true
	}
	if sums.Weight < halfLost {
		return false
	}
	blur, _ := c.refocusedOf(b, sums)
	return blur*math.Sqrt(c.weight[c.reference]) > c.limits[viewBlur]*doubtOf(sums.Weight)
}

// fewRays are those of the pupil's outermost ring in the bundle that blursView looks at. Of
// most trains that it turns away they tell as much.
type fewRays struct {
	launch, rays lanes.Rays
	lines        lanes.Lines
	weight       []float64 // they add up to 1
	share        float64   // of the bundle's weight
}

// newFewRays takes them from the bundle's beam; nil where there is no such ring.
func (c *Checker) newFewRays() *fewRays {
	b := &c.sampledBundles[c.worstFirst[0]]
	traced := slices.Index(c.share[b.depth], 1)
	if b.field == 0 || traced < 0 || !c.limited(viewBlur) {
		return nil
	}
	arms := leastRays(c.p).halfArms
	beam := &c.tracedBundles[b.field*len(c.vergences)+traced]
	n := arms[len(arms)-1]
	f := &fewRays{launch: c.launches[c.reference].Part(beam.to-n, beam.to), rays: lanes.NewRays(n), lines: lanes.NewLines(n)}
	all := c.fills[b.field].weight
	f.weight = lanes.WithRoom(all[len(all)-n:])
	for _, q := range f.weight {
		f.share += q
	}
	for i := range f.weight {
		f.weight[i] /= f.share
	}
	return f
}

// blursView reports whether these rays show that the view's blur of the train in hand is
// beyond its limit, as [Checker.blursView] would. The variance of a share of the rays about
// their own centroid, after the best refocus for them, times that share is no more than
// the variance of all. They decide where they are so far from being lost that no others
// are.
func (f *fewRays) blursView(c *Checker) bool {
	if f == nil {
		return false
	}
	f.rays.CopyFrom(&f.launch)
	if c.throughSteps(&f.rays, c.reference, 0, len(c.steps)) < certainMargin {
		return false
	}
	b := &c.sampledBundles[c.worstFirst[0]]
	f.lines.Cross(&f.rays, c.viewpoint)
	blur, _ := c.refocusedOf(b, c.viewSums(&f.lines, f.weight, b))
	return blur*math.Sqrt(f.share*c.weight[c.reference]) > c.limits[viewBlur]*(1+objective.RequirementSlack)
}

// doubtOf is by how much more a limit has to be exceeded where only a share of a bundle's
// weight gets through.
func doubtOf(through float64) float64 {
	if through < 1-weightRounding {
		return lossyDoubt
	}
	return 1
}

// blursMask likewise reports whether the blur of the first mask is, wherever it stands along the axis.
func (c *Checker) blursMask() bool {
	if !c.limited(maskBlur) {
		return false
	}
	i := c.worstFirst[0]
	b := &c.sampledBundles[i]
	c.place(0, b.depth)
	c.traceFor(i, c.reference, toMask)
	l := b.masks[0].from[c.reference].of()
	sums := c.maskSums(0, l, c.throughWeights(l, b), b)
	if sums.Weight < halfLost {
		return sums.Weight < 1-lostMost
	}
	pp, ps, ss := sums.variance()
	least := math.Sqrt(max(0, pp-ps*ps/ss) * c.weight[c.reference])
	return arcmin(least/math.Abs(c.masks[0].chief[b.depth])) > c.limits[maskBlur]*doubtOf(sums.Weight)
}

// lossyDoubt is a factor on the limit of a bundle that loses rays, see blursView.
const lossyDoubt = 1.5

// lostMost is the share of a quadrature's weight of which no more can be lost where half of
// the bundle gets through.
const lostMost = 0.75

// throughWeights are the weights of a bundle's rays, 0 for those that are lost.
func (c *Checker) throughWeights(l *lanes.Lines, b *sampledBundle) []float64 {
	all := c.fills[b.field].weight
	c.through = append(c.through[:0], all...)
	for i := range c.through {
		if math.IsNaN(l.X[i]) {
			c.through[i] = 0
		}
	}
	return c.through
}

// screenReliefs visits the eye reliefs at which a train is screened: the least one, at
// which it is solved, and those of the grid up to the largest that the paraxial
// requirements leave.
func screenReliefs(t *objective.Train) func(yield func(float64) bool) {
	return func(yield func(float64) bool) {
		if !yield(t.EyeRelief) {
			return
		}
		for k := math.Floor(t.EyeRelief/screenStep) + 1; k*screenStep <= t.ReliefMost; k++ {
			if !yield(k * screenStep) {
				return
			}
		}
	}
}

// MaskBlurs reports whether the mask is sure to be blurred by more than the factor with a
// rear group at an eye relief, for any train with this rear group, a mask at the rear seat and
// this eye relief, whatever its other groups: rays from the eye meet the mask before the relay,
// so that they cross it in the same places for all of these trains.
func (s *Screener) MaskBlurs(rear *objective.Group, relief float64) bool {
	t := &s.alone
	t.Layout, t.Seat, t.Groups = objective.Keplerian, objective.SeatRear, append(t.Groups[:0], rear, rear)
	t.Gaps = append(t.Gaps[:0], maskAloneGap)
	t.EyeRelief, t.Length = relief, 2*rear.ThicknessMM+maskAloneGap
	t.AngularMagnification = s.p.Magnification
	s.mask.take(t)
	return s.mask.blursMask()
}

// maskAloneGap, in mm, is the gap before the rear group of a train of which only the
// mask is judged: longer than any setpoint is far from the group.
const maskAloneGap = 1000.0

// AtEveryScreen reports whether something holds at every eye relief at which a train that
// is solved would be screened.
func AtEveryScreen(t *objective.Train, holds func(relief float64) bool) bool {
	for relief := range screenReliefs(t) {
		if !holds(relief) {
			return false
		}
	}
	return true
}
