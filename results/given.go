package results

import (
	"cmp"
	"fmt"
	"math"
	"strings"
)

// Given is what run.json tells of a train that the spec gives: the one design of its
// sweep point.
type Given struct {
	// Gaps says at which it was measured: paraxial, given or refined.
	Gaps string `json:"gaps"`
	// Unrefined tells that refinement found no gaps at which it meets everything, so
	// that these are the paraxial ones.
	Unrefined bool `json:"unrefined,omitempty"`
	// TurnedAway is what a search turns it away by at its paraxial gaps, empty for
	// nothing; with Screen it is a limit exceeded by more than the near-miss factor.
	TurnedAway string `json:"turned_away,omitempty"`
	Screen     bool   `json:"screen,omitempty"`
	// Judged are all requirements and limits, in the order in which they are judged.
	Judged []Judged `json:"judged"`
}

// Judged is a requirement or limit held against what the train has of it.
type Judged struct {
	Name  string   `json:"name"` // under which failures are counted
	Of    string   `json:"of,omitempty"`
	Unit  string   `json:"unit,omitempty"`
	Bound Bound    `json:"bound"`
	Asked float64  `json:"asked"`
	Value *float64 `json:"reached"` // null where it is not known, or rays are lost
	Fails bool     `json:"fails"`
}

// Margin is by how much the train keeps it, in its unit, negative where it fails;
// false where that is not known.
func (j *Judged) Margin() (margin float64, ok bool) {
	switch {
	case j.Value == nil:
		return math.NaN(), false
	case j.Bound == AtLeast:
		return *j.Value - j.Asked, true
	}
	return j.Asked - *j.Value, true
}

// Line is the judgement on one line: what was reached of what was asked.
func (j *Judged) Line() string {
	reached, word := "not known", "at most"
	if j.Value != nil {
		reached = shortest(*j.Value)
	}
	if j.Bound == AtLeast {
		word = "at least"
	}
	unit := ""
	if j.Unit != "" {
		unit = " " + j.Unit
	}
	name := j.Name
	if j.Of != "" {
		name += ", " + j.Of
	}
	return fmt.Sprintf("%s: %s of %s %s%s", name, reached, word, shortest(j.Asked), unit)
}

// shortest is a number with four significant digits, and none that say nothing.
func shortest(x float64) string { return strings.TrimPrefix(fmt.Sprintf("%.4g", x), "+") }

// GapsWords say at which gaps the train was measured.
func (g *Given) GapsWords() string {
	switch {
	case g.Unrefined:
		return "at its paraxial gaps: refinement found no others at which it meets everything"
	case g.Gaps == "refined":
		return "at gaps refined by exact rays"
	case g.Gaps == "given":
		return "at the gaps given"
	}
	return "at its paraxial gaps"
}

// Fails are the judgements that fail.
func (g *Given) Fails() []*Judged {
	var fails []*Judged
	for i := range g.Judged {
		if g.Judged[i].Fails {
			fails = append(fails, &g.Judged[i])
		}
	}
	return fails
}

// Verdict says how many requirements and limits the train meets.
func (g *Given) Verdict() string {
	if n := len(g.Fails()); n > 0 {
		return fmt.Sprintf("the train fails %d of %d requirements and limits", n, len(g.Judged))
	}
	return fmt.Sprintf("the train meets all of %d requirements and limits", len(g.Judged))
}

// SearchWords say whether a search would have come to the train.
func (g *Given) SearchWords() string {
	switch {
	case g.TurnedAway == "":
		return "a search does not turn it away at its paraxial gaps"
	case g.Screen:
		return "a search turns it away at its paraxial gaps, where it exceeds " + g.TurnedAway + " by more than refine.near_miss_factor"
	}
	return "a search turns it away at its paraxial gaps, by " + g.TurnedAway
}

// print tells of the train in place of a proof.
func (g *Given) print(b *strings.Builder) {
	fmt.Fprintf(b, "given train, measured %s\n%s\n", g.GapsWords(), g.Verdict())
	for _, j := range g.Fails() {
		fmt.Fprintf(b, "  FAILS  %s\n", j.Line())
	}
	fmt.Fprintln(b, g.SearchWords())
}

// Table holds the train against every requirement and limit. A mark stands before
// those that it fails.
func (g *Given) Table() *Table {
	t := &Table{Columns: []Column{
		{Name: "", Align: Left}, {Name: "requirement or limit", Align: Left}, {Name: "of", Align: Left},
		{Name: "unit", Align: Left}, {Name: "reached"}, {Name: "asked"}, {Name: "margin"},
	}}
	for i := range g.Judged {
		j := &g.Judged[i]
		mark, sign, reached, margin := "", "<=", Null, Null
		if j.Fails {
			mark = "FAILS"
		}
		if j.Bound == AtLeast {
			sign = ">="
		}
		if j.Value != nil {
			reached = Fixed(*j.Value, 3)
		}
		if m, ok := j.Margin(); ok {
			margin = Fixed(m, 3)
		}
		t.Add(mark, j.Name, j.Of, j.Unit, reached, sign+" "+Fixed(j.Asked, 3), margin)
	}
	return t
}

// check tells what JSON could not hold or no run would write.
func (g *Given) check() error {
	if g == nil {
		return nil
	}
	for i := range g.Judged {
		j := &g.Judged[i]
		for name, x := range map[string]float64{"asked": j.Asked, "reached": *cmp.Or(j.Value, new(float64))} {
			if !isFinite(x) {
				return fmt.Errorf("given.judged.%s: %s is %v", j.Name, name, x)
			}
		}
	}
	return nil
}
