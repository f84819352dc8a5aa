package catalog

import (
	"fmt"
	"slices"
	"strings"
)

// Fault is one thing wrong in a file that a user wrote.
type Fault struct {
	File  string // as the user named it
	Line  int    // from 1; 0 when the fault belongs to no line
	Key   string // the key or column; may be empty
	Found string // the problem: what stands there
	Want  string // the hint: what would be right
}

// Error gives the problem on one line and the hint on the next. Hidden
// characters are written as escapes.
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(Visible(f.File))
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d", f.Line)
	}
	b.WriteString(": ")
	if f.Key != "" {
		b.WriteString(Visible(f.Key))
		b.WriteString(": ")
	}
	b.WriteString(visibleLines(f.Found))
	if f.Want != "" {
		b.WriteString("\n    expected ")
		b.WriteString(visibleLines(f.Want))
	}
	return b.String()
}

// Faults are all the faults that a reader found, as one error.
type Faults []Fault

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i := range f {
		lines[i] = f[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Err is nil when there are no faults. Faults of one file come in the order of
// their lines; files keep the order in which they were read.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	order := map[string]int{}
	for _, x := range f {
		if _, ok := order[x.File]; !ok {
			order[x.File] = len(order)
		}
	}
	slices.SortStableFunc(f, func(a, b Fault) int {
		if a.File != b.File {
			return order[a.File] - order[b.File]
		}
		return a.Line - b.Line
	})
	return f
}
