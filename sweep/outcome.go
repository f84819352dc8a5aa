package sweep

import (
	"maps"
	"math/big"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// Found is a design that passed, with what the ray check measured.
type Found struct {
	Train  *objective.Train
	ID     string
	Ranked float64 // mm, rounded to 1e-6
	Report *raycheck.Report
	// StartLengthMM is a refined design's length at its paraxial gaps, in mm,
	// and Active names what keeps it from being shorter, see
	// [raycheck.Refiner.Settle].
	StartLengthMM float64
	Active        []string
	// Screened tells that every other design which the screen lets through and which
	// refinement makes shorter is known.
	Screened bool
	design   candidate
	moved    []float64 // mm, by gap, the eye relief last; nil when not refined
}

// Outcome is what the search of one sweep point brought, and its proof.
type Outcome struct {
	Found []Found // in ascending ranked length, then by design_id
	Proof Proof
	// Refined counts what was refined, ScreenedMM is a ranked length below which no other
	// design passes when it is refined that the screen lets through, and Audit tells how
	// much it turns away that would; nil and of no meaning where nothing was to be refined.
	Refined    *Refined
	ScreenedMM float64
	Audit      *Audit
	// Best is the shortest design found; nil for none, and where nothing was to be refined.
	Best *BestFound
	// Optimized tells of a population search; nil for the exact one.
	Optimized *Optimized
	// Given tells of a train that was measured in place of a search; nil for a search.
	Given *Given
	// What joining the parts of a point needs besides, see mergePoint.
	turnedByRays map[string]*big.Int // of Proof.Failed, those that the ray check turned away
	serving      *big.Int            // designs all of whose groups can serve in their slots
	next         float64             // ranked length of the next design to check, or its lower bound
	// To draw an audit from: what rays turned away, and what third-order sums did.
	sample, thirdSample []candidate
}

// Refined counts the candidates that were re-optimised by exact rays.
type Refined struct {
	Candidates int
	Passed     int // afterwards
}

// BestFound is the shortest design found.
type BestFound struct {
	ShortestMM float64 // its ranked length
	By         string  // "walk" or "population", what found it first
}

// Proof accounts for every design of a space. Each is set aside by a bound,
// failed a requirement or a limit, or passed:
//
//	Space = sum of SetAside + sum of Failed + Passed.
type Proof struct {
	Space    *big.Int
	SetAside map[string]*big.Int // by kind of bound
	Examined int64               // judged one by one
	Checked  int64               // of those, traced
	Passed   int64
	Failed   map[string]*big.Int // by requirement or limit
	// ProvenLength is the ranked length in mm below which no design exists but
	// the ones found, +Inf when the whole space was searched.
	ProvenLength float64
	Exact        bool  // the ranking is complete to its end
	WouldFit     *Fits // when nothing passes
	Seconds      map[string]float64
}

// Kinds of bounds that set designs aside.
const (
	// byGroup: a group can't serve in its slot, whatever the other groups.
	byGroup = "group"
	// byBound: longer than what was asked for, or front and rear leave the
	// relay no focal length that the apertures allow, or a train with a pair relay
	// takes more of a part, or more lenses, than there may be: whether it would be
	// as short is not asked then.
	byBound = "bound"
	// byGap: no inner gap of a pair relay leaves an eye relief, by halving the
	// range of gaps until every part of it is proven empty.
	byGap = "inner_gap"
	// byParts: the parts of a design that passed, arranged otherwise.
	byParts = "one_per_parts"
	// byRest: met every requirement, but not reached by the ray check as the
	// ranking was full before.
	byRest = "rest"
	// byThirdOrder: third-order sums see it beyond a limit, either as it met every requirement, see
	// thirdScreen, or wherever the eye may be, without that it was solved, see thirdBoxes. Unlike the others
	// this is a screen, and no bound.
	byThirdOrder = "third_order"
	// byUnseen: not looked at yet when the run was interrupted.
	byUnseen = "unseen"
)

// outcome writes what a sweep point brought, but for the reports of what was
// found: the ray check makes the same ones again.
func (e *encoder) outcome(o *Outcome) {
	p := &o.Proof
	e.Big(p.Space)
	e.Counts(p.SetAside)
	e.Counts(p.Failed)
	e.Int64(p.Examined)
	e.Int64(p.Checked)
	e.Int64(p.Passed)
	e.Float(p.ProvenLength)
	e.Flag(p.Exact)
	e.fits(p.WouldFit)
	e.Uvarint(len(p.Seconds))
	for _, name := range slices.Sorted(maps.Keys(p.Seconds)) {
		e.Text(name)
		e.Float(p.Seconds[name])
	}
	e.Counts(o.turnedByRays)
	e.Big(o.serving)
	e.Float(o.next)
	e.Uvarint(len(o.Found))
	for _, f := range o.Found {
		e.design(&f.design)
		e.Float(f.Ranked)
		e.moved(f.moved)
		e.Flag(f.Screened)
	}
	e.Flag(o.Refined != nil)
	if o.Refined != nil {
		e.Uvarint(o.Refined.Candidates)
		e.Uvarint(o.Refined.Passed)
		e.Float(o.ScreenedMM)
		e.Flag(o.Best != nil)
		if o.Best != nil {
			e.Float(o.Best.ShortestMM)
			e.Text(o.Best.By)
		}
		e.Flag(o.Audit != nil)
		if o.Audit != nil {
			e.Uvarint(o.Audit.Drawn)
			e.Uvarint(o.Audit.Passed)
			e.Uvarint(o.Audit.ThirdOrder.Drawn)
			e.Uvarint(o.Audit.ThirdOrder.Passed)
			e.Float(o.Audit.ThirdOrder.MissedShareUpper95)
			e.Float(o.Audit.MissedShareUpper95)
		}
		e.designs(o.sample)
		e.designs(o.thirdSample)
	}
	e.Flag(o.Optimized != nil)
	if x := o.Optimized; x != nil {
		e.Int64(x.Evaluations)
		e.Float(x.BestMM)
		e.Float(x.LowerBoundMM)
		e.Uvarint(len(x.History))
		for _, step := range x.History {
			e.Int64(step.Evaluations)
			e.Float(step.BestMM)
		}
		e.nearest(x.Nearest)
	}
}

// outcome reads an outcome; what was found has neither trains nor reports.
func (d *decoder) outcome(lib *objective.Library) *Outcome {
	o := &Outcome{}
	p := &o.Proof
	p.Space = d.Big()
	p.SetAside = d.Counts()
	p.Failed = d.Counts()
	p.Examined, p.Checked, p.Passed = d.Int64(), d.Int64(), d.Int64()
	p.ProvenLength = d.Float()
	p.Exact = d.Flag()
	p.WouldFit = d.fits()
	p.Seconds = map[string]float64{}
	for range d.Length() {
		name := d.Text()
		p.Seconds[name] = d.Float()
	}
	o.turnedByRays = d.Counts()
	o.serving = d.Big()
	o.next = d.Float()
	for range d.Length() {
		f := Found{design: d.design(lib), Ranked: d.Float(), moved: d.moved(), Screened: d.Flag()}
		if !d.Failed() {
			f.ID = f.design.id(lib)
			o.Found = append(o.Found, f)
		}
	}
	if d.Flag() {
		o.Refined = &Refined{Candidates: d.Uvarint(), Passed: d.Uvarint()}
		o.ScreenedMM = d.Float()
		if d.Flag() {
			o.Best = &BestFound{d.Float(), d.Text()}
		}
		if d.Flag() {
			o.Audit = &Audit{Drawn: d.Uvarint(), Passed: d.Uvarint()}
			o.Audit.ThirdOrder = AuditOfThirdOrder{d.Uvarint(), d.Uvarint(), d.Float()}
			o.Audit.MissedShareUpper95 = d.Float()
		}
		o.sample, o.thirdSample = d.designs(lib), d.designs(lib)
	}
	if d.Flag() {
		x := &Optimized{Evaluations: d.Int64(), BestMM: d.Float(), LowerBoundMM: d.Float()}
		for range d.Length() {
			x.History = append(x.History, Improvement{d.Int64(), d.Float()})
		}
		x.Nearest = d.nearest()
		o.Optimized = x
	}
	return o
}

// nearest writes the design that came nearest to passing, if there is one.
func (e *encoder) nearest(n *Nearest) {
	e.Flag(n != nil)
	if n == nil {
		return
	}
	e.Text(n.ID)
	e.Text(n.Failed)
	e.Float(n.RankedMM)
	e.Uvarint(len(n.Exceeds))
	for _, name := range slices.Sorted(maps.Keys(n.Exceeds)) {
		e.Text(name)
		e.Float(n.Exceeds[name])
	}
}

func (d *decoder) nearest() *Nearest {
	if !d.Flag() {
		return nil
	}
	n := &Nearest{ID: d.Text(), Failed: d.Text(), RankedMM: d.Float(), Exceeds: map[string]float64{}}
	for range d.Length() {
		name := d.Text()
		n.Exceeds[name] = d.Float()
	}
	return n
}
