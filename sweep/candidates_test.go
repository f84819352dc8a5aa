package sweep

import (
	"cmp"
	"slices"
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
		out[i] = solved{mustSolve(lib, &all[i]), all[i].ranked, all[i].id(lib)}
	}
	return out
}

// mustSolve is a candidate's train.
func mustSolve(lib *objective.Library, c *candidate) *objective.Train {
	t, err := c.solve(lib)
	if err != nil {
		panic(err)
	}
	return t
}

// partsOf names the parts of a train without regard to their arrangement.
func partsOf(t *objective.Train) string {
	var parts []string
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			parts = append(parts, e.Lens.Part)
		}
	}
	slices.Sort(parts)
	return strings.Join(parts, "+")
}

func compareSolved(a, b solved) int {
	return cmp.Or(cmp.Compare(a.ranked, b.ranked), strings.Compare(a.id, b.id))
}
