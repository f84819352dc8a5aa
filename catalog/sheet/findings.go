package sheet

import (
	"fmt"
	"slices"
	"strings"

	"relaysweep/catalog"
)

// findings keep what is wrong with rows in little room, however many they are:
// those that read the same are told once, with the number of rows.
type findings struct {
	file   string
	groups map[findingKey]*finding
	order  []*finding
	byKey  map[string]int // groups of a column
	more   map[string]int // findings of a column beyond the groups kept
}

type findingKey struct{ key, found, want string }

type finding struct {
	findingKey
	row, count int
}

// groupsMost is how many different findings of a column are told.
const groupsMost = 40

func newFindings(file string) *findings {
	return &findings{file: file, groups: map[findingKey]*finding{}, byKey: map[string]int{}, more: map[string]int{}}
}

func (f *findings) add(row int, key string, s slip) {
	k := findingKey{key, s.found, s.want}
	if g := f.groups[k]; g != nil {
		g.count++
		return
	}
	if f.byKey[key] == groupsMost {
		f.more[key]++
		return
	}
	f.byKey[key]++
	g := &finding{k, row, 1}
	f.groups[k] = g
	f.order = append(f.order, g)
}

// faults are the findings as those of other files.
func (f *findings) faults() catalog.Faults {
	var all catalog.Faults
	last := map[string]int{} // fault of a column told last
	for _, g := range f.order {
		found := g.found
		if g.count > 1 {
			found += fmt.Sprintf("; likewise in %s more", counted(g.count-1, "row"))
		}
		last[g.key] = len(all)
		all = append(all, catalog.Fault{File: f.file, Line: g.row, Key: g.key, Found: found, Want: g.want})
	}
	for key, n := range f.more {
		all[last[key]].Found += fmt.Sprintf("; and %s more of other kinds in this column", counted(n, "row"))
	}
	all.Err() // puts them in order
	return all
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// LeftOut are the rows of a sheet that make no lens for one reason.
type LeftOut struct {
	Reason string
	Count  int
	Parts  []string // of the first of them
	rows   []span
}

// partsNamed is how many parts of a reason are named.
const partsNamed = 3

func (l *LeftOut) add(row int, part string) {
	l.Count++
	if len(l.Parts) < partsNamed && part != "" {
		l.Parts = append(l.Parts, strings.Clone(part))
	}
	if n := len(l.rows); n > 0 && l.rows[n-1].last == row-1 {
		l.rows[n-1].last = row
		return
	}
	l.rows = append(l.rows, span{row, row})
}

// Rows lists the numbers of the rows, as 3-7, 12.
func (l *LeftOut) Rows() string {
	var b strings.Builder
	for i, s := range l.rows {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprint(&b, s.first)
		if s.last > s.first {
			fmt.Fprintf(&b, "-%d", s.last)
		}
	}
	return b.String()
}

// leftOuts groups rows by reason, in the order of the first row of each.
type leftOuts struct {
	all []*LeftOut
}

// reasonsMost is how many reasons are told apart.
const reasonsMost = 200

func (l *leftOuts) add(row int, part, reason string) {
	i := slices.IndexFunc(l.all, func(o *LeftOut) bool { return o.Reason == reason })
	if i < 0 && len(l.all) >= reasonsMost {
		reason = "other reasons"
		i = slices.IndexFunc(l.all, func(o *LeftOut) bool { return o.Reason == reason })
	}
	if i < 0 {
		i = len(l.all)
		l.all = append(l.all, &LeftOut{Reason: reason})
	}
	l.all[i].add(row, part)
}
