package sweep

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/objective/thirdorder"
)

// optimizeOptions are what a spec asks of a population search.
type optimizeOptions struct {
	wanted      bool
	evaluations int64 // at most
	stall       int64 // evaluations without a better design after which it ends
	seed        int64
	farFactor   float64 // on limits, see farGrader; 0 for none
	nearFactor  float64 // on limits, of what refinement may put right; 0 where nothing is refined
}

// groupNumbers is a group, reduced for the slots in which it has stood.
type groupNumbers struct {
	*objective.Group
	code      objective.StackCode
	front     [objective.SeatCount]objective.Front // by seat
	rear      [objective.SeatCount]objective.Rear
	keplerian objective.Front // of a keplerian
	relay     objective.Relay
	half      *objective.PairComponentRows // nil unless it stood in a pair relay
	miss      float64                      // for lack of a positive focal length
	third     atomic.Pointer[thirdorder.Group]
}

// Numbers that shape the population search.
const (
	// optimizeBatch is how many designs are evaluated together, as one unit. It does
	// not depend on the number of workers.
	optimizeBatch = 256
	// groupsHeld bounds the groups that are remembered in their reduced form.
	groupsHeld = 30_000
)

// optimizer is a population search in progress.
type optimizer struct {
	options
	lib      *objective.Library
	p        *objective.Problem
	want     slotsWanted
	random   *rand.Rand
	groups   map[objective.StackCode]*groupNumbers
	memo     map[designKey]grade
	hopeful  []graded  // those that were traced or may be refined, in the order of evaluation
	shortest []float64 // ranked lengths of those that passed, ascending, at most top
	best     graded    // by compareGraded
	proof    Proof

	perParts map[string]float64 // ranked length of the shortest of the same parts; for one_per

	evaluated  int64 // designs
	progressed int64 // evaluated when the best last changed
	history    []Improvement
	lower      float64 // ranked length below which none passes, see bound; -Inf for none proven
	proven     float64 // as far as the bound has come

	restarts int      // populations up to now
	elite    []graded // the fittest of all populations

	byPower []*objective.Element // ascending
	// only are the lenses that alone may stand in a slot, by power; none where any may.
	only    map[objective.Slots][]*objective.Element
	served  []objective.Space    // with lenses for each of their slots
	powers  []float64            // 1/mm, by an element's index
	place   []int                // of an element in byPower, by its index
	other   []*objective.Element // the same lens turned, nil for none, by its index
	workers chan *evaluator
}

// Improvement is a step in the course of a population search.
type Improvement struct {
	Evaluations int64
	BestMM      float64 // ranked length of the shortest design that passes
}

// Optimized is what a population search tells beside its ranking.
type Optimized struct {
	Evaluations int64
	BestMM      float64 // +Inf when nothing passed
	// LowerBoundMM is a ranked length below which no design of the space passes,
	// -Inf when nothing is proven.
	LowerBoundMM float64
	History      []Improvement
	Nearest      *Nearest // when nothing passed, and something was evaluated
}

// Nearest is the design that came nearest to passing.
type Nearest struct {
	ID     string
	Failed string // the requirement or limit that it fails first
	// RankedMM is its ranked length, and Exceeds what was measured beyond its limit, by the
	// metric's name; 0 and empty for a design that misses a paraxial requirement.
	RankedMM float64
	Exceeds  map[string]float64
}

func newOptimizer(lib *objective.Library, o options) (*optimizer, error) {
	if !lib.Codes(o.lensesPerGroup) {
		return nil, fmt.Errorf("%v groups of up to %d of %d lenses: more than can be told apart\n    lower train.lenses_per_group or leave lenses out",
			countGroups(lib, o.lensesPerGroup), o.lensesPerGroup, len(lib.Lenses))
	}
	s := &optimizer{
		options: o, lib: lib, p: lib.Problem, want: wantedSlots(o), random: rand.New(rand.NewPCG(uint64(o.optimize.seed), 0x6f7074)),
		groups: map[objective.StackCode]*groupNumbers{}, memo: map[designKey]grade{}, perParts: map[string]float64{},
		best: graded{grade: grade{tier: misses, amount: math.Inf(1)}},
		proof: Proof{
			Space: new(big.Int), SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{}, Seconds: map[string]float64{},
			ProvenLength: math.Inf(-1),
		},
		lower: math.Inf(-1), workers: make(chan *evaluator, o.workers),
	}
	for range o.workers {
		s.workers <- &evaluator{p: s.p, by: o.by, checker: raycheck.NewChecker(s.p), far: newFarGrader(s.p, &o.optimize)}
	}
	for _, space := range o.spaces {
		s.proof.Space.Add(s.proof.Space, designsOf(lib, space.Layout, o.lensesPerGroup))
	}
	s.sortElements()
	s.restrict()
	return s, nil
}

// group is a group, with its numbers in a slot still to be asked for.
func (s *optimizer) group(code objective.StackCode) *groupNumbers {
	g := s.groups[code]
	if g == nil {
		g = &groupNumbers{Group: s.lib.Group(code), code: code}
		if !g.Positive() {
			g.miss = focalMissMM * (1 + math.Min(1, math.Abs(1/g.FocalMM)))
		}
		g.keplerian = objective.Front{F: g.FocalMM, ToFocus: g.ThicknessMM + g.BFDMM, Q: objective.Everything}
		s.groups[code] = g
	}
	return g
}

// asFront, asRear and asRelay reduce a group of positive focal length for a
// place, once.
func (s *optimizer) asFront(g *groupNumbers, seat objective.Seat) *objective.Front {
	f := &g.front[seat]
	if f.Group == nil {
		*f, _ = s.p.NewFront(g.Group, seat, objective.LastRequirement)
	}
	return f
}

func (s *optimizer) asRear(g *groupNumbers, seat objective.Seat) *objective.Rear {
	r := &g.rear[seat]
	if r.Group == nil {
		*r, _ = s.p.NewRear(g.Group, seat, objective.LastRequirement)
	}
	return r
}

func (s *optimizer) asRelay(g *groupNumbers) *objective.Relay {
	if g.relay.Group == nil {
		g.relay, _ = s.p.NewRelay(g.Group)
	}
	return &g.relay
}

// designGroups are the groups of a design, from the world to the eye.
type designGroups [4]*groupNumbers

// groupsOf are the groups of a design, reduced for their slots.
func (s *optimizer) groupsOf(key *designKey) (groups designGroups) {
	n := key.groupCount()
	for i := range n {
		groups[i] = s.group(key.groups[i])
	}
	front, rear, seat := groups[0], groups[n-1], key.space.Seat
	if rear.miss == 0 {
		s.asRear(rear, seat)
	}
	if key.space.Layout != objective.Keplerian && front.miss == 0 {
		s.asFront(front, seat)
	}
	switch key.space.Layout {
	case objective.ErectorSingle:
		if groups[1].miss == 0 {
			s.asRelay(groups[1])
		}
	case objective.ErectorPair:
		for _, g := range groups[1:3] {
			if g.half == nil {
				half := objective.NewPairComponentRows(g.Group)
				g.half = &half
			}
		}
	}
	return groups
}

// groupCount is how many groups the design has.
func (k *designKey) groupCount() int { return len(k.space.Layout.GroupNames()) }

// fits reports whether the numbers of a design's groups leave it a chance to meet
// the paraxial requirements and to come into the ranking. It costs far less than
// an evaluation.
func (s *optimizer) fits(key *designKey) bool {
	groups := s.groupsOf(key)
	front, rear, seat := groups[0], groups[key.groupCount()-1], key.space.Seat
	if front.miss > 0 || rear.miss > 0 {
		return false
	}
	switch key.space.Layout {
	case objective.Keplerian:
		return objective.EndMiss(&front.keplerian, &rear.rear[seat]) == 0 && s.p.MagnificationMiss(front.FocalMM, rear.FocalMM) == 0 &&
			front.keplerian.ToFocus+rear.rear[seat].FromFocus+s.p.MaskShift() <= s.room()
	case objective.ErectorSingle:
		return groups[1].miss == 0 && s.fitsSingle(&front.front[seat], &groups[1].relay, &rear.rear[seat])
	}
	if objective.EndMiss(&front.front[seat], &rear.rear[seat]) > 0 {
		return false
	}
	pair, ok := s.p.NewPairTrain(seat, &front.front[seat], groups[1].half, groups[2].half, &rear.rear[seat])
	return ok && pair.Least() <= s.room()
}

// fitsSingle is fits for the groups of an erector-single.
func (s *optimizer) fitsSingle(front *objective.Front, relay *objective.Relay, rear *objective.Rear) bool {
	return s.p.SingleLength(front, relay, rear) <= s.room() && s.p.SingleMiss(front, relay, rear) == 0
}

// room is the length beyond which no train comes into the ranking.
func (s *optimizer) room() float64 { return s.toLength(s.longest()) }

// toLength is the length that a train of a ranked length has at most.
func (s *optimizer) toLength(ranked float64) float64 {
	length := ranked + objective.BoundSlack + objective.RankedStepMM // ranked lengths are rounded
	if s.by == objective.ByLengthToEye {
		length -= s.p.LeastRelief()
	}
	return length
}

// evaluate grades designs that are not known yet, as a unit.
func (s *optimizer) evaluate(ctx context.Context, keys []designKey) ([]graded, error) {
	if len(s.groups) > groupsHeld {
		clear(s.groups)
	}
	most := s.optimize.evaluations - s.evaluated
	if s.checksMax > 0 {
		most = min(most, s.checksMax-s.proof.Checked)
	}
	keys = keys[:min(int64(len(keys)), most)]
	if len(keys) == 0 {
		return nil, nil
	}
	all := make([]graded, len(keys))
	for i := range keys {
		all[i].key = keys[i]
	}
	if err := s.evaluateUnit(ctx, all); err != nil {
		return nil, err
	}
	for i := range all {
		s.account(&all[i])
	}
	s.report()
	return all, nil
}

// evaluateShare is how many designs a worker takes at once.
const evaluateShare = 16

// carry evaluates designs side by side.
func (s *optimizer) carry(ctx context.Context, all []graded) error {
	groups := make([]designGroups, len(all))
	for i := range all {
		groups[i] = s.groupsOf(&all[i].key)
	}
	longest := s.longest()
	group, ctx := errgroup.WithContext(ctx)
	for from := 0; from < len(all); from += evaluateShare {
		group.Go(func() error {
			e := <-s.workers
			defer func() { s.workers <- e }()
			for i := from; i < min(from+evaluateShare, len(all)); i++ {
				if err := ctx.Err(); err != nil {
					return err
				}
				all[i].grade = e.evaluate(all[i].key.space, &groups[i], longest)
			}
			return nil
		})
	}
	return group.Wait()
}

// historyMost bounds the history.
const historyMost = 1000

// account takes an evaluated design into the counts.
func (s *optimizer) account(g *graded) {
	s.memo[g.key] = g.grade
	s.evaluated++
	s.proof.Examined++
	switch g.tier {
	case tooLong:
		tally(s.proof.SetAside, byRest, one)
	case far:
		tally(s.proof.SetAside, byThirdOrder, one)
		if g.near {
			s.hopeful = append(s.hopeful, *g)
		}
	case passes, exceeds:
		s.proof.Checked++
		s.hopeful = append(s.hopeful, *g)
	}
	switch g.tier {
	case passes:
		s.proof.Passed++
		s.rank(g)
	case exceeds, misses:
		name := gradeNames[g.failed]
		counts := s.proof.Failed
		if name == byGap {
			counts = s.proof.SetAside
		}
		tally(counts, name, one)
	}
	if compareGraded(g, &s.best) >= 0 {
		return
	}
	shorter := g.tier == passes && (s.best.tier != passes || g.ranked < s.best.ranked)
	s.best = *g
	s.progressed = s.evaluated
	if shorter && len(s.history) < historyMost {
		s.history = append(s.history, Improvement{s.evaluated, g.ranked})
	}
}

// rank takes the length of a design that passed into those of the shortest, of
// several arrangements of the same parts only the shortest where that is asked.
func (s *optimizer) rank(g *graded) {
	if s.onePerParts {
		c := g.candidate()
		key := c.partsKey(s.lib)
		before, known := s.perParts[key]
		if known && before <= g.ranked {
			return
		}
		s.perParts[key] = g.ranked
		if i, held := slices.BinarySearch(s.shortest, before); known && held {
			s.shortest = slices.Delete(s.shortest, i, i+1)
		}
	}
	i, _ := slices.BinarySearch(s.shortest, g.ranked)
	s.shortest = slices.Insert(s.shortest, i, g.ranked)
	s.shortest = s.shortest[:min(len(s.shortest), s.top)]
}

// longest is the ranked length beyond which no design comes into the ranking.
func (s *optimizer) longest() float64 {
	if len(s.shortest) < s.top {
		return math.Inf(1)
	}
	return s.shortest[s.top-1]
}

// report tells how the search stands.
func (s *optimizer) report() {
	status := Status{
		Stage: "optimize", Examined: s.proof.Examined, Checked: s.proof.Checked, Passed: s.proof.Passed, Wanted: s.top,
		ProvenMM: s.proven, ExaminedMax: s.optimize.evaluations, Replayed: s.log.replaying(),
	}
	s.log.logStatus(status)
	if s.progress != nil {
		s.progress(status)
	}
}

// over tells that the search has come to its end.
func (s *optimizer) over() bool {
	return s.evaluated >= s.optimize.evaluations || s.checksMax > 0 && s.proof.Checked >= s.checksMax ||
		s.optimize.stall > 0 && s.evaluated-s.progressed >= s.optimize.stall
}

// clock adds the time until what it returns is called to that of a stage.
func (s *optimizer) clock(stage string) func() {
	start := time.Now()
	return func() { s.proof.Seconds[stage] += time.Since(start).Seconds() }
}

// take counts in a design of which the exact search has found that it passes.
func (s *optimizer) take(c *candidate) {
	g := graded{key: designKey{c.space, c.groups}, grade: grade{tier: passes, ranked: c.ranked, inner: c.inner}}
	if _, known := s.memo[g.key]; !known {
		s.account(&g)
	}
}

// ranking are the designs that passed, in order, at most top.
func (s *optimizer) ranking() []candidate {
	var all []candidate
	for i := range s.hopeful {
		if s.hopeful[i].tier == passes {
			all = append(all, s.hopeful[i].candidate())
		}
	}
	return s.ordered(all)
}

// ordered sorts designs that passed and keeps the first ones.
func (s *optimizer) ordered(all []candidate) []candidate {
	slices.SortFunc(all, func(a, b candidate) int { return cmp.Compare(a.ranked, b.ranked) })
	if !s.onePerParts && len(all) > s.top { // names cost more than lengths
		last := all[s.top-1].ranked
		n := s.top
		for n < len(all) && all[n].ranked == last {
			n++
		}
		all = all[:n]
	}
	sortCandidates(all, s.lib)
	if s.onePerParts {
		seen := map[string]bool{}
		all = slices.DeleteFunc(all, func(c candidate) bool {
			key := c.partsKey(s.lib)
			again := seen[key]
			seen[key] = true
			return again
		})
	}
	return all[:min(s.top, len(all))]
}

// outcome is what was found up to now.
func (s *optimizer) outcome(ctx context.Context) (*Outcome, error) {
	out := &Outcome{Proof: s.proof, serving: new(big.Int), next: math.Inf(-1)}
	unseen := new(big.Int).Sub(s.proof.Space, big.NewInt(s.evaluated))
	tally(out.Proof.SetAside, byUnseen, unseen)
	best := math.Inf(1)
	for i, c := range s.ranking() {
		if i == 0 {
			best = c.ranked
		}
		out.Found = append(out.Found, Found{ID: c.id(s.lib), Ranked: c.ranked, design: c})
	}
	out.Optimized = &Optimized{Evaluations: s.evaluated, BestMM: best, LowerBoundMM: s.lower, History: s.history}
	out.Proof.ProvenLength = s.lower
	if len(out.Found) == 0 && s.evaluated > 0 {
		var err error
		if out.Optimized.Nearest, err = s.nearest(); err != nil {
			return nil, err
		}
	}
	return out, report(ctx, s.lib, s.options, out.Found)
}

// nearest tells of the best design, of which none passes.
func (s *optimizer) nearest() (*Nearest, error) {
	c := s.best.candidate()
	n := &Nearest{ID: c.id(s.lib), Failed: gradeNames[s.best.failed], RankedMM: c.ranked, Exceeds: map[string]float64{}}
	if s.best.tier != exceeds && s.best.tier != far {
		return n, nil
	}
	train, err := c.solve(s.lib)
	if err != nil {
		return nil, err
	}
	checker := raycheck.NewChecker(s.p)
	n.Failed = checker.Check(train).FailedBy
	r := checker.Measure(train)
	for _, m := range raycheck.MetricList {
		if value, _ := r.Metrics.Value(m.Name); math.Abs(value) > s.p.Limits.Limit(m.Name) {
			n.Exceeds[m.Name] = value
		}
	}
	return n, nil
}
