package spec

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// rule is what a key's value must be beyond its kind.
type rule struct {
	// want says what is right. For numbers it continues "a number".
	want string
	// problem says what is wrong with a value, "" for nothing.
	problem func(value any) string
	// infinite admits inf.
	infinite bool
	// table tells that the key names one.
	table bool
}

// numeric is the rule that a number meets ok.
func numeric(want string, ok func(x float64) bool) rule {
	return rule{want: want, problem: func(v any) string {
		x, isFloat := v.(float64)
		if !isFloat {
			x = float64(v.(int64))
		}
		if ok(x) {
			return ""
		}
		return showValue(v)
	}}
}

func anyNumber() rule { return numeric("", func(float64) bool { return true }) }

func above(lo float64) rule {
	return numeric(" above "+showFloat(lo), func(x float64) bool { return x > lo })
}

func atLeast(lo float64) rule {
	return numeric(" of at least "+showFloat(lo), func(x float64) bool { return x >= lo })
}

// fromTo includes both ends.
func fromTo(lo, hi float64) rule {
	return numeric(fmt.Sprintf(" from %s to %s", showFloat(lo), showFloat(hi)),
		func(x float64) bool { return lo <= x && x <= hi })
}

// count is fromTo without an upper end worth naming where it is kept.
func count(lo float64) rule {
	r := fromTo(lo, integerMost)
	r.want = atLeast(lo).want
	within := r.problem
	r.problem = func(v any) string {
		p := within(v)
		if p != "" && v.(int64) > integerMost {
			p += fmt.Sprintf(" is more than %d, the most that a count may be", integerMost)
		}
		return p
	}
	return r
}

// between excludes both ends.
func between(lo, hi float64) rule {
	return numeric(fmt.Sprintf(" above %s and below %s", showFloat(lo), showFloat(hi)),
		func(x float64) bool { return lo < x && x < hi })
}

// aboveTo excludes the lower end only.
func aboveTo(lo, hi float64) rule {
	return numeric(fmt.Sprintf(" above %s and up to %s", showFloat(lo), showFloat(hi)),
		func(x float64) bool { return lo < x && x <= hi })
}

// zeroMeans adds to the message what 0 stands for.
func (r rule) zeroMeans(what string) rule {
	r.want += " (0: " + what + ")"
	return r
}

// orInfinite admits inf.
func (r rule) orInfinite() rule {
	r.want += " or inf"
	r.infinite = true
	return r
}

// each applies a rule to every number of a list that may not be empty.
func each(one rule) rule {
	return rule{want: one.want + ", at least one", problem: func(v any) string {
		list := v.([]float64)
		if len(list) == 0 {
			return "an empty list"
		}
		if len(list) > listMost {
			return longList(len(list))
		}
		for i, x := range list {
			if p := one.problem(x); p != "" {
				return fmt.Sprintf("%s, the %s of the list", p, ordinal(i+1))
			}
		}
		return ""
	}}
}

// jobName admits what can stand in a folder's name on any system: the same
// characters as in a key.
func jobName() rule {
	return rule{want: `a name of letters a to z and A to Z, digits, - and _, in quotes`, problem: func(v any) string {
		name := v.(string)
		for _, c := range name {
			if !strings.ContainsRune(bareCharacters, c) {
				return fmt.Sprintf("%s, with %q", showValue(name), c)
			}
		}
		if name == "" {
			return showValue(name)
		}
		return ""
	}}
}

// folderName is the rule of a folder's name.
func folderName() rule {
	return rule{want: "the name of a folder, in quotes", problem: func(v any) string {
		switch name := v.(string); {
		case name == "":
			return showValue(name)
		case strings.ContainsFunc(name, catalog.IsHidden):
			return showValue(name) + " holds a control character (a backslash makes them between double quotes: write /)"
		case strings.HasPrefix(name, "~"):
			return showValue(name) + " begins with ~, which only a shell turns into a home folder"
		}
		return ""
	}}
}

// listMost bounds the lists of a spec.
const listMost = 1000

func longList(n int) string {
	return fmt.Sprintf("a list of %d, more than the %d that a list may hold", n, listMost)
}

// oneOf admits the words given.
func oneOf(words ...string) rule {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = strconv.Quote(w)
	}
	return rule{want: joinWords(quoted, "or"), problem: func(v any) string {
		if word := v.(string); !slices.Contains(words, word) {
			return showValue(word)
		}
		return ""
	}}
}

// listOf admits lists of different texts, none empty, at least so many.
func listOf(what string, atLeast int) rule {
	want := "a list of " + what + ", each in quotes and once"
	if atLeast > 0 {
		want += ", at least one"
	}
	return rule{want: want, problem: func(v any) string {
		list := v.([]string)
		if len(list) < atLeast {
			return "an empty list"
		}
		if len(list) > listMost {
			return longList(len(list))
		}
		for i, text := range list {
			switch {
			case text == "" || strings.ContainsFunc(text, catalog.IsHidden):
				return fmt.Sprintf("%s, the %s of the list", showValue(text), ordinal(i+1))
			case slices.Contains(list[:i], text):
				return showValue(text) + " stands in the list twice"
			}
		}
		return ""
	}}
}

// tableName admits the name of a table, or none.
func tableName() rule {
	return rule{table: true, want: "the name of a table in CSV, in quotes", problem: func(v any) string {
		if name := v.(string); strings.ContainsFunc(name, catalog.IsHidden) {
			return showValue(name) + " holds a control character"
		}
		return ""
	}}
}

// designText admits a text for a design; what it says is held against the tables,
// see [Spec.GivenFaults].
func designText() rule {
	return rule{want: "a design as " + exampleDesign + ", in quotes", problem: func(v any) string {
		if text := v.(string); strings.ContainsFunc(text, catalog.IsHidden) {
			return showValue(text) + " holds a control character"
		}
		return ""
	}}
}

const exampleDesign = `"erector-single:rear:A+B|C/r|D"`

// gapsMost bounds a gap of a train that is given, in mm, either way.
const gapsMost = 10_000

// gapList admits the gaps between the groups of a train.
func gapList() rule {
	return rule{want: fmt.Sprintf(" from %d to %d, one a gap between groups", -gapsMost, gapsMost), problem: func(v any) string {
		list := v.([]float64)
		if len(list) > listMost {
			return longList(len(list))
		}
		for i, x := range list {
			if !(math.Abs(x) <= gapsMost) {
				return fmt.Sprintf("%s, the %s of the list", showFloat(x), ordinal(i+1))
			}
		}
		return ""
	}}
}

// someOf admits lists of different words out of those given, and the empty list.
func someOf(words ...string) rule {
	rule := listOf("words", 0)
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = strconv.Quote(w)
	}
	rule.want = "a list of any of " + joinWords(quoted, "and") + ", each once"
	texts := rule.problem
	rule.problem = func(v any) string {
		for i, word := range v.([]string) {
			if !slices.Contains(words, word) {
				return fmt.Sprintf("%s, the %s of the list", showValue(word), ordinal(i+1))
			}
		}
		return texts(v)
	}
	return rule
}

// layoutList admits different layouts that have the same kind of view: upright
// or inverted.
func layoutList() rule {
	var quoted []string
	for _, l := range layouts[1:] {
		quoted = append(quoted, strconv.Quote(l.String()))
	}
	inverted := strconv.Quote(layouts[0].String())
	rule := listOf("layouts", 1)
	rule.want = fmt.Sprintf("a list of upright layouts (%s), each once, or [%s] alone", strings.Join(quoted, ", "), inverted)
	texts := rule.problem
	rule.problem = func(v any) string {
		list := v.([]string)
		for _, name := range list {
			if _, known := layoutByName[name]; !known {
				return showValue(name) + " is no layout"
			}
		}
		if p := texts(v); p != "" {
			return p
		}
		if len(list) > 1 && slices.Contains(list, layouts[0].String()) {
			return inverted + " stands beside an upright layout"
		}
		return ""
	}
	return rule
}

// relation is what keys must be to each other.
type relation struct {
	keys  []string
	want  string
	holds func(*Spec) bool
}

// relations are checked on every sweep point.
var relations = []relation{
	{
		[]string{"depth.near_m", "depth.far_m"}, "near_m no larger than far_m",
		func(s *Spec) bool { return s.Depth.NearM <= s.Depth.FarM },
	},
	{
		[]string{"depth.steps", "depth.near_m", "depth.far_m"},
		"at least 2 steps, or near_m = far_m with steps = 1 or left out",
		func(s *Spec) bool {
			if s.Depth.NearM == s.Depth.FarM {
				return s.Depth.Steps == 1
			}
			return s.Depth.Steps >= 2
		},
	},
	{
		[]string{"eye.relief_min_mm", "eye.relief_max_mm"}, "relief_min_mm no larger than relief_max_mm",
		func(s *Spec) bool { return s.Eye.ReliefMinMM <= s.Eye.ReliefMaxMM },
	},
	{
		[]string{"eye.combiner_mm", "eye.relief_max_mm"},
		"combiner_mm no larger than relief_max_mm: the combiner stands between last lens and eye",
		func(s *Spec) bool { return s.Eye.CombinerMM <= s.Eye.ReliefMaxMM },
	},
	{
		[]string{"light.weights", "light.wavelengths_nm"}, "one weight for each wavelength",
		func(s *Spec) bool { return len(s.Light.Weights) == len(s.Light.WavelengthsNM) },
	},
	{
		[]string{"mask.seat", "train.layouts"}, `seat = "rear" with the one image of a keplerian`,
		func(s *Spec) bool {
			return s.Mask.Seat != "front" || !slices.Contains(s.Train.Layouts, objective.Keplerian)
		},
	},
	{
		[]string{"mask.seat", "train.layouts"}, `seat = "rear", as a keplerian has one image, or an upright layout`,
		func(s *Spec) bool {
			return s.Mask.Seat != SeatBoth || !slices.Contains(s.Train.Layouts, objective.Keplerian)
		},
	},
	{
		[]string{"train.lenses_max", "train.layouts"},
		"lenses_max = 0 for no limit, or at least one lens for each group of the simplest layout listed",
		func(s *Spec) bool {
			fewest := math.MaxInt
			for _, l := range s.Train.Layouts {
				fewest = min(fewest, len(l.GroupNames()))
			}
			return s.Train.LensesMax == 0 || s.Train.LensesMax >= fewest
		},
	},
	{
		[]string{"light.wavelengths_nm", "eye.colour"}, "wavelengths from 380 to 780 nm, for which the eye's colour is known, or colour = \"none\"",
		func(s *Spec) bool {
			return s.Eye.Colour != ColourPublished || slices.Min(s.Light.WavelengthsNM) >= 380 && slices.Max(s.Light.WavelengthsNM) <= 780
		},
	},
	{
		[]string{"limits.blur_mismatch_pct", "depth.steps"}, "at least 2 steps, from one depth to another",
		func(s *Spec) bool { return s.Limits.BlurMismatchPct == nil || s.Depth.Steps >= 2 },
	},
	{
		[]string{"limits.ghost_pct", "mask.fill_pct"}, "fill_pct, by which ghost_pct is found",
		func(s *Spec) bool { return s.Limits.GhostPct == nil || s.Mask.FillPct != nil },
	},
	{
		[]string{"train.given_gaps_mm", "train.given"}, "one gap between each two groups of train.given, as [80.5, 79.9], or none",
		func(s *Spec) bool {
			name, ok := s.Given()
			return !ok || len(s.Train.GivenGapsMM) == 0 || len(s.Train.GivenGapsMM) == len(name.Layout.GroupNames())-1
		},
	},
	{
		[]string{"catalog.focal_min_mm", "catalog.focal_max_mm"}, "focal_min_mm no larger than focal_max_mm",
		func(s *Spec) bool {
			return s.Catalog.FocalMaxMM == 0 || s.Catalog.FocalMinMM <= s.Catalog.FocalMaxMM
		},
	},
	{
		[]string{"limits.yield_min_pct", "search.method", "refine.method"},
		`yield_min_pct with method = "enumerate", or with refinement`,
		func(s *Spec) bool {
			return s.Limits.YieldMinPct == nil || s.Search.Method != SearchOptimize || s.Refine.Method != RefineNone
		},
	},
	{
		[]string{"tolerance.radius_pct", "tolerance.focal_pct"}, "one of both 0: focal_pct gives a lens its focal length whatever its radii are",
		func(s *Spec) bool { return s.Tolerance.RadiusPct == 0 || s.Tolerance.FocalPct == 0 },
	},
}
