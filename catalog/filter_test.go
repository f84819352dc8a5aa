package catalog

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestFilter(t *testing.T) {
	lens := func(part, kind string, diameter, radius, price float64, stock int) *Lens {
		return &Lens{Part: part, Kind: kind, DiameterMM: diameter, ClearMM: 0.9 * diameter, Price: price, Stock: stock,
			Surfaces: []Surface{{RadiusMM: radius}, {RadiusMM: math.Inf(1)}}, ThicknessMM: []float64{3}, Glasses: []*Glass{constant(1.5)}}
	}
	// n 1.5, so that f is twice the radius.
	lenses := []*Lens{
		lens("A", "plano", 20, 25, 10, Unlimited),
		lens("B", "plano", 20, -25, Unset, 2),
		lens("C", "fresnel", 50, 100, 5, 1),
		lens("D", "ball", 5, 5, 20, 0),
		lens("E", "window", 25, math.Inf(1), 1, Unlimited),
	}
	for _, c := range []struct {
		name   string
		filter Filter
		want   string
	}{
		{"nothing set", Filter{}, "ABCE"},
		{"kind", Filter{ExcludeKinds: []string{"fres*", "ball"}}, "ABE"},
		{"part", Filter{ExcludeParts: []string{"?"}}, ""},
		{"case", Filter{ExcludeParts: []string{"a"}, ExcludeKinds: []string{"Plano"}}, "ABCE"},
		{"diameter", Filter{DiameterMaxMM: 20}, "AB"},
		{"price", Filter{PriceMax: 5}, "CE"},
		{"focal minimum", Filter{FocalMinMM: 50}, "ABCE"},
		{"focal minimum above", Filter{FocalMinMM: 50.001}, "CE"},
		{"focal maximum", Filter{FocalMaxMM: 50}, "AB"},
		{"aperture ratio", Filter{ApertureRatioMax: 0.3}, "CE"}, // 18/50, 45/200
		{"aperture ratio at its limit", Filter{ApertureRatioMax: 0.36}, "ABCE"},
		{"several", Filter{FocalMinMM: 10, DiameterMaxMM: 30, PriceMax: 10}, "AE"},
	} {
		var got strings.Builder
		for _, l := range c.filter.Apply(lenses, LineE) {
			got.WriteString(l.Part)
		}
		if diff := cmp.Diff(c.want, got.String()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
}

func TestFilterTakesTheWavelengthGiven(t *testing.T) {
	l := &Lens{Stock: 1, Surfaces: []Surface{{RadiusMM: 25.84}, {RadiusMM: math.Inf(1)}}, ThicknessMM: []float64{3},
		Glasses: []*Glass{BuiltinGlasses().Find("N-BK7")}}
	f := Filter{FocalMaxMM: 49.9} // 50.00 mm at d, 49.82 at e
	if n := len(f.Apply([]*Lens{l}, LineD)); n != 0 {
		t.Error("passes at the d line")
	}
	if n := len(f.Apply([]*Lens{l}, LineE)); n != 1 {
		t.Error("fails at the e line")
	}
}

// A regular expression made from the pattern is the independent form. All
// short patterns over all short names.
func TestMatchNameAgainstRegexp(t *testing.T) {
	names := words("aB[é", 3)
	for _, pattern := range words(`aB[*?é\.`, 4) {
		var expression strings.Builder
		for _, c := range pattern {
			switch c {
			case '*':
				expression.WriteString(`.*`)
			case '?':
				expression.WriteString(`.`)
			default:
				expression.WriteString(regexp.QuoteMeta(string(c)))
			}
		}
		independent := regexp.MustCompile(`\A` + expression.String() + `\z`)
		for _, name := range names {
			if got, want := matchName(pattern, name), independent.MatchString(name); got != want {
				t.Fatalf("pattern %q, name %q: %v, want %v", pattern, name, got, want)
			}
		}
	}
	for _, c := range []struct {
		pattern, name string
		want          bool
	}{
		{"*ab*ab", "aabaab", true},
		{"LN-*-A", "LN-50-B-A", true},
		{"[a-z]*", "q", false},
		{"[a-z]*", "[a-z]q", true},
		{`\*`, `\anything`, true},
	} {
		if got := matchName(c.pattern, c.name); got != c.want {
			t.Errorf("pattern %q, name %q: %v, want %v", c.pattern, c.name, got, c.want)
		}
	}
}

// words are all texts of up to n of the letters.
func words(letters string, n int) []string {
	all := []string{""}
	last := all
	for range n {
		var next []string
		for _, w := range last {
			for _, c := range letters {
				next = append(next, w+string(c))
			}
		}
		all = append(all, next...)
		last = next
	}
	return all
}
