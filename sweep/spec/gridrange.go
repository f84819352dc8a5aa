package spec

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// rangeKeys are the keys of a range of swept values.
var rangeKeys = []string{"from", "to", "steps", "scale"}

// rangeDigits is the number of significant digits to which the values inside a
// range are rounded: coarse enough to give 0.3 and not 0.30000000000000004,
// and the same values on every architecture.
const rangeDigits = 12

// readRange reads the range { from, to, steps, scale } of a swept key as the
// values that it stands for, none when it has a fault.
func (r *reader) readRange(k *specKey, table map[string]any) []any {
	name := k.String()
	before := len(r.faults)
	fault := func(key, found, want string) {
		r.fault(r.lines.of(sweepSection, name, key), sweptName(name)+"."+showKey(key), found, want)
	}
	if k.kind() == kindText {
		r.fault(r.lines.of(sweepSection, name), sweptName(name), "a range for a key that takes a text", "a list of texts")
		return nil
	}
	for _, key := range sortedKeys(table) {
		if slices.Contains(rangeKeys, key) {
			continue
		}
		want := "one of " + joinWords(rangeKeys, "and")
		if near := nearest(key, rangeKeys); len(near) > 0 {
			want = near[0]
		}
		fault(key, "unknown key of a range", want)
	}
	end := func(key string) float64 {
		raw, ok := table[key]
		if !ok {
			fault(key, "missing", "a finite number")
			return 0
		}
		x, problem := toNumber(raw, false)
		if problem != "" {
			fault(key, problem, "a finite number")
		}
		return x
	}
	from, to := end("from"), end("to")
	const wantSteps = "a whole number of values from 2 to 100000"
	steps := 0
	switch x := table["steps"].(type) {
	case nil:
		fault("steps", "missing", wantSteps)
	case int64:
		if x < 2 || x > pointsMost {
			fault("steps", showValue(x), wantSteps)
		}
		steps = int(x)
	default:
		fault("steps", showMismatch(x), wantSteps)
	}
	logarithmic := false
	switch x := table["scale"]; x {
	case nil, "linear":
	case "log":
		logarithmic = true
	default:
		found := showMismatch(x)
		if text, ok := x.(string); ok {
			found = showValue(text)
		}
		fault("scale", found, `"linear" or "log"`)
	}
	if len(r.faults) > before {
		return nil
	}
	if from == to {
		fault("to", showFloat(to)+" is also the first value", "another value than from")
	}
	if logarithmic && (from <= 0 || to <= 0) {
		fault("scale", fmt.Sprintf(`"log" from %s to %s`, showFloat(from), showFloat(to)), "both ends above 0, or a linear scale")
	}
	if len(r.faults) > before {
		return nil
	}
	return r.rangeValues(k, from, to, steps, logarithmic)
}

// rangeValues are the values of a range: exact ends, and rounded values between
// them, even in the value or in its logarithm.
func (r *reader) rangeValues(k *specKey, from, to float64, steps int, logarithmic bool) []any {
	values := make([]any, steps)
	for i := range values {
		x := from
		switch {
		case i == steps-1:
			x = to
		case i > 0:
			t := float64(i) / float64(steps-1)
			if logarithmic {
				x = math.Exp(math.Log(from) + float64(t*(math.Log(to)-math.Log(from))))
			} else {
				x = from + float64(t*(to-from))
			}
			x = roundDigits(x, rangeDigits)
		}
		if k.kind() != kindInteger {
			values[i] = x
			continue
		}
		if x != math.Trunc(x) || math.Abs(x) > integerMost {
			r.fault(r.lines.of(sweepSection, k.String()), sweptName(k.String()),
				fmt.Sprintf("%s, the %s value of the range", showFloat(x), ordinal(i+1)), k.want())
			return nil
		}
		values[i] = int64(x)
	}
	return values
}

// roundDigits rounds x to a number of significant decimal digits.
func roundDigits(x float64, digits int) float64 {
	// The text is a number by construction, and out of range only for
	// infinities, which it gives back.
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', digits, 64), 64)
	return y
}

func sortedKeys(table map[string]any) []string {
	keys := make([]string, 0, len(table))
	for key := range table {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}
