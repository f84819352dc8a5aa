package raycheck

import (
	"fmt"
	"math"
	"strings"

	"relaysweep/objective"
)

// Judgement is a requirement or limit held against what a train has of it.
type Judgement struct {
	// Name is that under which failures are counted; Of tells of what the train has
	// it where that is asked of several things or says more than the name.
	Name, Of string
	Unit     string // empty for a plain number
	// AtLeast tells that Asked is a lower bound; otherwise it is an upper one.
	AtLeast        bool
	Asked, Reached float64 // Reached is NaN where it is not known, a magnitude where the limit is on that
	Fails          bool
}

// Margin is by how much the train keeps it, in its unit, negative where it fails;
// NaN where that is not known.
func (j *Judgement) Margin() float64 {
	if j.AtLeast {
		return j.Reached - j.Asked
	}
	return j.Asked - j.Reached
}

// Judge measures a train, at its gaps and its eye relief, whatever fails, and holds
// it against every requirement and limit, in their order. A train at paraxial gaps
// is asked what [objective.Problem.Judge] and [Checker.Check] ask, another one
// ([objective.Train.Refined]) what is asked of a refined one, see [Refiner], but for the limits
// within which a search refines. FailedBy of the report is the first that fails.
func Judge(p *objective.Problem, t *objective.Train) (*Report, []Judgement) {
	if t.Refined {
		p = refined(p)
	}
	j := judging{p: p, t: t, report: NewChecker(p).Measure(t).Clone()}
	j.groups()
	j.eye()
	j.masks()
	j.parts()
	j.metrics()
	j.report.FailedBy = ""
	for i := range j.all {
		if j.all[i].Fails {
			j.report.FailedBy = j.all[i].Name
			break
		}
	}
	return j.report, j.all
}

// judging gathers judgements.
type judging struct {
	p      *objective.Problem
	t      *objective.Train
	report *Report
	all    []Judgement
}

// atMost and atLeast add a bound, unless it is infinite: nothing is asked then. A
// value counts as keeping it up to slack, in its unit.
func (j *judging) atMost(name, of, unit string, reached, asked, slack float64) {
	if !math.IsInf(asked, 1) {
		j.all = append(j.all, Judgement{name, of, unit, false, asked, reached, !(reached <= asked+slack)})
	}
}

func (j *judging) atLeast(name, of, unit string, reached, asked, slack float64) {
	j.all = append(j.all, Judgement{name, of, unit, true, asked, reached, !(reached >= asked-slack)})
}

// groups judges focal lengths, magnification, gaps and length.
func (j *judging) groups() {
	p, t := j.p, j.t
	names := t.Layout.GroupNames()
	for i, g := range t.Groups {
		// The groups of a pair relay need only together converge.
		if of := "focal length of the " + names[i]; t.Layout == objective.ErectorPair && (i == 1 || i == 2) {
			j.all = append(j.all, Judgement{
				objective.Focal.String(), of + ", magnitude", "mm", false, objective.FocalMost, math.Abs(g.FocalMM), !g.HasPower(),
			})
		} else {
			j.all = append(j.all, Judgement{objective.Focal.String(), of, "mm", true, 0, g.FocalMM, !g.Positive()})
		}
	}
	if relay, ok := p.Relay(t); ok && t.Layout == objective.ErectorPair {
		j.all = append(j.all, Judgement{objective.Focal.String(), "focal length of the pair", "mm", true, 0, relay.FocalMM, !relay.Positive()})
	}
	wanted := p.Magnification
	if t.Layout == objective.Keplerian {
		wanted = -wanted
	}
	j.atMost(objective.Magnification.String(), "off by, as a share", "", math.Abs(t.AngularMagnification/wanted-1), p.MagnificationTol, objective.RequirementSlack)
	for i, gap := range t.Gaps {
		if !t.HoldsMask(i) {
			j.atLeast(objective.GapRoom.String(), names[i]+" to "+names[i+1]+", vertex to vertex", "mm", gap, p.LeastGap(t.Groups[i], t.Groups[i+1]), objective.RoundingSlack)
		}
	}
	j.atMost(objective.Length.String(), "", "mm", t.Length, p.LengthMax, objective.RoundingSlack)
}

// eye judges the eye relief and the paraxial apertures.
func (j *judging) eye() {
	p, t := j.p, j.t
	j.atLeast(objective.Relief.String(), "", "mm", t.EyeRelief, math.Max(p.ReliefMin, p.CombinerMM), objective.RoundingSlack)
	j.atMost(objective.Relief.String(), "", "mm", t.EyeRelief, p.ReliefMax, objective.RoundingSlack)
	if _, limited := p.Limits.Max[MetricList[vignetting].Name]; limited && t.Refined {
		return // traced vignetting judges alone
	}
	worst, used, room := math.Inf(-1), 0.0, 0.0
	p.EachAperture(t, func(u, clear float64) {
		if beyond := u - clear; beyond > worst || math.IsNaN(beyond) {
			worst, used, room = beyond, u, clear
		}
	})
	j.atMost(objective.Aperture.String(), "tightest surface, from the axis", "mm", used, room, objective.RoundingSlack)
}

// masks judges what is asked of each mask, at its exact setpoints and, of a train at
// its paraxial gaps, at the paraxial ones too: each requirement on all masks before the next.
func (j *judging) masks() {
	p, t := j.p, j.t
	gaps := t.MaskGaps()
	masks := make([]maskJudged, len(gaps))
	for k, gap := range gaps {
		masks[k] = j.mask(k, gap)
	}
	limit := func(name, of, unit string, reached, slack float64) {
		asked := p.Limits.Limit(name)
		j.atMost(name, of, unit, reached, asked, slack+asked*objective.RequirementSlack)
	}
	for _, m := range masks {
		j.atLeast(objective.Clearance.String(), m.of("of the mask's glass"), "mm", m.clear+p.Clearance, p.Clearance, m.slack)
	}
	for _, m := range masks {
		j.atMost(objective.Travel.String(), m.of(""), "mm", m.travel, p.Travel, p.Travel*objective.RequirementSlack)
	}
	for _, m := range masks {
		j.atMost(objective.MaskSize.String(), m.of("width"), "mm", 2*m.wide*p.TanHalfWidth, p.MaskWidth, p.MaskWidth*objective.RequirementSlack)
		j.atMost(objective.MaskSize.String(), m.of("height"), "mm", 2*m.wide*p.TanHalfHeight, p.MaskHeight, p.MaskHeight*objective.RequirementSlack)
	}
	for _, m := range masks {
		limit(objective.PixelArcmin.String(), m.of(""), "arcmin", m.pixel, 0)
	}
	for _, m := range masks {
		limit(objective.DepthStepD.String(), m.of(""), "D", m.step, 0)
	}
	limit(objective.ViewpointShiftMM.String(), "", "mm", math.Abs(p.ViewpointShift(t)), objective.RoundingSlack)
}

// maskJudged is what a train has of a mask.
type maskJudged struct {
	image        string // at which it stands, where there are two masks
	clear, slack float64
	travel, wide float64
	pixel, step  float64
}

// of adds to words of a judgement which mask it is on.
func (m *maskJudged) of(what string) string {
	switch {
	case m.image == "":
		return what
	case what == "":
		return m.image
	}
	return what + ", " + m.image
}

// imageOf names the image at which mask k stands, empty where it is the only one.
func (j *judging) imageOf(k int) string {
	switch seats := j.t.Seat.Masks(); {
	case len(seats) == 1:
		return ""
	case seats[k] == objective.SeatFront:
		return "mask at image 1"
	}
	return "mask at image 2"
}

// mask is what the train has of mask k, in a gap.
func (j *judging) mask(k, gap int) maskJudged {
	p, t, r := j.p, j.t, j.report.Mask(k)
	m := maskJudged{image: j.imageOf(k), travel: r.TravelMM}
	lo, hi := p.MaskRoom(t, gap)
	first, last := math.Inf(1), math.Inf(-1)
	add := func(at float64) {
		first, last = math.Min(first, at), math.Max(last, at)
		m.wide = math.Max(m.wide, math.Abs(p.ChiefAtMask(t, gap, at)))
	}
	for i := range r.Setpoints {
		add(r.Setpoints[i].MaskMM)
	}
	if !t.Refined {
		far, _ := p.PlaceMask(t, gap, p.VergenceFar)
		near, _ := p.PlaceMask(t, gap, p.VergenceNear)
		add(far)
		add(near)
		m.travel = math.Max(m.travel, math.Abs(near-far))
	}
	m.slack = objective.RequirementSlack*math.Abs(t.Gaps[gap]) + objective.RoundingSlack
	m.clear = math.Min(first-lo, hi-last)
	if !j.imaged(gap) {
		m.clear = math.NaN()
	}
	for _, v := range [2]float64{p.VergenceFar, p.VergenceNear} { // both are monotonic between them
		_, chief := p.PlaceMask(t, gap, v)
		m.pixel = math.Max(m.pixel, arcmin(p.MaskPixel/math.Abs(chief)))
		m.step = math.Max(m.step, p.DepthStep(t, gap, v))
	}
	return m
}

// imaged reports whether every depth lies in front of where the eye's image stands
// behind the mask in a gap: for those behind it the way of the mask would lead over infinity. The
// height of the chief ray changes its sign there.
func (j *judging) imaged(gap int) bool {
	p, t := j.p, j.t
	_, infinite := p.PlaceMask(t, gap, 0)
	_, near := p.PlaceMask(t, gap, p.VergenceNear)
	return infinite*near > 0
}

// parts judges numbers of lenses and parts, price and mass.
func (j *judging) parts() {
	p, t := j.p, j.t
	d := p.Describe(t)
	count := func(of string, n, most int) {
		j.atMost(objective.Parts.String(), of, "", float64(n), float64(most), 0)
	}
	if p.LensesMax > 0 {
		count("lenses", d.LensesCount, p.LensesMax)
	}
	if p.PartsMax > 0 {
		count("different parts", d.DistinctParts, p.PartsMax)
	}
	pieces := map[int]int{}
	var order []*objective.Element
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			if pieces[e.Part]++; pieces[e.Part] == 1 {
				order = append(order, e)
			}
		}
	}
	for _, e := range order {
		if most := e.Lens.Pieces(); most >= 0 {
			count(fmt.Sprintf("pieces of %s to be had", e.Lens.Part), pieces[e.Part], most)
		}
	}
	price, _ := t.Price()
	mass, _ := t.MassG()
	j.atMost(objective.Price.String(), "", "", price, p.Limits.Limit("price"), 0)
	j.atMost(objective.MassG.String(), "", "g", mass, p.Limits.Limit("mass_g"), 0)
}

// metrics judges what rays measure.
func (j *judging) metrics() {
	for i := range MetricList {
		m := &MetricList[i]
		switch m.Name {
		case objective.Price.String(), objective.MassG.String(): // judged with the parts
		case "transmission":
			if least := j.p.Limits.TransmissionMin; least > 0 {
				j.atLeast("transmission_min", "", "", j.report.Metrics.Transmission, least, 0)
			}
		default:
			if metricIndex(i).ofFacets() && !j.t.HasFacets() {
				continue
			}
			k := 0
			for value := range m.values(&j.report.Metrics, len(j.t.MaskGaps())) {
				of := ""
				if m.ofMask != nil {
					of = j.imageOf(k)
				}
				j.atMost(m.Name, of, unitIn(m.Name), math.Abs(value), j.p.Limits.Limit(m.Name), 0)
				k++
			}
		}
	}
}

// unitIn is the unit that a metric's name ends in.
func unitIn(name string) string {
	for suffix, unit := range map[string]string{"_arcmin": "arcmin", "_D": "D", "_pct": "%"} {
		if strings.HasSuffix(name, suffix) {
			return unit
		}
	}
	return ""
}
