package catalog

import (
	_ "embed"
	"slices"
	"strings"
	"sync"
)

//go:embed glasses.csv
var builtinCSV []byte

// GlassTable finds glasses by name or six-digit code.
type GlassTable struct {
	glasses []*Glass
	byName  map[string]*Glass
	byCode  map[string]*Glass
}

// NewGlassTable holds the glasses given in their order. Of several with one
// name, or one code, the first is found.
func NewGlassTable(glasses ...*Glass) *GlassTable {
	t := &GlassTable{
		glasses: slices.Clone(glasses),
		byName:  make(map[string]*Glass, len(glasses)),
		byCode:  make(map[string]*Glass, len(glasses)),
	}
	for _, g := range glasses {
		if _, ok := t.byName[foldName(g.Name)]; !ok {
			t.byName[foldName(g.Name)] = g
		}
		if _, ok := t.byCode[g.Code]; !ok && g.Code != "" {
			t.byCode[g.Code] = g
		}
	}
	return t
}

// BuiltinGlasses is the table that comes with the program. Its sources stand
// in the Source of each glass.
func BuiltinGlasses() *GlassTable { return builtin() }

var builtin = sync.OnceValue(func() *GlassTable {
	glasses, _, faults := ReadGlasses(builtinCSV, "built-in glasses")
	if err := faults.Err(); err != nil {
		panic(err) // the table is part of the program
	}
	return NewGlassTable(glasses...)
})

// Glasses lists the table in its order.
func (t *GlassTable) Glasses() []*Glass { return slices.Clone(t.glasses) }

// Find looks a glass up by its name, in upper or lower case, then by its
// six-digit code. A code that no glass of the table has gives a glass with the
// nd and Vd that the code tells, without density. Nil when there is none.
func (t *GlassTable) Find(name string) *Glass {
	if g := t.byName[foldName(name)]; g != nil {
		return g
	}
	if g := t.byCode[name]; g != nil {
		return g
	}
	return glassOfCode(name)
}

func (t *GlassTable) names() []string {
	names := make([]string, len(t.glasses))
	for i, g := range t.glasses {
		names[i] = g.Name
	}
	return names
}

// foldName maps the spellings of a glass name to one.
func foldName(name string) string { return strings.ToUpper(name) }
