package sweep

import (
	"context"
	"math"
	"math/big"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
)

// refineWalk is a walk that ranks designs by what refinement makes of them. It takes
// designs in ascending order of a lower bound on that ([objective.Problem.LeastRefined]
// and [objective.PairTrain.Least]). Each is screened by exact rays at its paraxial
// gaps, what comes near its limits is refined at once, and the walk ends when the ranking is
// full and the bound of all that remain is beyond its last length.
type refineWalk struct {
	*exactSearch
	tools   chan *refineTools
	best    ranking
	counts  Refined
	screens *auditSample // draws from what the screen turned away by rays of its own
	solves  *auditSample // and from what it turned away as trains were solved
	thirds  *auditSample // and from what third-order sums turned away
	waiting []nearDesign // screened, still to be refined
	beat    ranking      // what the population found; it never comes into the walk's own ranking
	known   map[designKey]*refinedEnd
	ended   map[designKey]*refinedEnd // what was refined, kept for another walk; nil for none
	quiet   bool                      // shows nothing
	// How many designs are screened in one unit, and refined.
	screenMost, refineMost int
	groups                 *groupCache
}

// refineTools are what one goroutine refines with.
type refineTools struct {
	screener *raycheck.Screener
	checker  *raycheck.Checker
	refiner  *raycheck.Refiner
}

// nearDesign is a design that the screen lets through.
type nearDesign struct {
	candidate
	relief float64 // mm: the eye relief at which it does
}

// refinedEnd is what came of a design that was refined.
type refinedEnd struct {
	failed      string    // what it fails at its paraxial gaps, where refinement does not help either
	moved       []float64 // mm, by gap, the eye relief last; nil where it stays at its paraxial gaps
	ranked      float64   // mm, of one that passed
	longer      bool      // it can't come into the ranking, and was not refined
	evaluations int
}

func (e *refinedEnd) passed() bool { return e.failed == "" && !e.longer }

// screenBatch is how many designs are screened in one unit, refineBatch how many are
// refined, so that neither depends on the number of workers.
const (
	screenBatch = 256
	refineBatch = 32
)

// endSlack, in mm, covers the rounding of ranked lengths where a walk ends.
const endSlack = 2e-6

func newRefineWalk(a *exactSearch) *refineWalk {
	w := &refineWalk{
		exactSearch: a, tools: make(chan *refineTools, a.workers), known: map[designKey]*refinedEnd{},
		best:       ranking{lib: a.lib, top: a.top, onePerParts: a.onePerParts},
		beat:       ranking{lib: a.lib, top: a.top, onePerParts: a.onePerParts},
		screenMost: screenBatch, refineMost: refineBatch,
		screens: newAuditSample(a.refine.audit, a.refine.seed), solves: newAuditSample(a.refine.audit, a.refine.seed),
		thirds: newAuditSample(a.refine.audit, a.refine.seed),
	}
	a.reportAs = w.showAs
	for range a.workers {
		w.tools <- &refineTools{raycheck.NewScreener(a.p), raycheck.NewChecker(a.p), raycheck.NewRefiner(a.p, a.by)}
	}
	if w.groups = newGroupCache(a.lib); a.shared != nil {
		w.groups = a.shared.groups
	}
	if a.turned, a.turnedThird = w.solves, w.thirds; a.shared != nil {
		a.shared.drawing, a.shared.drawingThird = w.solves, w.thirds
	}
	return w
}

// level is the ranked length below which every design has been screened, and refined
// where the screen let it through: it holds for what refinement makes of them.
func (w *refineWalk) level() float64 {
	level := math.Min(w.backlog.next, w.safe())
	for i := range w.waiting {
		level = math.Min(level, w.waiting[i].ranked)
	}
	return level
}

// wanted is the ranked length beyond which no design comes into the ranking.
func (w *refineWalk) wanted() float64 { return math.Min(w.best.longest(), w.beat.longest()) }

// run walks on until nothing that remains can come into the ranking. With an error
// comes what was found up to then.
func (w *refineWalk) run(ctx context.Context) (*Outcome, error) {
	err := w.population(ctx)
	if err == nil {
		err = w.walk(ctx)
	}
	if err != nil {
		return w.halted(ctx, err)
	}
	out := w.outcome()
	if !w.part.Whole() {
		return out, nil
	}
	if err := w.audit(ctx, out, w.sample(), w.thirds.kept); err != nil {
		return w.told(ctx, out, err)
	}
	return out, nil
}

// told is an outcome with its reports, after an error that has stopped the run.
func (w *refineWalk) told(ctx context.Context, out *Outcome, err error) (*Outcome, error) {
	if reportErr := report(context.WithoutCancel(ctx), w.lib, w.options, out.Found); reportErr != nil {
		return nil, reportErr
	}
	return out, err
}

// sample are the designs from which an audit is drawn, of those that rays turned away.
func (w *refineWalk) sample() []candidate { return slices.Concat(w.screens.kept, w.solves.kept) }

// halted is the outcome of a walk that an error has stopped.
func (w *refineWalk) halted(ctx context.Context, err error) (*Outcome, error) {
	if unseen := w.proof.SetAside[byBound]; unseen != nil {
		delete(w.proof.SetAside, byBound)
		w.proof.SetAside[byUnseen] = unseen
	}
	w.proof.Exact = false
	return w.told(ctx, w.outcome(), err)
}

func (w *refineWalk) walk(ctx context.Context) error {
	for w.level() <= w.wanted()+endSlack {
		if w.checksMax > 0 && w.proof.Checked >= w.checksMax {
			w.proof.Exact = w.over && w.backlog.left == 0
			return nil
		}
		w.lengthMost = w.wanted() + endSlack - w.reliefAdded()
		batch, more, err := w.next(ctx, w.screenMost)
		if err != nil {
			return err
		}
		if !more {
			w.proof.Exact = !w.stopped
			return nil
		}
		if err := w.screenUnit(ctx, batch); err != nil {
			return err
		}
		for len(w.waiting) > 0 {
			if most := w.refine.candidates; most > 0 && w.counts.Candidates >= most {
				w.proof.Exact = false
				return nil
			}
			if err := w.refineNext(ctx); err != nil {
				return err
			}
		}
		w.showAs("screen")
	}
	return nil
}

// reliefAdded is what the ranked length holds of eye relief at the least.
func (a *exactSearch) reliefAdded() float64 {
	if a.by == objective.ByLengthToEye {
		return a.p.LeastRelief()
	}
	return 0
}

func (w *refineWalk) showAs(stage string) {
	if w.quiet {
		return
	}
	s := w.status(stage)
	s.ProvenMM, s.Refined, s.Passed = w.level(), w.counts.Candidates, int64(len(w.best.found))
	s.BestMM = math.Inf(1)
	for _, found := range [][]Found{w.best.found, w.beat.found} {
		if len(found) > 0 {
			s.BestMM = math.Min(s.BestMM, found[0].Ranked)
		}
	}
	w.show(s)
}

// screenUnit screens a batch as a unit.
func (w *refineWalk) screenUnit(ctx context.Context, batch []candidate) error {
	type screened struct {
		failed []verdictCount
		near   []nearDesign
		drawn  []candidate
	}
	var s screened
	took, spent, err := w.takeUnit(ctx, recordScreen, batch, func(ctx context.Context) (taking, error) {
		if left := w.checksMax - w.proof.Checked; w.checksMax > 0 {
			batch = batch[:min(int64(len(batch)), left)]
		}
		results, err := w.screen(ctx, batch)
		if err != nil {
			return taking{}, err
		}
		var turned []candidate
		for i := range results {
			if results[i].Failed == "" {
				s.near = append(s.near, nearDesign{batch[i], results[i].Relief})
				continue
			}
			s.failed = countVerdict(s.failed, results[i].Failed)
			turned = append(turned, batch[i])
		}
		s.drawn = w.screens.offer(turned)
		return taking{taken: len(batch)}, nil
	}, func(e *encoder) {
		e.verdictCounts(s.failed)
		near := make([]candidate, len(s.near))
		for i := range s.near {
			near[i] = s.near[i].candidate
		}
		e.designs(near)
		for i := range s.near {
			e.Float(s.near[i].relief)
		}
		e.designs(s.drawn)
	}, func(d *decoder) error {
		s.failed = d.verdictCounts()
		for _, c := range d.designs(w.lib) {
			s.near = append(s.near, nearDesign{candidate: c})
		}
		for i := range s.near {
			s.near[i].relief = d.Float()
		}
		s.drawn = d.designs(w.lib)
		w.screens.offer(s.drawn)
		return d.End()
	})
	w.proof.Seconds["screen"] += spent.Seconds()
	if err != nil {
		return err
	}
	w.proof.Checked += int64(took.taken)
	for _, failed := range s.failed {
		tally(w.proof.Failed, failed.name, big.NewInt(failed.n))
		tally(w.byRays, failed.name, big.NewInt(failed.n))
	}
	w.waiting = append(w.waiting, s.near...)
	return nil
}

// screen screens designs side by side.
func (w *refineWalk) screen(ctx context.Context, batch []candidate) ([]raycheck.Screened, error) {
	defer w.clock("screen")()
	results := make([]raycheck.Screened, len(batch))
	return results, w.each(ctx, len(batch), screenShare, func(with *refineTools, i int) error {
		start, err := batch[i].solveOf(w.lib, w.groups.group)
		if err == nil {
			results[i] = with.screener.Screen(start)
		}
		return err
	})
}

// screenShare is how many designs a goroutine screens before it takes the next ones.
const screenShare = 8

// each does something with each of n designs, side by side.
func (w *refineWalk) each(ctx context.Context, n, share int, do func(with *refineTools, i int) error) error {
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(w.workers)
	for from := 0; from < n; from += share {
		group.Go(func() error {
			with := <-w.tools
			defer func() { w.tools <- with }()
			for i := from; i < min(n, from+share); i++ {
				if err := ctx.Err(); err != nil {
					return err
				}
				if err := do(with, i); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return group.Wait()
}

// refineNext refines the first designs that wait for it.
func (w *refineWalk) refineNext(ctx context.Context) error {
	n := min(len(w.waiting), w.refineMost)
	if most := w.refine.candidates; most > 0 {
		n = min(n, most-w.counts.Candidates)
	}
	batch := w.waiting[:n]
	ends, err := w.refineUnit(ctx, batch, w.best.longest())
	if err != nil {
		return err
	}
	w.waiting = w.waiting[n:]
	for i := range ends {
		if w.ended != nil && !ends[i].longer {
			w.ended[designKey{batch[i].space, batch[i].groups}] = &ends[i]
		}
		switch end := &ends[i]; {
		case end.longer:
			tally(w.proof.SetAside, byRest, one)
			continue
		case end.failed != "":
			tally(w.proof.Failed, end.failed, one)
			tally(w.byRays, end.failed, one)
		default:
			w.counts.Passed++
			w.proof.Passed++
			w.best.add(foundOf(w.lib, &batch[i].candidate, end))
		}
		w.counts.Candidates++
	}
	w.showAs("refine")
	return nil
}

// foundOf is a design that passed, without train and report.
func foundOf(lib *objective.Library, c *candidate, end *refinedEnd) Found {
	return Found{ID: c.id(lib), Ranked: end.ranked, design: *c, moved: end.moved, Screened: true}
}

// refineUnit refines designs as a unit, those that can come below a ranked length.
func (w *refineWalk) refineUnit(ctx context.Context, batch []nearDesign, longest float64) ([]refinedEnd, error) {
	ends := make([]refinedEnd, len(batch))
	spent, err := w.log.unit(ctx, recordRefine, func(ctx context.Context) error {
		defer w.clock("refine")()
		return w.each(ctx, len(batch), 1, func(with *refineTools, i int) error {
			if end := w.known[designKey{batch[i].space, batch[i].groups}]; end != nil {
				ends[i] = *end
				return nil
			}
			if ends[i].longer = batch[i].ranked > longest+endSlack; ends[i].longer {
				return nil
			}
			start, err := batch[i].solve(w.lib)
			if err == nil {
				ends[i], err = w.refineOne(ctx, with, start, batch[i].relief)
			}
			return err
		})
	}, func(e *encoder) { e.ends(ends) }, func(d *decoder) error { return d.ends(ends) })
	w.proof.Seconds["refine"] += spent.Seconds()
	return ends, err
}

// ends writes what came of a batch of designs that were refined.
func (e *encoder) ends(all []refinedEnd) {
	e.Uvarint(len(all))
	for i := range all {
		end := &all[i]
		e.Flag(end.longer)
		e.verdict(end.failed)
		e.Uvarint(end.evaluations)
		if end.passed() {
			e.Float(end.ranked)
			e.moved(end.moved)
		}
	}
}

// ends reads what came of a batch of as many designs.
func (d *decoder) ends(all []refinedEnd) error {
	if d.Length() != len(all) {
		return journal.ErrUnfit
	}
	for i := range all {
		end := &all[i]
		end.longer, end.failed, end.evaluations = d.Flag(), d.verdict(), d.Uvarint()
		if end.passed() {
			end.ranked, end.moved = d.Float(), d.moved()
		}
	}
	return d.End()
}

// refineOne refines a train that is solved at its paraxial gaps, from an eye relief on. Of
// the refined train and the one at its paraxial gaps the shorter passes of which enough
// builds do.
func (w *refineWalk) refineOne(ctx context.Context, with *refineTools, start *objective.Train, relief float64) (end refinedEnd, err error) {
	with.refiner.Begin(start)
	end.failed = with.checker.Check(start).FailedBy
	end.ranked = objective.RoundedLength(start.Ranked(w.by))
	r := refineTrain(with.refiner, start, relief, w.refine.method, w.refine.seed)
	end.evaluations = r.evaluations
	if r.moved != nil {
		f := Found{moved: r.moved}
		if f.settle(with.refiner, start, w.by); f.Report.FailedBy == "" && (end.failed != "" || f.Ranked <= end.ranked) {
			enough, err := w.built.canBeBuilt(ctx, w.p, f.Train)
			if enough {
				end.failed, end.ranked, end.moved = "", f.Ranked, r.moved
			}
			if enough || err != nil {
				return end, err
			}
			if end.failed != "" {
				end.failed = yieldLimit
			}
		}
	}
	if end.failed == "" {
		enough, err := w.built.canBeBuilt(ctx, w.p, start)
		if err != nil {
			return end, err
		}
		if !enough {
			end.failed = yieldLimit
		}
	}
	return end, nil
}

// audit refines designs drawn at random from those up to the last listed length that
// the screen turned away, half of them from those that third-order sums did as far as there are
// as many. One that passes comes into the ranking.
func (w *refineWalk) audit(ctx context.Context, out *Outcome, byRays, byThird []candidate) error {
	start := time.Now()
	defer func() { out.Proof.Seconds["audit"] += time.Since(start).Seconds() }()
	audit, listed := &Audit{}, ranking{lib: w.lib, top: w.top, onePerParts: w.onePerParts, found: out.Found}
	longest := math.Min(listed.longest(), out.ScreenedMM)
	drawn, others := w.screens.drawn(byThird, longest), w.screens.drawn(byRays, longest)
	thirds := len(drawn)
	third := min(thirds, max(w.refine.audit/2, w.refine.audit-len(others)))
	drawn = append(drawn[:third:third], others[:min(len(others), w.refine.audit-third)]...)
	audit.ThirdOrder.Drawn = third
	for from := 0; from < len(drawn); from += refineBatch {
		batch := make([]nearDesign, 0, refineBatch)
		for _, c := range drawn[from:min(from+refineBatch, len(drawn))] {
			batch = append(batch, nearDesign{candidate: c, relief: math.NaN()})
		}
		ends, err := w.refineUnit(ctx, batch, math.Inf(1))
		if err != nil {
			return err
		}
		for i := range ends {
			audit.Drawn++
			if !ends[i].passed() {
				continue
			}
			audit.Passed++
			if from+i < third {
				audit.ThirdOrder.Passed++
			}
			f := foundOf(w.lib, &batch[i].candidate, &ends[i])
			f.Screened = false
			listed.add(f)
		}
		w.showAs("audit")
	}
	// Fewer than were asked for are all that there are.
	audit.close(third == thirds && thirds < w.refine.audit, len(drawn)-third == len(others) && len(others) < w.refine.audit)
	out.Audit = audit
	out.Found = listed.found
	if n := audit.Passed; n > 0 && (out.Best == nil || out.Found[0].Ranked < out.Best.ShortestMM) {
		out.Best = &BestFound{out.Found[0].Ranked, byWalk}
	}
	return report(ctx, w.lib, w.options, out.Found)
}

// outcome is what the walk brought, without reports. Where it has not come to its end,
// what the population found stands among the rest.
func (w *refineWalk) outcome() *Outcome {
	out := &Outcome{Found: w.best.found}
	tally(w.proof.SetAside, byRest, big.NewInt(int64(w.backlog.left+len(w.waiting))))
	level := w.level()
	out.next = level
	if w.proof.Exact {
		level = math.Min(level, w.best.longest())
	} else {
		both := ranking{lib: w.lib, top: w.top, onePerParts: w.onePerParts}
		for _, found := range [][]Found{w.best.found, w.beat.found} {
			for _, f := range found {
				f.Screened = f.Ranked <= level
				both.add(f)
			}
		}
		out.Found = both.found
	}
	// Nothing is proven of what no ray was traced through.
	w.proof.ProvenLength, out.ScreenedMM = math.Min(level, w.thirdLeast), level
	out.Proof = w.proof
	counts := w.counts
	out.Refined = &counts
	out.turnedByRays, out.serving, out.sample, out.thirdSample = w.byRays, w.serving, w.sample(), w.thirds.kept
	out.Best = w.bestFound()
	return out
}

// Who found the shortest design.
const (
	byWalk       = "walk"
	byPopulation = "population"
)

// bestFound is the shortest design that either the walk or the population has found.
func (w *refineWalk) bestFound() *BestFound {
	switch {
	case len(w.best.found) > 0 && (len(w.beat.found) == 0 || w.best.found[0].Ranked <= w.beat.found[0].Ranked):
		return &BestFound{w.best.found[0].Ranked, byWalk}
	case len(w.beat.found) > 0:
		return &BestFound{w.beat.found[0].Ranked, byPopulation}
	}
	return nil
}
