package spec

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"relaysweep/catalog"
)

// Doubts are what does not keep a job from being run, but is probably not what
// was meant: limits left out without which designs rank by length alone, values
// that look like those of another unit, patterns that match none of the lenses.
func (s *Spec) Doubts(lenses []*catalog.Lens) []catalog.Fault {
	var doubts catalog.Faults
	if gb := s.Job.MemoryGB; gb > 0 && gb < memoryFloorGB {
		doubts = append(doubts, s.doubt(showFloat(gb)+" GB is less than the program itself takes",
			fmt.Sprintf("at least %g, or 0 for no cap: below, memory is kept as low as can be", memoryFloorGB), "job", "memory_gb"))
	}
	doubts = append(doubts, s.oddValues()...)
	doubts = append(doubts, s.idlePatterns(lenses)...)
	doubts = append(doubts, s.givenDoubts(lenses)...)
	doubts = append(doubts, s.withoutLimit()...)
	doubts = append(doubts, s.coarseSteps()...)
	return doubts
}

// doubt is a doubt about the key, or the section, of a path.
func (s *Spec) doubt(found, want string, path ...string) catalog.Fault {
	key := strings.Join(path, ".")
	if path[0] == sweepSection {
		key = sweptName(path[1])
	}
	return catalog.Fault{File: s.File, Line: s.lines.of(path...), Key: key, Found: found, Want: want}
}

// memoryFloorGB is what the program takes for a catalog of some hundred lenses
// and the smallest search, in GB, rounded up from 0.035 that were measured.
const memoryFloorGB = 0.05

// botheringD is the defocus in dioptres from which on blurred letters of 20/50
// bother a reader: 1.02 D, of 13 young adults with relaxed accommodation
// (Investigative Ophthalmology & Visual Science, abstract 2402371).
const botheringD = 1.02

// botheringBlur is the RMS radius in arcmin of a point that is out of focus by
// botheringD: a uniform disc of the angle pupil times defocus across (1 mm times
// 1 D is 1 mrad), whose RMS radius is its diameter over 2·√2.
func botheringBlur(pupilMM float64) float64 {
	const arcminPerMrad = 60 * 180 / math.Pi / 1000
	return pupilMM * botheringD * arcminPerMrad / (2 * math.Sqrt2)
}

// withoutLimit names the limits on what is seen that the spec leaves out, each
// with a value to start from and where that comes from.
func (s *Spec) withoutLimit() []catalog.Fault {
	blur := strconv.FormatFloat(botheringBlur(s.Eye.PupilMM), 'g', 2, 64)
	wantBlur := fmt.Sprintf("%g D of defocus begin to bother (IOVS abstract 2402371): through a pupil of %s mm an RMS of %s arcmin",
		botheringD, showFloat(s.Eye.PupilMM), blur)
	var names, starts []string
	for _, l := range []struct{ name, start, why string }{
		{"mask_blur_arcmin", blur, wantBlur},
		{"view_blur_arcmin", blur, wantBlur},
		{"vignetted_pct", "10", "common practice"},
		{"pixel_arcmin", "2", "twice what an eye resolves, 1 arcmin at 20/20 (ISO 8596)"},
	} {
		key := "limits." + l.name
		if keyByName[key].get(s) == nil && s.sweptOf([]string{key}) < 0 {
			names = append(names, l.name)
			starts = append(starts, fmt.Sprintf("\n      %s = %s   # %s", l.name, l.start, l.why))
		}
	}
	if len(names) == 0 {
		return nil
	}
	verb := "are"
	if len(names) == 1 {
		verb = "is"
	}
	return []catalog.Fault{s.doubt(
		joinWords(names, "and")+" "+verb+" not limited: the shortest trains come first, however badly they show the world or the mask",
		"a limit for each under [limits]; to start from:"+strings.Join(starts, ""), "limits")}
}

// oddValue is a rule for values that a key may have but hardly has.
type oddValue struct {
	key         string
	least, most float64 // that pass without a word
	usual       string
	other       string  // a unit for which the value may be meant
	factor      float64 // from that unit to the key's
}

var oddValues = []oddValue{
	{"field.width_deg", 1, 180, "a field of some degrees, full angle", "radians", 180 / math.Pi},
	{"field.height_deg", 1, 180, "a field of some degrees, full angle", "radians", 180 / math.Pi},
	{"eye.pupil_mm", 1, 10, "a pupil of 2 to 8 mm", "m", 1000},
	{"depth.near_m", 0.01, 20, "a near depth of some tenths of a metre", "mm", 0.001},
	{"mask.width_mm", 1, 500, "a mask of some ten mm", "m", 1000},
	{"mask.height_mm", 1, 500, "a mask of some ten mm", "m", 1000},
	{"mask.pixel_um", 1, 1000, "a pixel of some µm", "mm", 1000},
}

// oddValues tells of values that look like those of another unit, also among
// the swept ones.
func (s *Spec) oddValues() []catalog.Fault {
	var doubts []catalog.Fault
	for _, o := range oddValues {
		k := keyByName[o.key]
		values, path := []any{k.get(s)}, []string{k.section, k.name}
		if axis := s.sweptOf([]string{o.key}); axis >= 0 {
			values, path = s.Axes[axis].Values, []string{sweepSection, o.key}
		}
		for _, v := range values {
			x := v.(float64)
			if o.least <= x && x <= o.most || math.IsInf(x, 1) {
				continue
			}
			want := o.usual
			// Only where the other unit makes a usual value of it.
			if meant := x * o.factor; o.least <= meant && meant <= o.most {
				want += fmt.Sprintf("; if %s is in %s, write %s", showFloat(x), o.other, strconv.FormatFloat(meant, 'g', 3, 64))
			}
			doubts = append(doubts, s.doubt(fmt.Sprintf("%s %s is unusual", showFloat(x), k.unit), want, path...))
			break
		}
	}
	return doubts
}

// idlePatterns tells of patterns that match no lens.
func (s *Spec) idlePatterns(lenses []*catalog.Lens) []catalog.Fault {
	var doubts []catalog.Fault
	kinds, parts := s.CatalogFilter().Idle(lenses)
	if len(kinds) > 0 {
		var known []string
		for _, l := range lenses {
			if l.Kind != "" && !slices.Contains(known, l.Kind) {
				known = append(known, l.Kind)
			}
		}
		slices.Sort(known)
		want := "no such list, as the tables name no kind"
		if len(known) > 0 {
			want = "kinds of the tables, upper and lower case distinct: " + joinWords(known[:min(len(known), 12)], "or")
		}
		doubts = append(doubts, s.doubt(showList(kinds)+" match no lens", want, "catalog", "exclude_kinds"))
	}
	const want = "names of parts in the tables, upper and lower case distinct, with * for any text and ? for any character"
	if len(parts) > 0 {
		doubts = append(doubts, s.doubt(showList(parts)+" match no lens", want, "catalog", "exclude_parts"))
	}
	for _, slot := range []struct {
		name     string
		patterns []string
	}{{"front", s.Train.Front}, {"relay", s.Train.Relay}, {"rear", s.Train.Rear}} {
		if _, idle := (catalog.Filter{ExcludeParts: slot.patterns}).Idle(lenses); len(idle) > 0 {
			doubts = append(doubts, s.doubt(showList(idle)+" match no lens", want, "train", slot.name))
		}
	}
	return doubts
}
