package spec

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"relaysweep/catalog"
)

// showValue writes a value as TOML would have it, shortened.
func showValue(v any) string {
	switch x := v.(type) {
	case string:
		if r := []rune(x); len(r) > 60 {
			return strconv.Quote(string(r[:57]) + "...")
		}
		return strconv.Quote(x)
	case float64:
		return showFloat(x)
	case int64:
		return strconv.FormatInt(x, 10)
	case bool:
		return strconv.FormatBool(x)
	case []float64:
		return showList(x)
	case []string:
		return showList(x)
	}
	return noun(v)
}

func showList[T any](list []T) string {
	const most = 8
	var parts []string
	for i, x := range list {
		if i == most {
			parts = append(parts, "...")
			break
		}
		parts = append(parts, showValue(x))
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

// showFloat is the shortest decimal that reads back as x.
func showFloat(x float64) string {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return strings.ToLower(strings.TrimPrefix(strconv.FormatFloat(x, 'g', -1, 64), "+"))
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// showKey writes a key as TOML would have it, in quotes where it needs them.
func showKey(path ...string) string {
	shown := make([]string, len(path))
	for i, part := range path {
		shown[i] = part
		if part == "" || strings.Trim(part, bareCharacters) != "" {
			shown[i] = strconv.Quote(part)
		}
	}
	return strings.Join(shown, ".")
}

// bareCharacters may stand in a key without quotes (TOML 1.0.0, "Keys").
const bareCharacters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"

// noun names the TOML type of a value.
func noun(v any) string {
	switch v.(type) {
	case string:
		return "a text"
	case float64:
		return "a number with a decimal point"
	case int64:
		return "a whole number"
	case bool:
		return "a boolean"
	case time.Time:
		return "a date or time"
	case map[string]any:
		return "a table"
	}
	return "a list"
}

// showMismatch says that a value is of the wrong type.
func showMismatch(v any) string {
	switch x := v.(type) {
	case string, int64, bool:
		return showValue(v) + " is " + noun(v)
	case float64:
		if x == math.Trunc(x) && math.Abs(x) < 1e15 {
			return strconv.FormatFloat(x, 'f', 1, 64) + " is " + noun(v)
		}
		return showFloat(x) + " is " + noun(v)
	}
	return noun(v)
}

// joinWords lists words with a conjunction before the last.
func joinWords(words []string, conjunction string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " " + conjunction + " " + words[last]
}

func ordinal(n int) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, suffix)
}

// nearest are the candidates that most likely were meant by word: those that it
// begins, as when the unit is left out, or else the one most like it.
func nearest(word string, candidates []string) []string {
	var begun []string
	for _, c := range candidates {
		if word != "" && strings.HasPrefix(c, word+"_") {
			begun = append(begun, c)
		}
	}
	if len(begun) > 0 {
		return begun
	}
	alike := catalog.Nearest(word, candidates)
	return alike[:min(1, len(alike))]
}
