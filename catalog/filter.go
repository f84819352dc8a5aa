package catalog

import (
	"math"
	"slices"
)

// Filter leaves lenses out of a catalog. A limit of 0 does not limit.
type Filter struct {
	// ExcludeKinds and ExcludeParts are patterns for a whole kind or part
	// name, upper and lower case distinct: * stands for any text, ? for any
	// one character, everything else for itself.
	ExcludeKinds, ExcludeParts []string
	DiameterMaxMM              float64 // of the full diameter
	PriceMax                   float64 // a part without a price is left out too
	FocalMinMM, FocalMaxMM     float64 // of the magnitude of the focal length
	ApertureRatioMax           float64 // of clear diameter over that magnitude
}

// Apply gives the lenses that pass, in their order. Focal lengths are computed
// from the prescription at the wavelength given. Parts of which no piece is to be had
// (Stock 0, and none Owned) never pass. Of a part that is too dear the pieces owned
// pass, none to buy.
func (f Filter) Apply(lenses []*Lens, wavelengthNM float64) []*Lens {
	var kept []*Lens
	for _, l := range lenses {
		if !f.passes(l, wavelengthNM) {
			continue
		}
		if !within(l.Price, f.PriceMax) {
			owned := *l
			owned.Stock = 0
			l = &owned
		}
		kept = append(kept, l)
	}
	return kept
}

// within is false for a value that is not a number: what cannot be told to keep a
// limit does not pass it. A limit of 0 is none.
func within(x, limit float64) bool { return limit == 0 || x <= limit }

func (f Filter) passes(l *Lens, wavelengthNM float64) bool {
	excluded := func(name string) func(string) bool {
		return func(pattern string) bool { return matchName(pattern, name) }
	}
	if l.Pieces() == 0 ||
		slices.ContainsFunc(f.ExcludeKinds, excluded(l.Kind)) ||
		slices.ContainsFunc(f.ExcludeParts, excluded(l.Part)) {
		return false
	}
	if !within(l.DiameterMM, f.DiameterMaxMM) || l.Owned == 0 && !within(l.Price, f.PriceMax) {
		return false
	}
	if f.FocalMinMM == 0 && f.FocalMaxMM == 0 && f.ApertureRatioMax == 0 {
		return true
	}
	efl, _, _ := l.Cardinal(wavelengthNM)
	focal := math.Abs(efl)
	return within(focal, f.FocalMaxMM) &&
		(f.FocalMinMM == 0 || focal >= f.FocalMinMM) &&
		within(l.ClearMM/focal, f.ApertureRatioMax)
}

// Idle are the patterns that match no lens.
func (f Filter) Idle(lenses []*Lens) (kinds, parts []string) {
	idle := func(patterns []string, name func(*Lens) string) (none []string) {
		for _, p := range patterns {
			if !slices.ContainsFunc(lenses, func(l *Lens) bool { return matchName(p, name(l)) }) {
				none = append(none, p)
			}
		}
		return none
	}
	return idle(f.ExcludeKinds, func(l *Lens) string { return l.Kind }), idle(f.ExcludeParts, func(l *Lens) string { return l.Part })
}

// MatchesAny reports whether a name fits one of some patterns, see [Filter].
func MatchesAny(patterns []string, name string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return matchName(p, name) })
}

// matchName reports whether the whole name fits the pattern. It goes back only
// to the last *, so that its time is at most the product of the two lengths.
func matchName(pattern, name string) bool {
	p, n := []rune(pattern), []rune(name)
	i, j := 0, 0
	star, retry := -1, 0
	for j < len(n) {
		switch {
		case i < len(p) && p[i] == '*':
			star, retry = i, j
			i++
		case i < len(p) && (p[i] == '?' || p[i] == n[j]):
			i++
			j++
		case star >= 0:
			retry++
			i, j = star+1, retry
		default:
			return false
		}
	}
	for i < len(p) && p[i] == '*' {
		i++
	}
	return i == len(p)
}
