package sweep

import (
	"maps"
	"slices"

	"relaysweep/objective"
)

// design writes a design: its layout and seat, the codes of its groups, its
// inner gap and its ranked length. The rest follows from these.
func (e *encoder) design(c *candidate) {
	e.space(c.space)
	for _, code := range c.codes() {
		e.Uint64(uint64(code))
	}
	e.Float(c.inner)
	e.Float(c.ranked)
}

// design reads a design of a library's lenses.
func (d *decoder) design(lib *objective.Library) (c candidate) {
	c.space = d.space()
	for i := range c.codes() {
		c.groups[i] = objective.StackCode(d.Uint64())
		if !lib.Names(c.groups[i]) {
			d.Fail()
			return candidate{}
		}
	}
	c.inner, c.ranked = d.Float(), d.Float()
	return c
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
		}
		e.designs(o.sample)
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
			o.Audit.MissedShareUpper95 = upperShare(o.Audit.Passed, o.Audit.Drawn)
		}
		o.sample = d.designs(lib)
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
