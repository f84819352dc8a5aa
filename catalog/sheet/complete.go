package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// complete settles signs and computes what radii are missing. It names those
// that it computed, or gives the reason for which there is no lens.
func (im *importer) complete() (derived, reason string) {
	for _, name := range needed {
		if im.values[name] == "" {
			return "", "no " + name
		}
	}
	elements := 1
	for e := 2; e <= 3; e++ {
		if slices.ContainsFunc(elementColumns(e), func(c string) bool { return im.values[c] != "" }) {
			elements = e
		}
	}
	if elements > 1 {
		return "", im.cemented(elements)
	}
	s := singlet{
		kind:       im.values["kind"],
		diameter:   im.value("diameter_mm"),
		thickness:  im.value("t1_mm"),
		index:      math.NaN(),
		equalRadii: slices.Contains(im.m.equalRadii, im.values["kind"]),
	}
	if g := im.glasses.Find(im.values["glass1"]); g != nil {
		s.index = g.Index(im.m.focalNM)
	}
	if reason := im.focalSigns(s.kind); reason != "" {
		return "", reason
	}
	s.focal = im.value("efl_mm")
	s.r1, s.r2 = im.value("r1_mm"), im.value("r2_mm")
	if reason := im.signs(&s); reason != "" {
		return "", reason
	}
	had1, had2 := !math.IsNaN(s.r1), !math.IsNaN(s.r2)
	if reason := s.derive(); reason != "" {
		return "", reason
	}
	im.values["r1_mm"], im.values["r2_mm"] = number(s.r1), number(s.r2)
	var computed []string
	if !had1 {
		computed = append(computed, "r1_mm")
	}
	if !had2 {
		computed = append(computed, "r2_mm")
	}
	return strings.Join(computed, " "), ""
}

// value is a number of the row, NaN for none.
func (im *importer) value(column string) float64 {
	if x, ok := im.numbers[column]; ok {
		return x
	}
	return math.NaN()
}

// focalSigns gives focal lengths that are magnitudes the sign of the kind.
func (im *importer) focalSigns(kind string) string {
	front, back, _, _ := formOf(kind)
	for _, name := range []string{"efl_mm", "bfl_mm"} {
		x, ok := im.numbers[name]
		if !ok || im.m.columns[name].sign != signKind || im.isFixed[name] || math.IsInf(x, 0) {
			continue
		}
		if front == 0 && back == 0 {
			return name + " is a magnitude, and the kind " + quoted(kind) + " does not tell its sign"
		}
		if front < 0 {
			x = -math.Abs(x)
		} else {
			x = math.Abs(x)
		}
		im.numbers[name], im.values[name] = x, number(x)
	}
	return ""
}

// signs gives the radii of a singlet the signs of a lens table.
func (im *importer) signs(s *singlet) string {
	front, back, plano, _ := formOf(s.kind)
	if plano {
		back = -front // whichever is the curved one
	}
	magnitudes := 0
	for i, r := range []*float64{&s.r1, &s.r2} {
		name := fmt.Sprintf("r%d_mm", i+1)
		if math.IsNaN(*r) || math.IsInf(*r, 0) || im.isFixed[name] {
			continue
		}
		switch im.m.columns[name].sign {
		case signConvex:
			if i == 1 {
				*r = -*r
			}
		case signKind:
			*r = math.Abs(*r)
			bulge := [2]int{front, back}[i]
			if bulge == 0 {
				magnitudes++
			} else {
				*r *= float64(bulge)
			}
		}
	}
	switch magnitudes {
	case 0:
		return ""
	case 2:
		return s.bend()
	}
	return "a radius is a magnitude, and the kind " + quoted(s.kind) + " does not tell its sign"
}

// bend gives two magnitudes the signs of a meniscus, if that is what the kind
// says: both alike, so that the focal length as published comes out.
func (s *singlet) bend() string {
	if !strings.EqualFold(s.kind, "meniscus") {
		return "the radii are magnitudes, and the kind " + quoted(s.kind) + " does not tell their signs"
	}
	const near = 0.02 // as a published focal length is held against a prescription
	fits := func(r1, r2 float64) bool {
		return math.Abs(focalOf(r1, r2, s.thickness, s.index)-s.focal) <= near*math.Abs(s.focal)
	}
	behind, before := fits(s.r1, s.r2), fits(-s.r1, -s.r2)
	switch {
	case behind == before:
		return "the radii of a meniscus are magnitudes, and the focal length does not tell their signs"
	case before:
		s.r1, s.r2 = -s.r1, -s.r2
	}
	return ""
}

// cemented settles the signs of a lens of several glasses. Its radii have to be
// there: its focal length does not determine them.
func (im *importer) cemented(elements int) string {
	if reason := im.focalSigns(im.values["kind"]); reason != "" {
		return reason
	}
	for e := 1; e <= elements; e++ {
		for _, name := range elementColumns(e) {
			if im.values[name] == "" {
				return "no " + name + ": of a cemented lens nothing is computed"
			}
		}
	}
	if im.values["r1_mm"] == "" {
		return "no r1_mm: of a cemented lens nothing is computed"
	}
	for i := 1; i <= elements+1; i++ {
		name := fmt.Sprintf("r%d_mm", i)
		r := im.numbers[name]
		if math.IsInf(r, 0) || im.isFixed[name] {
			continue
		}
		switch im.m.columns[name].sign {
		case signConvex:
			if i > 1 && i <= elements {
				return "the sheet gives " + name + " as positive when convex, which a cemented face is not by itself"
			}
			if i > 1 {
				r = -r
			}
		case signKind:
			return name + " is a magnitude, and of a cemented lens no kind tells the sign"
		}
		im.values[name] = number(r)
	}
	return ""
}
