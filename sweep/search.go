package sweep

import (
	"cmp"
	"context"
	"math"
	"math/big"
	"slices"
	"time"

	"relaysweep/objective"
)

// Progress tells how a search stands. It is called from one goroutine.
type Progress func(Status)

// Status is how far a sweep point has come.
type Status struct {
	Point, Points   int    // which of the run's points it is, from 0, and how many these are
	Stage           string // one of those below, or "search", "check", "optimize", "screen", "refine" or "audit"
	Easing          string // at StageWouldFit: the requirement that is eased
	Examined        int64
	Checked, Passed int64
	ProvenMM        float64 // ranked length below which all is known
	Wanted          int
	ChecksMax       int64   // 0 for no limit
	ExaminedMax     int64   // 0 for no limit
	Replayed        bool    // it was reached by an earlier attempt
	Refined         int     // candidates refined
	BestMM          float64 // ranked length of the shortest design found, +Inf for none; 0 where nothing is refined
}

// Stages in which nothing is counted.
const (
	StageStacks   = "stacks"
	StageWouldFit = "would_fit"
	StageIdeal    = "ideal"
	StageMerge    = "merge"
)

// options are what the search of one point needs besides the problem.
type options struct {
	top            int
	checksMax      int64
	workers        int
	by             objective.RankBy
	onePerParts    bool
	lensesPerGroup int
	// held is how many groups a first horizon should leave; 0 for heldWanted.
	held int
	// heldMost is how many groups may be held at once; 0 for no limit.
	heldMost int
	// boxesAfter is how many trains third order has turned away, one by one, before boxes are
	// looked at; 0 for boxesAfter.
	boxesAfter int64
	// effortMax ends a search that has examined so much (see effortOf) before
	// it is through; 0 for no limit.
	effortMax int64
	// heldStop ends a search that holds more groups before it is through; 0 for no
	// limit.
	heldStop int
	spaces   []objective.Space
	progress func(Status)
	log      *unitLog // nil: no journal
	listing  listing  // in the journal
	part     Part     // of the fronts
	refine   refineOptions
	optimize optimizeOptions
	built    buildOptions
}

// exactSearch walks the designs of a space in ascending ranked length.
type exactSearch struct {
	options
	lib     *objective.Library
	p       *objective.Problem
	stream  *groupStream
	layouts []layoutSearch
	pending []candidate // sorted, all ranked at safe or above
	proof   Proof
	begun   bool
	lo      float64 // everything up to this length has been examined
	step    float64
	over    bool // the whole space has been examined
	brought int  // candidates so far
	// reportAs takes the place of report where the search is part of a walk that refines,
	// which knows what has been found and what is certain; nil otherwise.
	reportAs func(stage string)
	effort   int64
	stopped  bool // by effortMax
	serving  *big.Int
	byRays   map[string]*big.Int
	backlog  backlog // accounts for pending
	// lengthMost is the length beyond which nothing is wanted, mm.
	lengthMost float64
	shared     *sharedSearch // of the layout searches; nil where there are none
	// They draw from what is turned away as it is solved, by the mask or by third-order sums; nil
	// for none.
	turned, turnedThird *auditSample
	boxed               int64   // designs in units that are set aside, see thirdBoxes
	thirdLeast          float64 // ranked length of the shortest that these sums turned away, mm; +Inf for none
}

// newExactSearch prepares the walk.
func newExactSearch(ctx context.Context, lib *objective.Library, o options) (*exactSearch, error) {
	a := &exactSearch{options: o, lib: lib, p: lib.Problem, step: firstStep, proof: Proof{
		Space: new(big.Int), SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{},
		Seconds: map[string]float64{}, Exact: true,
	}, serving: new(big.Int), byRays: map[string]*big.Int{}, backlog: newBacklog(0, math.Inf(1)), lengthMost: math.Inf(1), thirdLeast: math.Inf(1)}
	defer a.clock("stacks")()
	var err error
	if a.stream, err = newGroupStream(ctx, lib, wantedSlots(o)); err != nil {
		return nil, err
	}
	shared := &sharedSearch{lib: lib, p: lib.Problem, by: o.by, workers: o.workers, groups: newGroupCache(lib)}
	if lib.Problem.Refining() {
		shared.mask = newMaskScreen(lib.Problem, o.workers)
	}
	a.boxesAfter = cmp.Or(a.boxesAfter, boxesAfter)
	shared.third = newThirdScreen(lib.Problem, o.workers, o.refine.thirdOrder)
	a.shared = shared
	for _, s := range o.spaces {
		switch s.Layout {
		case objective.ErectorSingle:
			a.layouts = append(a.layouts, &singleSearch{shared, s.Seat})
		case objective.ErectorPair:
			a.layouts = append(a.layouts, &pairSearch{shared, s.Seat})
		case objective.Keplerian:
			a.layouts = append(a.layouts, &keplerianSearch{shared})
		}
	}
	for _, f := range a.layouts {
		s := f.space(a.stream)
		a.proof.Space.Add(a.proof.Space, s.designs)
		tally(a.proof.Failed, objective.Focal.String(), s.focal)
		tally(a.proof.SetAside, byGroup, s.group)
		rest := new(big.Int).Sub(s.designs, s.focal)
		tally(a.proof.SetAside, byBound, rest.Sub(rest, s.group))
		a.serving.Add(a.serving, rest)
	}
	return a, nil
}

// wantedSlots are the slots that the wanted layouts and seats have.
func wantedSlots(o options) slotsWanted {
	want := slotsWanted{spaces: o.spaces, lensesPerGroup: o.lensesPerGroup, workers: o.workers, held: cmp.Or(o.held, heldWanted), heldMost: o.heldMost, part: o.part}
	if want.heldMost > 0 {
		want.held = min(want.held, want.heldMost)
	}
	for _, s := range o.spaces {
		want.single = want.single || s.Layout == objective.ErectorSingle
		want.pair = want.pair || s.Layout == objective.ErectorPair
		want.keplerian = want.keplerian || s.Layout == objective.Keplerian
		if !slices.Contains(want.seats, s.Seat) {
			want.seats = append(want.seats, s.Seat)
		}
	}
	return want
}

var one = big.NewInt(1)

// tally adds to a count by name; nothing leaves no entry.
func tally(counts map[string]*big.Int, name string, n *big.Int) {
	if n.Sign() == 0 {
		return
	}
	if counts[name] == nil {
		counts[name] = new(big.Int)
	}
	counts[name].Add(counts[name], n)
	if counts[name].Sign() == 0 {
		delete(counts, name)
	}
}

func (a *exactSearch) clock(stage string) func() {
	start := time.Now()
	return func() { a.proof.Seconds[stage] += time.Since(start).Seconds() }
}

func (a *exactSearch) report(stage string) {
	if a.reportAs != nil {
		a.reportAs(stage)
		return
	}
	a.show(a.status(stage))
}

func (a *exactSearch) status(stage string) Status {
	return Status{
		Stage: stage, Examined: a.proof.Examined, Checked: a.proof.Checked,
		Passed: a.proof.Passed, ProvenMM: a.safe(), Wanted: a.top,
		ChecksMax: a.checksMax, Replayed: a.log.replaying(),
	}
}

func (a *exactSearch) show(s Status) {
	a.log.logStatus(s)
	if a.progress != nil {
		a.progress(s)
	}
}
