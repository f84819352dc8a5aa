package sweep

import (
	"context"
	"maps"
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

// easedTogether is how many of the shortest designs that an eased requirement
// lets pass are looked at together for the one that needs the least of it.
const easedTogether = 16

// resolution is the share of the easing to which it is found.
const resolution = 1e-3

// fitChecks is how many designs each search for an easing may check by rays, and
// fitEffort how much it may examine, some seconds each. An eased requirement can
// let in more designs than a night can check; what is known by then is told as
// such.
const (
	fitChecks = 50_000
	fitEffort = 10_000_000
)

// Fits are the values at which a first design would pass.
type Fits struct {
	// Value is, by the name of a requirement or limit, the value nearest to the
	// spec's at which a first design passes with all others kept: nil when no
	// easing of it alone was found to let anything pass.
	Value map[string]*float64
	// Length is, for each of these that lets a design pass, the length in mm of
	// one that does.
	Length map[string]float64
	// Open are the names, sorted, whose search ended before it had seen
	// everything: something may pass at a value nearer than the one given.
	Open []string
	// Binds counts, by requirement, what designs fail first of which some were
	// judged by themselves because bounds had set all of them aside; empty when
	// the search has judged some. See [binding].
	Binds map[string]int64
}

func (f *Fits) leaveOpen(name string) {
	if !slices.Contains(f.Open, name) {
		f.Open = append(f.Open, name)
		slices.Sort(f.Open)
	}
}

// wouldFit finds the easing of each requirement and limit alone. It is called
// when nothing passes, with the proof of that.
func wouldFit(ctx context.Context, s *spec.Spec, lib *objective.Library, o options, proof *Proof) (*Fits, error) {
	all := relaxations(s, lib)
	show := func(easing string) {
		if o.progress != nil {
			o.progress(Status{
				Stage: StageWouldFit, Easing: easing, Examined: proof.Examined, Checked: proof.Checked, ProvenMM: proof.ProvenLength,
				Wanted: o.top, ChecksMax: o.checksMax, Replayed: o.log.replaying(),
			})
		}
	}
	each := o
	each.progress, each.onePerParts, each.checksMax, each.effortMax = nil, false, fitChecks, fitEffort
	fits := &Fits{Value: map[string]*float64{}, Length: map[string]float64{}, Binds: map[string]int64{}}
	show("limits")
	if err := fits.limits(ctx, lib, each); err != nil {
		return nil, err
	}
	for _, l := range all {
		show(l.Name)
		found, err := l.fit(ctx, lib, each)
		if err != nil {
			return nil, err
		}
		fits.Value[l.Name] = nil
		if found.found {
			fits.Value[l.Name], fits.Length[l.Name] = &found.value, found.length
		}
		if !found.settled {
			fits.leaveOpen(l.Name)
		}
	}
	if !o.part.Whole() { // the merge draws from the whole
		return fits, nil
	}
	var err error
	fits.Binds, err = binding(ctx, lib, o, proof)
	return fits, err
}

// limits is the part of wouldFit for limits that only the ray check tests: one walk
// over all designs that meet the paraxial requirements. A design counts for the
// limit that it fails first, if it passes with that one lifted.
func (f *Fits) limits(ctx context.Context, lib *objective.Library, o options) error {
	p := lib.Problem
	fit := f.Value
	lifted := map[string]*raycheck.Checker{}
	for _, m := range raycheck.MetricList {
		if math.IsInf(p.Limits.Limit(m.Name), 1) || objective.IsRequirement(m.Name) || m.Name == objective.VignettedPct {
			continue // relaxations ease those
		}
		q := *p
		q.Limits.Max = maps.Clone(p.Limits.Max)
		delete(q.Limits.Max, m.Name)
		lifted[m.Name] = raycheck.NewChecker(&q)
		fit[m.Name] = nil
	}
	if p.Limits.TransmissionMin > 0 {
		q := *p
		q.Limits.TransmissionMin = 0
		lifted[raycheck.TransmissionMin] = raycheck.NewChecker(&q)
		fit[raycheck.TransmissionMin] = nil
	}
	a, err := newExactSearch(ctx, lib, o)
	if err != nil {
		return err
	}
	base := raycheck.NewChecker(p)
	for checked := 0; ; checked += batchSize {
		batch, more, err := a.next(ctx, batchSize)
		if err != nil {
			return err
		}
		if !more && !a.stopped {
			return nil
		}
		if !more || checked >= fitChecks {
			for name := range lifted {
				f.leaveOpen(name)
			}
			return nil
		}
		eased, err := a.easeUnit(ctx, batch, base, lifted)
		if err != nil {
			return err
		}
		for _, x := range eased {
			better := x.value < valueOr(fit[x.name], math.Inf(1))
			if x.name == raycheck.TransmissionMin {
				better = x.value > valueOr(fit[x.name], math.Inf(-1))
			}
			if better {
				fit[x.name], f.Length[x.name] = &x.value, x.length
			}
		}
	}
}

func valueOr(x *float64, otherwise float64) float64 {
	if x == nil {
		return otherwise
	}
	return *x
}

// easedLimit is the value of a limit at which a design passes, and the design's
// length in mm.
type easedLimit struct {
	name          string
	value, length float64
}

// easeUnit finds, as a unit, which designs of a batch pass with the limit lifted that
// they fail first.
func (a *exactSearch) easeUnit(ctx context.Context, batch []candidate, base *raycheck.Checker, lifted map[string]*raycheck.Checker) ([]easedLimit, error) {
	var eased []easedLimit
	_, _, err := a.takeUnit(ctx, recordEased, batch, func(ctx context.Context) (taking, error) {
		for _, c := range batch {
			train, err := c.solve(a.lib)
			if err != nil {
				return taking{}, err
			}
			name := base.Check(train).FailedBy
			checker := lifted[name]
			if checker == nil {
				continue
			}
			report := checker.Check(train)
			if report.FailedBy != "" {
				continue
			}
			metric := name
			if name == raycheck.TransmissionMin {
				metric = "transmission"
			}
			value, _ := report.Metrics.Value(metric)
			if value = math.Abs(value); !math.IsInf(value, 0) {
				eased = append(eased, easedLimit{name, value, train.Length})
			}
		}
		return taking{taken: len(batch)}, ctx.Err()
	}, func(e *encoder) {
		e.Uvarint(len(eased))
		for _, x := range eased {
			e.verdict(x.name)
			e.Float(x.value)
			e.Float(x.length)
		}
	}, func(d *decoder) error {
		for range d.Length() {
			eased = append(eased, easedLimit{d.verdict(), d.Float(), d.Float()})
		}
		return d.End()
	})
	return eased, err
}

// relaxation is a number by which a requirement can be eased alone, as a search for it has it.
type relaxation struct{ objective.Relaxation }

// relaxations are those of a spec.
func relaxations(s *spec.Spec, lib *objective.Library) []relaxation {
	var all []relaxation
	for _, l := range lib.Relaxations(s.Train.Layouts, s.Train.LensesPerGroup) {
		all = append(all, relaxation{l})
	}
	return all
}

// easing is what fit found of a relaxation.
type easing struct {
	value, length float64 // mm; of the train that passes at the value
	found         bool
	// settled is false when a search ended before it had seen everything.
	settled bool
}

// fit finds the least easing of the requirement that lets a design pass. It
// eases it fully, takes the shortest designs that pass and finds how much each
// needs; then it halves what is left between the requirement and that, by an
// exact search each, down to the resolution.
func (l *relaxation) fit(ctx context.Context, lib *objective.Library, o options) (easing, error) {
	e, none := easing{value: l.End, settled: true}, l.Start // nothing passes at none
	if l.Name == objective.Length.String() {
		// The ranking may begin with another design than the shortest one.
		var err error
		if e, err = l.shortest(ctx, lib, o); err != nil {
			return easing{}, err
		}
		if o.by == objective.ByLength || !o.wants(objective.ErectorPair) {
			return e, nil
		}
		// A pair's inner gap is another where it is chosen for the ranked length:
		// one whose shortest gap fails by rays may pass at that one.
	}
	o.top = easedTogether
	for {
		try := e.value
		if e.found {
			try = l.between(none, e.value)
			if try == none || try == e.value || math.Abs(e.value-none) <= resolution*math.Abs(e.value-l.Start) {
				return e, nil
			}
		}
		out, err := l.search(ctx, lib, o, try)
		if err != nil {
			return easing{}, err
		}
		switch {
		case len(out.Found) > 0:
			e.value, e.length, e.found = try, out.Found[0].Train.Length, true
			for _, f := range out.Found {
				if nearer := l.least(lib.Problem, f.Train, e.value, o.by); nearer != e.value {
					e.value, e.length = nearer, f.Train.Length
				}
			}
		case !e.found:
			e.settled = e.settled && out.Proof.Exact
			return e, nil
		default:
			none, e.settled = try, e.settled && out.Proof.Exact
		}
	}
}

// shortest is the length of the shortest design that passes.
func (l *relaxation) shortest(ctx context.Context, lib *objective.Library, o options) (easing, error) {
	o.by, o.top = objective.ByLength, 1
	out, err := l.search(ctx, lib, o, l.End)
	if err != nil {
		return easing{}, err
	}
	if len(out.Found) == 0 {
		return easing{value: l.End, settled: out.Proof.Exact}, nil
	}
	length := out.Found[0].Train.Length
	return easing{value: length, length: length, found: true, settled: true}, nil
}

// search looks for the first designs that pass with the requirement at a value.
func (l *relaxation) search(ctx context.Context, lib *objective.Library, o options, value float64) (*Outcome, error) {
	lenses := lib.Lenses
	if l.Lenses != nil {
		lenses = l.Lenses(lenses, value)
	}
	a, err := newExactSearch(ctx, objective.NewLibrary(l.at(lib.Problem, value), lenses), o)
	if err != nil {
		return nil, err
	}
	return a.run(ctx)
}

func (o *options) wants(layout objective.Layout) bool {
	return slices.ContainsFunc(o.spaces, func(s objective.Space) bool { return s.Layout == layout })
}

// at is the problem with the requirement at a value.
func (l *relaxation) at(p *objective.Problem, value float64) *objective.Problem {
	q := *p
	if l.Set != nil {
		l.Set(&q, value)
	}
	return &q
}

// between is the value in the middle between two, or none where there is none.
func (l *relaxation) between(none, some float64) float64 {
	if l.Needs != nil {
		return none + math.Floor((some-none)/2)
	}
	return none + (some-none)/2
}

// least is the value nearest to the spec's at which a train passes that passes
// at some: never farther than some.
func (l *relaxation) least(p *objective.Problem, t *objective.Train, some float64, by objective.RankBy) float64 {
	switch {
	case l.Needs != nil:
		return math.Min(some, l.Needs(t))
	case l.Name == objective.Length.String():
		some = math.Min(some, t.Length)
	}
	none := l.Start
	for range 48 {
		try := l.between(none, some)
		if try == none || try == some {
			break
		}
		if l.passes(p, t, try, by) {
			some = try
		} else {
			none = try
		}
	}
	return some
}

func (l *relaxation) passes(p *objective.Problem, t *objective.Train, value float64, by objective.RankBy) bool {
	q := l.at(p, value)
	u := objective.Train{Layout: t.Layout, Seat: t.Seat, Groups: t.Groups}
	return q.SolveBest(&u, by) == objective.Met && raycheck.NewChecker(q).Check(&u).FailedBy == ""
}

// fits writes what would fit.
func (e *encoder) fits(f *Fits) {
	e.Flag(f != nil)
	if f == nil {
		return
	}
	e.Uvarint(len(f.Value))
	for _, name := range slices.Sorted(maps.Keys(f.Value)) {
		e.Text(name)
		value := f.Value[name]
		e.Flag(value != nil)
		if value != nil {
			e.Float(*value)
			e.Float(f.Length[name])
		}
	}
	e.Uvarint(len(f.Open))
	for _, name := range f.Open {
		e.Text(name)
	}
	e.Uvarint(len(f.Binds))
	for _, name := range slices.Sorted(maps.Keys(f.Binds)) {
		e.Text(name)
		e.Int64(f.Binds[name])
	}
}

func (d *decoder) fits() *Fits {
	if !d.Flag() {
		return nil
	}
	f := &Fits{Value: map[string]*float64{}, Length: map[string]float64{}, Binds: map[string]int64{}}
	for range d.Length() {
		name := d.Text()
		f.Value[name] = nil
		if d.Flag() {
			value := d.Float()
			f.Value[name], f.Length[name] = &value, d.Float()
		}
	}
	for range d.Length() {
		f.Open = append(f.Open, d.Text())
	}
	for range d.Length() {
		name := d.Text()
		f.Binds[name] = d.Int64()
	}
	return f
}
