package catalog

import "strings"

// Nearest gives the known name that is most like the one given, for a hint, or
// up to three when they are equally like it. Upper and lower case count as the
// same. Names that differ in more than half of their letters are not alike.
func Nearest(name string, known []string) []string {
	folded := []rune(strings.ToLower(name))
	if len(folded) > maxHintedLength {
		return nil
	}
	var names []string
	best := maxHintedLength
	for _, k := range known {
		other := []rune(strings.ToLower(k))
		d := editDistance(folded, other)
		switch {
		case d > best || 2*d > max(len(folded), len(other)):
			continue
		case d < best:
			best, names = d, nil
		}
		if len(names) < 3 {
			names = append(names, k)
		}
	}
	return names
}

// maxHintedLength bounds the work for names that nobody would mean.
const maxHintedLength = 64

// editDistance counts the single-letter changes that turn a into b (V. I.
// Levenshtein, Soviet Physics Doklady 10, 707, 1966).
func editDistance(a, b []rune) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range a {
		diagonal := row[0]
		row[0] = i + 1
		for j := range b {
			replaced := diagonal
			if a[i] != b[j] {
				replaced++
			}
			diagonal = row[j+1]
			row[j+1] = min(replaced, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// orNearest appends the names nearest to an unknown one to a hint.
func orNearest(hint, name string, known []string) string {
	switch near := Nearest(name, known); len(near) {
	case 0:
		return hint
	case 1:
		return hint + "; the nearest is " + near[0]
	default:
		return hint + "; the nearest are " + strings.Join(near, ", ")
	}
}
