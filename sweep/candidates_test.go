package sweep

import (
	"cmp"
	"strings"

	"relaysweep/objective"
)

// solved is a candidate with its train and name.
type solved struct {
	train  *objective.Train
	ranked float64
	id     string
}

func solveAll(lib *objective.Library, all []candidate) []solved {
	out := make([]solved, len(all))
	for i := range all {
		out[i] = solved{all[i].train(lib), all[i].ranked, all[i].id(lib)}
	}
	return out
}

func compareSolved(a, b solved) int {
	return cmp.Or(cmp.Compare(a.ranked, b.ranked), strings.Compare(a.id, b.id))
}
