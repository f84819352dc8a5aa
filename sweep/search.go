package sweep

import (
	"cmp"
	"context"
	"math"
	"math/big"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
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
}

// ascent walks the designs of a space in ascending ranked length.
type ascent struct {
	options
	lib     *objective.Library
	p       *objective.Problem
	source  *source
	finders []finder
	pending []candidate // sorted, all ranked at safe or above
	proof   Proof
	begun   bool
	lo      float64 // everything up to this length has been examined
	step    float64
	over    bool // the whole space has been examined
	brought int  // candidates so far
	effort  int64
	stopped bool // by effortMax
	serving *big.Int
	byRays  map[string]*big.Int
	backlog backlog // accounts for pending
	// lengthMost is the length beyond which nothing is wanted, mm.
	lengthMost float64
	shared     *search      // of the finders; nil where there are none
	turned     *auditSample // draws from what is turned away as it is solved; nil for none
}

// firstStep, in mm, is the width of the first window of lengths, and
// firstGrowth the share of its length by which the search grows until it meets
// candidates. Windows without any cost little. stepLeast, in mm, is a width
// below which a window is not cut further, however much it holds.
const (
	firstStep   = 4.0
	firstGrowth = 0.25
	stepLeast   = 1e-5
)

// A window should bring about as many candidates as were wanted so far, so
// that little of the last one is wasted and each costs more than the one
// before only as the search goes deeper; one that brings several times as many
// is given up and tried narrower. windowLeast and windowMost bound the number.
const (
	windowLeast   = 256
	windowMost    = 262_144
	windowTooMany = 4   // times as many as wanted
	windowGrowth  = 1.5 // of the width from one window to the next
)

// windowWanted is how many candidates the next window should bring.
func (a *ascent) windowWanted() int {
	return max(windowLeast, min(windowMost, a.top+a.brought))
}

// lengthBeyond, in mm, is a length beyond which the windows end: the next one
// takes all that is left.
const lengthBeyond = 20_000.0

// newAscent prepares the walk.
func newAscent(ctx context.Context, lib *objective.Library, o options) (*ascent, error) {
	a := &ascent{options: o, lib: lib, p: lib.Problem, step: firstStep, proof: Proof{
		Space: new(big.Int), SetAside: map[string]*big.Int{}, Failed: map[string]*big.Int{},
		Seconds: map[string]float64{}, Exact: true,
	}, serving: new(big.Int), byRays: map[string]*big.Int{}, backlog: newBacklog(0, math.Inf(1)), lengthMost: math.Inf(1)}
	defer a.clock("stacks")()
	var err error
	if a.source, err = newSource(ctx, lib, rolesOf(o)); err != nil {
		return nil, err
	}
	shared := &search{lib: lib, p: lib.Problem, by: o.by, workers: o.workers, groups: newGroupCache(lib)}
	if lib.Problem.Refining() {
		shared.mask = newMaskScreen(lib.Problem, o.workers)
	}
	a.shared = shared
	for _, s := range o.spaces {
		switch s.Layout {
		case objective.ErectorSingle:
			a.finders = append(a.finders, &singleFinder{shared, s.Seat})
		case objective.ErectorPair:
			a.finders = append(a.finders, &pairFinder{shared, s.Seat})
		case objective.Keplerian:
			a.finders = append(a.finders, &keplerianFinder{shared})
		}
	}
	for _, f := range a.finders {
		s := f.space(a.source)
		a.proof.Space.Add(a.proof.Space, s.designs)
		tally(a.proof.Failed, objective.Focal.String(), s.focal)
		tally(a.proof.SetAside, byGroup, s.group)
		rest := new(big.Int).Sub(s.designs, s.focal)
		tally(a.proof.SetAside, byBound, rest.Sub(rest, s.group))
		a.serving.Add(a.serving, rest)
	}
	return a, nil
}

// rolesOf are the places that the wanted layouts and seats have.
func rolesOf(o options) roles {
	want := roles{spaces: o.spaces, lensesPerGroup: o.lensesPerGroup, workers: o.workers, held: cmp.Or(o.held, heldWanted), heldMost: o.heldMost, part: o.part}
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

func (a *ascent) clock(stage string) func() {
	start := time.Now()
	return func() { a.proof.Seconds[stage] += time.Since(start).Seconds() }
}

// least is a length below which there is nothing.
func (a *ascent) least(ctx context.Context) (float64, error) {
	least := math.Inf(1)
	if a.source.sifted { // those held are not all
		least = a.source.sieve.Least
	} else {
		err := a.source.eachShare(ctx, lengthBeyond, func(st *stacks) (bool, error) {
			for _, f := range a.finders {
				l, err := f.least(ctx, st)
				if err != nil {
					return false, err
				}
				least = math.Min(least, l)
			}
			return true, nil
		})
		if err != nil {
			return 0, err
		}
	}
	return math.Max(0, math.Min(least, lengthBeyond)-2*objective.BoundSlack), nil
}

// advance examines one more window of lengths.
func (a *ascent) advance(ctx context.Context) error {
	defer a.clock("search")()
	if !a.begun {
		a.report("search")
		var err error
		if a.lo, err = a.leastUnit(ctx); err != nil {
			return err
		}
		a.begun = true
	}
	hi := a.lo + a.step
	if hi > lengthBeyond {
		hi = math.Inf(1)
	}
	hi = math.Min(hi, math.Min(a.p.LengthMax, math.Max(a.lengthMost, a.lo+endSlack)))
	wanted := a.windowWanted()
	most := windowTooMany * wanted
	if a.step < stepLeast { // nothing is gained by an even narrower one
		most = math.MaxInt
	}
	if err := a.restore(ctx); err != nil {
		return err
	}
	joined, err := a.examineUnit(ctx, hi, most)
	if err != nil {
		return err
	}
	a.effort += joined.effort
	if !joined.ok {
		if math.IsInf(hi, 1) {
			a.step = a.lo
		}
		a.step /= 4
		return nil
	}
	a.account(&joined.window)
	n := joined.designs
	a.brought += n
	a.step *= math.Max(0.25, math.Min(windowGrowth, float64(wanted)/float64(n)))
	if a.brought == 0 {
		// Candidates set in steeply: come up to the first ones carefully.
		a.step = math.Min(a.step, math.Max(firstStep, firstGrowth*hi))
	}
	a.lo = hi
	a.over = hi >= a.p.LengthMax
	return nil
}

// examine lets all finders examine the window of lengths above lo and up to hi. It
// is given up when one of them meets more than most candidates.
func (a *ascent) examine(ctx context.Context, lo, hi float64, most int) (joined examined, err error) {
	all := math.MaxInt // of all shares and finders together
	if most < all/len(a.finders) {
		all = most * len(a.finders)
	}
	joined.ok = true
	err = a.source.eachShare(ctx, hi, func(st *stacks) (bool, error) {
		for _, f := range a.finders {
			w, ok, err := f.find(ctx, st, lo, hi, most)
			if err != nil {
				return false, err
			}
			if !ok || len(joined.candidates)+len(w.candidates) > all {
				joined = examined{effort: joined.effort + int64(most)*examinedToo(f)*effortOf(f)}
				return false, nil
			}
			joined.effort += w.examined * effortOf(f)
			joined.add(&w)
		}
		return true, nil
	})
	return joined, err
}

// account moves what a window examined out of the count of the bound.
func (a *ascent) account(w *window) {
	a.proof.Examined += w.examined
	tally(a.proof.SetAside, byBound, big.NewInt(-w.examined))
	tally(a.proof.SetAside, byGap, big.NewInt(w.noGap))
	for r, n := range w.failed {
		tally(a.proof.Failed, objective.Requirement(r).String(), big.NewInt(n))
	}
	tally(a.proof.Failed, raycheck.MaskBlurName, big.NewInt(w.blurred))
	tally(a.byRays, raycheck.MaskBlurName, big.NewInt(w.blurred))
}

// safe is the ranked length below which every candidate is known. Ranked
// lengths are rounded, so that one just above the last window may compare
// equal to one inside: the last rounding step is left to the next window.
func (a *ascent) safe() float64 {
	if a.over {
		return math.Inf(1)
	}
	return a.lo - 1e-6 + a.reliefAdded()
}

// effortOf is what examining a train costs, in that of a train of single
// groups: a pair's inner gap is searched for.
func effortOf(f finder) int64 {
	if _, pair := f.(*pairFinder); pair {
		return 30
	}
	return 1
}

// next is the next candidates in order, at least one and at most most, and
// more false when the space is exhausted, or as far as designs are wanted. While the journal is replayed there are
// none in hand, and more tells that it has taken some.
func (a *ascent) next(ctx context.Context, most int) (batch []candidate, more bool, err error) {
	for {
		kind, err := a.log.kind()
		if err != nil {
			return nil, false, err
		}
		switch {
		case kind == recordChecks || kind == recordEased || kind == recordScreen:
			return nil, true, nil
		case kind != 0 && a.over && a.backlog.left > 0:
			return nil, false, a.log.journal.Damaged(journal.ErrUnfit)
		case kind != 0 && a.over:
			return nil, false, nil
		}
		if err := a.restore(ctx); err != nil {
			return nil, false, err
		}
		n, _ := slices.BinarySearchFunc(a.pending, a.safe(), func(c candidate, safe float64) int {
			return cmp.Compare(c.ranked, safe)
		})
		if n = min(n, most); a.over && n == 0 {
			n = min(len(a.pending), most)
		}
		if n > 0 || a.over {
			batch := a.pending[:n]
			a.pending = a.pending[n:]
			return batch, n > 0, nil
		}
		if a.safe() > a.lengthMost+a.reliefAdded() {
			return nil, false, nil
		}
		if a.effortMax > 0 && a.effort > a.effortMax || a.heldStop > 0 && a.source.size() > a.heldStop {
			a.stopped = true
			return nil, false, nil
		}
		if err := a.advance(ctx); err != nil {
			return nil, false, err
		}
		a.report("search")
	}
}

func (a *ascent) report(stage string) { a.show(a.status(stage)) }

func (a *ascent) status(stage string) Status {
	return Status{
		Stage: stage, Examined: a.proof.Examined, Checked: a.proof.Checked,
		Passed: a.proof.Passed, ProvenMM: a.safe(), Wanted: a.top,
		ChecksMax: a.checksMax, Replayed: a.log.replaying(),
	}
}

func (a *ascent) show(s Status) {
	a.log.logStatus(s)
	if a.progress != nil {
		a.progress(s)
	}
}

// batchSize is how many designs are ray-checked between two looks at whether
// the ranking is full. It does not depend on the number of workers, so that
// neither do the counts.
const batchSize = 64

// run walks on until top designs have passed or the space is exhausted. With
// an error comes what was found up to then.
func (a *ascent) run(ctx context.Context) (*Outcome, error) {
	out := &Outcome{}
	checkers := make(chan *raycheck.Checker, a.workers)
	for range a.workers {
		checkers <- raycheck.NewChecker(a.p)
	}
	passedParts := map[string]bool{}
	for len(out.Found) < a.top {
		batch, more, err := a.next(ctx, batchSize)
		if err != nil {
			return a.unfinished(out), err
		}
		if !more {
			a.proof.Exact = !a.stopped
			break
		}
		got, err := a.checkUnit(ctx, checkers, batch, true, func(batch []candidate, verdicts []string) judged {
			return a.judge(batch, verdicts, a.top-len(out.Found), passedParts)
		})
		if err != nil {
			return a.unfinished(out), err
		}
		tally(a.proof.SetAside, byParts, big.NewInt(got.skipped))
		for _, failed := range got.failed {
			a.proof.Checked += failed.n
			tally(a.proof.Failed, failed.name, big.NewInt(failed.n))
			tally(a.byRays, failed.name, big.NewInt(failed.n))
		}
		for i, c := range got.passed {
			a.proof.Checked++
			a.proof.Passed++
			if a.onePerParts {
				passedParts[c.partsKey(a.lib)] = true
			}
			out.Found = append(out.Found, Found{Train: got.trains[i], ID: c.id(a.lib), Ranked: c.ranked, Report: got.reports[i], design: c})
		}
		a.report("check")
		if a.checksMax > 0 && a.proof.Checked == a.checksMax && len(out.Found) < a.top {
			a.proof.Exact = a.over && a.backlog.left == 0
			break
		}
	}
	a.close(out)
	return out, nil
}

// judge takes the designs of a batch of checks until so many have passed or no more
// may be checked.
func (a *ascent) judge(batch []candidate, verdicts []string, wanted int, passedParts map[string]bool) (j judged) {
	passed := map[string]bool{} // parts, within the batch
	checked := a.proof.Checked
	for i, c := range batch {
		if len(j.passed) == wanted || a.checksMax > 0 && checked == a.checksMax {
			j.ended = true
			break
		}
		j.taken++
		key := ""
		if a.onePerParts {
			if key = c.partsKey(a.lib); passedParts[key] || passed[key] {
				j.skipped++
				continue
			}
		}
		checked++
		if verdicts[i] != "" {
			j.failed = countVerdict(j.failed, verdicts[i])
			continue
		}
		passed[key] = true
		j.passed = append(j.passed, c)
	}
	return j
}

// close gives an outcome its proof.
func (a *ascent) close(out *Outcome) {
	tally(a.proof.SetAside, byRest, big.NewInt(int64(a.backlog.left)))
	a.proof.ProvenLength = a.provenLength(out)
	out.Proof = a.proof
	out.turnedByRays, out.serving, out.next = a.byRays, a.serving, a.safe()
	out.next = math.Min(out.next, a.backlog.next)
}

// unfinished is the outcome of a walk that was stopped: what was found are the
// first of the ranking, and what was not looked at is counted as unseen.
func (a *ascent) unfinished(out *Outcome) *Outcome {
	a.proof.Exact = false
	if unseen := a.proof.SetAside[byBound]; unseen != nil {
		delete(a.proof.SetAside, byBound)
		a.proof.SetAside[byUnseen] = unseen
	}
	a.close(out)
	return out
}

// provenLength is the ranked length below which every design is accounted for.
func (a *ascent) provenLength(out *Outcome) float64 {
	switch {
	case a.backlog.left > 0 && !a.proof.Exact:
		return math.Min(a.backlog.next, a.safe())
	case len(out.Found) == a.top:
		return out.Found[a.top-1].Ranked
	case a.over:
		return math.Inf(1)
	}
	return a.safe()
}

// check ray-checks a batch, each worker with a checker of its own.
func (a *ascent) check(ctx context.Context, checkers chan *raycheck.Checker, batch []candidate) (trains []*objective.Train, reports []*raycheck.Report, err error) {
	defer a.clock("check")()
	trains, reports = make([]*objective.Train, len(batch)), make([]*raycheck.Report, len(batch))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(a.workers)
	for i := range batch {
		group.Go(func() error {
			c := <-checkers
			defer func() { checkers <- c }()
			train, err := batch[i].solve(a.lib)
			if err != nil {
				return err
			}
			trains[i] = train
			reports[i] = c.Check(train).Clone()
			return ctx.Err()
		})
	}
	return trains, reports, group.Wait()
}

// partsKey names the parts of a candidate without regard to their arrangement.
func (c *candidate) partsKey(lib *objective.Library) string {
	var parts []string
	for _, code := range c.codes() {
		for _, e := range lib.Stack(code) {
			parts = append(parts, e.Lens.Part)
		}
	}
	slices.Sort(parts)
	return strings.Join(parts, "+")
}
