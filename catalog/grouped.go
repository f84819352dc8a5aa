package catalog

import (
	"fmt"
	"strings"
)

// noted is a finding at one row that is told together with others of its kind.
type noted struct {
	line   int
	column string
	found  string // of this row, naming the part
	// kind says what all rows of the kind have in common, want what would be right.
	kind, want string
}

// notedMost is how many rows of one kind are told one by one.
const notedMost = 20

// gather makes one fault of all findings of a kind, in the order of the kinds'
// first rows. A finding that stands alone reads as one row's fault does.
func gather(file string, all []noted) []Fault {
	type key struct{ column, kind, want string }
	rows := map[key][]noted{}
	var order []key
	for _, n := range all {
		k := key{n.column, n.kind, n.want}
		if rows[k] == nil {
			order = append(order, k)
		}
		rows[k] = append(rows[k], n)
	}
	var faults []Fault
	for _, k := range order {
		of := rows[k]
		f := Fault{File: file, Line: of[0].line, Key: k.column, Found: of[0].found, Want: k.want}
		if len(of) == 1 {
			if k.kind != "" {
				f.Found += "; " + k.kind
			}
		} else {
			f.Found = manyFound(k.kind, of)
		}
		faults = append(faults, f)
	}
	return faults
}

func manyFound(kind string, rows []noted) string {
	var b strings.Builder
	b.WriteString(count(len(rows), "part"))
	if kind != "" {
		b.WriteString(" of which " + kind)
	}
	b.WriteByte(':')
	for i, n := range rows {
		if i == notedMost {
			fmt.Fprintf(&b, "\n      and %d more, up to line %d", len(rows)-i, rows[len(rows)-1].line)
			break
		}
		fmt.Fprintf(&b, "\n      line %d: %s", n.line, n.found)
	}
	return b.String()
}
