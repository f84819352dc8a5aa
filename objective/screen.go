package objective

import (
	"maps"
	"math"
)

// Screener tells, by exact rays at its paraxial gaps, whether a train is worth being
// refined: at some of several eye reliefs it exceeds no limit of the ray check by more than
// the problem's NearMissFactor (see [NewNearChecker]). It reuses its buffers: each
// goroutine needs its own.
type Screener struct {
	p    *Problem // with the limits of refined trains
	near *Checker
	// Of MaskFails: a train that holds only what the mask sees of any train.
	mask  *Checker
	alone Train
}

// Screened is what a screen found.
type Screened struct {
	// Failed is the first limit that is exceeded by more than the factor at the least eye
	// relief, empty where the train is worth being refined.
	Failed string
	// Relief is the least of the eye reliefs looked at where it is, in mm, physical.
	Relief float64
	// AxisD is axis_vergence_D there.
	AxisD float64
}

// screenStep, in mm, is the distance between the eye reliefs that a screen looks at
// behind the least one. They lie on a grid, so that trains with the same rear group
// share them.
const screenStep = 10.0

// NewScreener prepares screens for p, which must not change afterwards.
func NewScreener(p *Problem) *Screener {
	q := p.refined()
	return &Screener{p: q, near: NewNearChecker(q, p.NearMissFactor), mask: NewNearChecker(q, p.NearMissFactor)}
}

// refined is the problem with the limits that hold for refined trains.
func (p *Problem) refined() *Problem {
	q := *p
	q.Limits.Max = maps.Clone(p.Limits.Max)
	if q.Limits.Max == nil {
		q.Limits.Max = map[string]float64{}
	}
	q.Limits.Max[MetricList[axisVergence].Name] = p.axisLimitD()
	return &q
}

// Screen screens a train that is solved at its least eye relief.
func (s *Screener) Screen(t *Train) Screened {
	first := ""
	at := *t
	for relief := range t.screenReliefs() {
		at.EyeRelief = relief
		report := s.near.Check(&at)
		if report.FailedBy == "" {
			return Screened{Relief: relief, AxisD: report.Metrics.AxisVergenceD}
		}
		if first == "" {
			first = report.FailedBy
		}
	}
	return Screened{Failed: first}
}

// screenReliefs visits the eye reliefs at which a train is screened: the least one, at
// which it is solved, and those of the grid up to the largest that the paraxial
// requirements leave.
func (t *Train) screenReliefs() func(yield func(float64) bool) {
	return func(yield func(float64) bool) {
		if !yield(t.EyeRelief) {
			return
		}
		for k := math.Floor(t.EyeRelief/screenStep) + 1; k*screenStep <= t.reliefMost; k++ {
			if !yield(k * screenStep) {
				return
			}
		}
	}
}

// MaskFails is the limit that the mask alone exceeds by more than the factor, with a
// rear group at an eye relief, empty where it exceeds none: what is left of the screen
// for any train with this rear group, mask seat rear and this eye relief, whatever its
// other groups. Rays from the eye meet the mask before the relay, so that its setpoints,
// travel, size and blur are the same for all of these trains. Where rays are
// lost before the mask nothing is said.
func (s *Screener) MaskFails(rear *Group, relief float64) string {
	t := &s.alone
	t.Layout, t.Seat, t.Groups = Keplerian, SeatRear, append(t.Groups[:0], rear, rear)
	t.Gaps = append(t.Gaps[:0], maskAloneGap)
	t.EyeRelief, t.Length = relief, 2*rear.ThicknessMM+maskAloneGap
	t.AngularMagnification = s.p.Magnification
	return s.mask.maskFails(t)
}

// maskAloneGap, in mm, is the gap before the rear group of a train of which only the
// mask is judged: longer than any setpoint is far from the group.
const maskAloneGap = 1000.0

// MaskFailsAnywhere reports whether the mask alone turns a train away at every eye
// relief at which it would be screened, by an answer to MaskFails; and the name under
// which it is counted, that at the least of them.
func (t *Train) MaskFailsAnywhere(fails func(relief float64) string) string {
	first := ""
	for relief := range t.screenReliefs() {
		failed := fails(relief)
		if failed == "" {
			return ""
		}
		if first == "" {
			first = failed
		}
	}
	return first
}

// maskFails judges the mask of t by the rays that reach it.
func (c *Checker) maskFails(t *Train) string {
	c.prepare(t)
	used := c.usedBundles()
	c.trace(0, c.used*len(c.vergences), toMask)
	for i := range c.bundles[:used] {
		b := &c.bundles[i]
		c.sumMask(b)
		if b.lossy = math.IsNaN(b.maskAll.pp); b.lossy {
			return ""
		}
	}
	if c.judgeMask(); !c.failed() {
		c.judgeMaskBlur()
	}
	return c.report.FailedBy
}
