package sweep

import (
	"context"
	"maps"
	"math"
	"slices"

	"relaysweep/objective"
)

// lever is one requirement or limit that can be eased alone.
type lever struct {
	name  string // under which failures are counted
	start float64
	// eased is where easing ends: what no bench would go beyond.
	eased float64
	set   func(p *objective.Problem, value float64)
}

// easedLength and the others are where easing ends.
const (
	easedTravel    = 1000.0 // mm
	easedMask      = 1000.0 // mm
	easedArcmin    = 600.0
	easedDioptres  = 10.0
	easedShift     = 1e5 // mm
	easedSum       = 1e9 // g, price
	easedTolerance = 10.0
	easedField     = 0.02 // share of the field
)

// levers are the paraxial requirements of a problem that a number in the spec
// sets, in the order in which they are tested. The aperture's number is the
// field: its width in degrees, the height going with it.
func levers(spec *Spec, p *objective.Problem) []lever {
	limit := func(name string, eased float64) lever {
		return lever{name, p.Limits.Limit(name), eased, func(p *objective.Problem, v float64) {
			p.Limits.Max = maps.Clone(p.Limits.Max)
			p.Limits.Max[name] = v
		}}
	}
	all := []lever{
		{"gap", p.GroupGapMin, 0, func(p *objective.Problem, v float64) { p.GroupGapMin = v }},
		{"length", p.LengthMax, math.Inf(1), func(p *objective.Problem, v float64) { p.LengthMax = v }},
		{"relief", p.ReliefMin, p.CombinerMM, func(p *objective.Problem, v float64) { p.ReliefMin = v }},
		{"aperture", spec.Field.WidthDeg, spec.Field.WidthDeg * easedField, func(p *objective.Problem, v float64) {
			eased := *spec
			eased.Field.WidthDeg = v
			eased.Field.HeightDeg = spec.Field.HeightDeg * v / spec.Field.WidthDeg
			q := eased.Problem()
			p.TanHalfWidth, p.TanHalfHeight, p.TanMax = q.TanHalfWidth, q.TanHalfHeight, q.TanMax
		}},
		{"clearance", p.Clearance, 0, func(p *objective.Problem, v float64) { p.Clearance = v }},
		{"travel", p.Travel, easedTravel, func(p *objective.Problem, v float64) { p.Travel = v }},
		{"mask_size", p.MaskWidth, easedMask, func(p *objective.Problem, v float64) {
			p.MaskHeight *= v / p.MaskWidth
			p.MaskWidth = v
		}},
		limit("pixel_arcmin", easedArcmin),
		limit("depth_step_D", easedDioptres),
		limit("viewpoint_shift_mm", easedShift),
		limit("price", easedSum),
		limit("mass_g", easedSum),
	}
	if p.LensesMax > 0 {
		all = append(all, lever{"parts", float64(p.LensesMax), 1000, func(p *objective.Problem, v float64) {
			p.LensesMax = int(math.Ceil(v))
		}})
	}
	for _, layout := range spec.Train.Layouts {
		if layout == objective.Keplerian {
			all = append(all, lever{"magnification", p.MagnificationTol, easedTolerance, func(p *objective.Problem, v float64) {
				p.MagnificationTol = v
			}})
		}
	}
	var set []lever
	for _, l := range all {
		if !math.IsInf(l.start, 1) && l.start != l.eased {
			set = append(set, l)
		}
	}
	return set
}

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
}

func (f *Fits) leaveOpen(name string) {
	if !slices.Contains(f.Open, name) {
		f.Open = append(f.Open, name)
		slices.Sort(f.Open)
	}
}

// wouldFit finds the easing of each requirement and limit alone. It is called
// when nothing passes.
func wouldFit(ctx context.Context, spec *Spec, lib *objective.Library, o options) (*Fits, error) {
	o.progress, o.onePerParts, o.checksMax, o.effortMax = nil, false, fitChecks, fitEffort
	fits := &Fits{Value: map[string]*float64{}, Length: map[string]float64{}}
	if err := fits.limits(ctx, lib, o); err != nil {
		return nil, err
	}
	for _, l := range levers(spec, lib.Problem) {
		value, length, found, settled, err := l.fit(ctx, lib, o)
		if err != nil {
			return nil, err
		}
		fits.Value[l.name] = nil
		if found {
			fits.Value[l.name], fits.Length[l.name] = &value, length
		}
		if !settled {
			fits.leaveOpen(l.name)
		}
	}
	return fits, nil
}

// limits is the part of wouldFit for limits that the ray check tests: one walk
// over all designs that meet the paraxial requirements. A design counts for the
// limit that it fails first, if it passes with that one lifted.
func (f *Fits) limits(ctx context.Context, lib *objective.Library, o options) error {
	p := lib.Problem
	fit := f.Value
	lifted := map[string]*objective.Checker{}
	for _, m := range objective.MetricList {
		if math.IsInf(p.Limits.Limit(m.Name), 1) || slices.Contains(paraxialLimits, m.Name) {
			continue
		}
		q := *p
		q.Limits.Max = maps.Clone(p.Limits.Max)
		delete(q.Limits.Max, m.Name)
		lifted[m.Name] = objective.NewChecker(&q)
		fit[m.Name] = nil
	}
	if p.Limits.TransmissionMin > 0 {
		q := *p
		q.Limits.TransmissionMin = 0
		lifted["transmission_min"] = objective.NewChecker(&q)
		fit["transmission_min"] = nil
	}
	a, err := newAscent(ctx, lib, o)
	if err != nil {
		return err
	}
	base := objective.NewChecker(p)
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
			if x.name == "transmission_min" {
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
func (a *ascent) easeUnit(ctx context.Context, batch []candidate, base *objective.Checker, lifted map[string]*objective.Checker) ([]easedLimit, error) {
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
			if name == "transmission_min" {
				metric = "transmission"
			}
			value, _ := report.Metrics.Value(metric)
			if value = math.Abs(value); !math.IsInf(value, 0) {
				eased = append(eased, easedLimit{name, value, train.Length})
			}
		}
		return taking{taken: len(batch)}, ctx.Err()
	}, func(e *encoder) {
		e.uvarint(len(eased))
		for _, x := range eased {
			e.verdict(x.name)
			e.float(x.value)
			e.float(x.length)
		}
	}, func(d *decoder) error {
		for range d.length() {
			eased = append(eased, easedLimit{d.verdict(), d.float(), d.float()})
		}
		return d.end()
	})
	return eased, err
}

// paraxialLimits are the limits that are paraxial requirements, which levers
// ease.
var paraxialLimits = []string{"pixel_arcmin", "depth_step_D", "viewpoint_shift_mm", "mass_g", "price"}

// fit finds the least easing of the requirement that lets a design pass. It
// eases it fully, takes the shortest designs that pass and finds how much each
// needs; then it halves what is left between the requirement and that, by an
// exact search each, down to the resolution. settled is false when one of these
// searches ended before it had seen everything.
func (l *lever) fit(ctx context.Context, lib *objective.Library, o options) (value, length float64, found, settled bool, err error) {
	o.top = easedTogether
	none, some := l.start, l.eased // nothing passes at none
	settled = true
	for try := some; ; try = none + (some-none)/2 {
		p := l.at(lib.Problem, try)
		a, err := newAscent(ctx, objective.NewLibrary(p, lib.Lenses), o)
		if err != nil {
			return 0, 0, false, false, err
		}
		out, err := a.run(ctx)
		if err != nil {
			return 0, 0, false, false, err
		}
		switch {
		case len(out.Found) > 0 && l.name == "length":
			length = out.Found[0].Train.Length
			return length, length, true, true, nil
		case len(out.Found) > 0:
			some, length, found = try, out.Found[0].Train.Length, true
			for _, f := range out.Found {
				if nearer := l.least(lib.Problem, f.Train, some, o.by); nearer != some {
					some, length = nearer, f.Train.Length
				}
			}
		case !found:
			return 0, 0, false, out.Proof.Exact, nil
		default:
			none, settled = try, settled && out.Proof.Exact
		}
		middle := none + (some-none)/2 // is one of them where nothing lies between
		if middle == none || middle == some || math.Abs(some-none) <= resolution*math.Abs(some-l.start) {
			return some, length, true, settled, nil
		}
	}
}

// at is the problem with the requirement at a value.
func (l *lever) at(p *objective.Problem, value float64) *objective.Problem {
	q := *p
	l.set(&q, value)
	return &q
}

// least is the value nearest to the spec's at which a train passes that passes
// at some: never farther than some.
func (l *lever) least(p *objective.Problem, t *objective.Train, some float64, by objective.RankBy) float64 {
	none := l.start
	for range 48 {
		try := none + (some-none)/2
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

func (l *lever) passes(p *objective.Problem, t *objective.Train, value float64, by objective.RankBy) bool {
	q := l.at(p, value)
	u := objective.Train{Layout: t.Layout, Seat: t.Seat, Groups: t.Groups}
	return q.SolveBest(&u, by) == objective.Met && objective.NewChecker(q).Check(&u).FailedBy == ""
}
