package results

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
)

// checked is a copy of the manifest that JSON can hold: no null for an empty
// list or object, no infinity, no NaN.
func (m *Manifest) checked() (*Manifest, error) {
	c := *m
	c.Catalogs = append([]CatalogFile{}, m.Catalogs...)
	c.Points = append([]ManifestPoint{}, m.Points...)
	for i := range c.Points {
		p := &c.Points[i]
		for _, check := range []func() error{p.checkCounts, p.checkLengths, p.checkOptimized, p.checkWouldFit, p.IdealLimit.check, p.Given.check, p.checkSeconds} {
			if err := check(); err != nil {
				return nil, fmt.Errorf("point %d: %w", p.Point, err)
			}
		}
	}
	return &c, nil
}

// checkCounts makes the point's counts ready for JSON; so do the checks below with
// the rest of it. What they change they copy first.
func (p *ManifestPoint) checkCounts() error {
	if n, ok := new(big.Int).SetString(p.Space, 10); !ok || n.Sign() < 0 {
		return fmt.Errorf("space is %q, not a count", p.Space)
	}
	p.SetAside, p.Failed = filled(p.SetAside), filled(p.Failed)
	for key, counts := range map[string]map[string]*big.Int{"set_aside": p.SetAside, "failed": p.Failed} {
		for name, n := range counts {
			if n == nil {
				return fmt.Errorf("%s.%s has no count", key, name)
			}
		}
	}
	return nil
}

func (p *ManifestPoint) checkLengths() error {
	for _, a := range slices.Concat(p.Asked, p.AskedRefined) {
		if !isFinite(a.Value) {
			return fmt.Errorf("asked.%s is %v", a.Column, a.Value)
		}
	}
	if p.Asked == nil {
		p.Asked = []Asked{}
	}
	if p.ProvenLengthMM != nil && math.IsNaN(*p.ProvenLengthMM) {
		return errors.New("proven_length_mm is NaN")
	}
	p.ProvenLengthMM = finite(p.ProvenLengthMM)
	if !isFinite(p.SlackMM) {
		return fmt.Errorf("slack_mm is %v", p.SlackMM)
	}
	return nil
}

func (p *ManifestPoint) checkOptimized() error {
	if p.Optimized == nil {
		return nil
	}
	o := *p.Optimized
	for name, x := range map[string]*float64{"best_mm": o.BestMM, "lower_bound_mm": o.LowerBoundMM, "gap_mm": o.GapMM} {
		if x != nil && !isFinite(*x) {
			return fmt.Errorf("%s is %v", name, *x)
		}
	}
	o.History = append([]Improvement{}, o.History...)
	for _, step := range o.History {
		if !isFinite(step.BestMM) {
			return fmt.Errorf("history has a best_mm of %v", step.BestMM)
		}
	}
	if o.Nearest != nil {
		n := *o.Nearest
		var err error
		if n.Exceeds, err = finiteValues("nearest.exceeds", n.Exceeds); err != nil {
			return err
		}
		o.Nearest = &n
	}
	p.Optimized = &o
	return nil
}

func (p *ManifestPoint) checkWouldFit() (err error) {
	p.WouldFit, err = finiteValues("would_fit", p.WouldFit)
	return err
}

func (p *ManifestPoint) checkSeconds() error {
	p.Seconds = filled(p.Seconds)
	for name, x := range p.Seconds {
		if !isFinite(x) {
			return fmt.Errorf("seconds.%s is %v", name, x)
		}
	}
	return nil
}

// isFinite reports whether JSON can hold a number.
func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// finiteValues is a copy of the values under a key of run.json with nil for each
// infinite one.
func finiteValues(key string, values map[string]*float64) (map[string]*float64, error) {
	held := make(map[string]*float64, len(values))
	for name, x := range values {
		if x != nil && math.IsNaN(*x) {
			return nil, fmt.Errorf("%s.%s is NaN", key, name)
		}
		held[name] = finite(x)
	}
	return held, nil
}

// finite is x, or nil for an infinite one.
func finite(x *float64) *float64 {
	if x != nil && math.IsInf(*x, 0) {
		return nil
	}
	return x
}

// filled is m, or an empty map for nil.
func filled[V any](m map[string]V) map[string]V {
	if m == nil {
		return map[string]V{}
	}
	return m
}
