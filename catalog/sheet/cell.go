package sheet

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"relaysweep/catalog"
)

// unit is a unit in which a sheet may give a length, or for a focal length or a
// pitch its inverse.
type unit struct {
	name      string
	spellings []string // as they stand behind a number or in a header
	mm        *big.Rat // of one unit
	inverse   bool     // the length is mm over the number
}

// The inch is 25.4 mm exactly (ISO 80000-3); a dioptre is 1/m. Grooves are counted
// per mm.
var units = []unit{
	{"mm", []string{"mm", "millimetre", "millimeter", "millimetres", "millimeters"}, big.NewRat(1, 1), false},
	{"cm", []string{"cm", "centimetre", "centimeter"}, big.NewRat(10, 1), false},
	{"m", []string{"m", "metre", "meter"}, big.NewRat(1000, 1), false},
	{"inch", []string{"inch", "inches", "in", "in.", `"`, "″", "''"}, big.NewRat(254, 10), false},
	{"dioptre", []string{"dioptre", "dioptres", "diopter", "diopters", "dpt", "dptr", "D", "1/m", "/m", "m-1"}, big.NewRat(1000, 1), true},
	{perMM, []string{"1/mm", "grooves/mm", "grooves per mm", "/mm", "per mm", "mm-1", "mm⁻¹"}, big.NewRat(1, 1), true},
}

const perMM = "1/mm"

// of tells whether a column of lengths may be in the unit: dioptres are for focal
// lengths, grooves per mm for a pitch.
func (u unit) of(column string) bool {
	switch {
	case !u.inverse:
		return true
	case u.name == perMM:
		return column == "pitch_mm"
	}
	return isFocal(column)
}

func unitNamed(name string) (unit, bool) {
	i := slices.IndexFunc(units, func(u unit) bool { return u.name == name })
	if i < 0 {
		return unit{}, false
	}
	return units[i], true
}

// unitSpelled is the unit of a spelling, upper and lower case the same but for
// a single letter: D is the dioptre, d none.
func unitSpelled(text string) (unit, bool) {
	for _, u := range units {
		for _, s := range u.spellings {
			if text == s || len(text) > 1 && strings.EqualFold(text, s) {
				return u, true
			}
		}
	}
	return unit{}, false
}

// plain is a cell's text without what makes the same text look different: white
// space at its ends, several spaces or line breaks in a row, and no-break ones.
func plain(s string) string { return strings.Join(strings.Fields(s), " ") }

// numberMost bounds the length of a number's text.
const numberMost = 40

// reading says how a cell is read as a number.
type reading struct {
	unit         unit // of the value; mm where the column has no unit
	isLength     bool
	decimalComma bool
	flat         []string // texts for an infinite radius or focal length; nil where none may be
	drop         []string // texts to take away before
	numbers      bool     // numbers are stored as such, with a decimal point
}

// slip is what is wrong with a cell.
type slip struct{ found, want string }

const wantNumber = "a number"

// number reads a cell that is not empty: in mm for a length.
func (r *reading) number(text string) (float64, *slip) {
	t := text
	for _, d := range r.drop {
		t = strings.ReplaceAll(t, d, "")
	}
	t = plain(t)
	if slices.ContainsFunc(r.flat, func(f string) bool { return strings.EqualFold(f, t) }) {
		return math.Inf(1), nil
	}
	if len(t) > numberMost {
		return 0, &slip{quoted(text) + " is not a number", wantNumber}
	}
	t = strings.Map(func(c rune) rune {
		switch c {
		case '\u2212', '\u2010', '\u2011', '\u2012', '\u2013', '\ufe63', '\uff0d':
			return '-'
		}
		return c
	}, t)
	if r.isLength {
		for _, s := range r.unit.spellings {
			rest, ok := cutSuffixFold(t, s)
			// The 1 of 51/mm belongs to the number.
			if ok && rest != "" && (s[0] != '1' || rest[len(rest)-1] == ' ') {
				t = strings.TrimSpace(rest)
				break
			}
		}
	}
	if r.decimalComma {
		var wrong *slip
		if t, wrong = r.withPoint(text, t); wrong != nil {
			return 0, wrong
		}
	}
	if !r.isLength || r.unit.name == "mm" {
		if x, ok := decimal(t); ok {
			return x, nil
		}
		return 0, r.explain(text)
	}
	x, ok := exact(t, r.unit.name == "inch")
	if !ok {
		return 0, r.explain(text)
	}
	switch {
	case !r.unit.inverse:
		x.Mul(x, r.unit.mm)
	case x.Sign() != 0:
		x.Quo(r.unit.mm, x)
	case r.unit.name == perMM:
		return 0, &slip{quoted(text) + " grooves per mm are no pitch", "a number above 0, or an empty cell for a lens without grooves"}
	default:
		return math.Inf(1), nil
	}
	f, _ := x.Float64()
	return f, nil
}

func cutSuffixFold(s, suffix string) (string, bool) {
	if len(s) < len(suffix) || !strings.EqualFold(s[len(s)-len(suffix):], suffix) {
		return s, false
	}
	// The dioptre's D is no exponent, and a letter before a unit makes another word.
	return s[:len(s)-len(suffix)], true
}

// withPoint turns the decimal comma of a number into a point.
func (r *reading) withPoint(text, t string) (string, *slip) {
	commas, points := strings.Count(t, ","), strings.Count(t, ".")
	switch {
	case commas > 1 || commas == 1 && points > 0:
		return t, &slip{quoted(text) + " has more than a decimal comma", `a number as 12,5; with drop = ["."] in the map where points part thousands`}
	case points == 0 || commas == 1:
		return strings.Replace(t, ",", ".", 1), nil
	case !r.numbers:
		return t, &slip{quoted(text) + " has a decimal point", `a number with a decimal comma, as the map says; with drop = ["."] in the map where points part thousands`}
	case looksLikeThousands(t):
		// A workbook stores numbers with a point and text as it was typed, so
		// that this may be either.
		return t, &slip{quoted(text) + " may have a decimal point or one that parts thousands", "no decimal_comma in the map where the cells of the workbook are numbers"}
	}
	return t, nil
}

func looksLikeThousands(t string) bool {
	before, after, _ := strings.Cut(strings.TrimLeft(t, "+-"), ".")
	return len(after) == 3 && len(before) <= 3
}

// explain says what keeps a text from being a number.
func (r *reading) explain(text string) *slip {
	found := quoted(text) + " is not a number"
	if strings.Contains(text, ",") && !r.decimalComma {
		return &slip{found, `a number with a decimal point; decimal_comma = true in the map for a comma, or drop = [","] where it parts thousands`}
	}
	if mended, what, behind := catalog.MendNumber(strings.TrimSpace(text)); mended != "" && behind != "" {
		want := "a number"
		if r.isLength {
			want += " in " + r.unit.name + ", as the map says"
		}
		return &slip{found + ": it has " + what, want + fmt.Sprintf("; another unit in the map, or drop = [%s]", strconv.Quote(behind))}
	}
	return &slip{found, `a number; a text that stands for none can be listed under "empty" in the map, words to take away under "drop"`}
}

// exact is the number that a text means, with fractions such as 1 1/2 where
// they are usual.
func exact(t string, fractions bool) (*big.Rat, bool) {
	whole, fraction, has := "", t, false
	if fractions {
		if _, _, has = strings.Cut(t, "/"); has {
			if a, b, two := strings.Cut(t, " "); two {
				whole, fraction = a, b
			}
		}
	}
	if !has {
		// The size is bounded before the number is written out.
		const smallest, largest = 1e-60, 1e60
		switch a, ok := decimal(t); {
		case !ok || math.Abs(a) > largest:
			return nil, false
		case math.Abs(a) < smallest:
			return new(big.Rat), true
		}
		return new(big.Rat).SetString(t)
	}
	numerator, denominator, _ := strings.Cut(fraction, "/")
	negative := strings.HasPrefix(t, "-")
	sum := new(big.Rat)
	if whole != "" {
		w, ok := digits(strings.TrimPrefix(whole, "-"))
		if !ok {
			return nil, false
		}
		sum = w
	} else {
		numerator = strings.TrimPrefix(numerator, "-")
	}
	n, ok1 := digits(numerator)
	d, ok2 := digits(denominator)
	if !ok1 || !ok2 || d.Sign() == 0 {
		return nil, false
	}
	sum.Add(sum, n.Quo(n, d))
	if negative {
		sum.Neg(sum)
	}
	return sum, true
}

// digits is a whole number of decimal digits.
func digits(t string) (*big.Rat, bool) {
	if t == "" || strings.Trim(t, "0123456789") != "" {
		return nil, false
	}
	return new(big.Rat).SetString(t)
}

// decimal is a finite decimal number, as a lens table has it.
func decimal(t string) (float64, bool) {
	if t == "" || strings.Trim(t, "+-0123456789.eE") != "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(t, 64)
	return x, err == nil
}

// quoted shows what stands in a cell, cut short where it is long.
func quoted(s string) string {
	const most = 40
	if runes := []rune(s[:min(len(s), 8*most)]); len(runes) > most {
		return strconv.Quote(string(runes[:most])) + "…"
	}
	return strconv.Quote(s)
}
