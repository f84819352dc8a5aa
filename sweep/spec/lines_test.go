package spec

import (
	"fmt"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"pgregory.net/rapid"
)

func TestIndexLines(t *testing.T) {
	document := `# [comment]
a = 1
b.c = "x # y" # "
b . "d.e" = 'it''s' # not TOML, but no reason to stumble

[ t . 'u v' ] # ]
k = [ # [
  "]", ']', """
[no]
no = 1 """, # ]]
  { x = 1, y = "}" },
]
"q\"\u0041" = '''
no = '
''''
l = { m = 1, n = [1,
2] }
[[arr]]
z = 1
	tab=2
[t]
last = 1`
	x := indexLines(document)
	for _, c := range []struct {
		path []string
		line int
	}{
		{[]string{"a"}, 2},
		{[]string{"b"}, 3},
		{[]string{"b", "c"}, 3},
		{[]string{"b", "d.e"}, 4},
		{[]string{"t"}, 6},
		{[]string{"t", "u v"}, 6},
		{[]string{"t", "u v", "k"}, 7},
		{[]string{"t", "u v", `q"A`}, 13},
		{[]string{"t", "u v", "l"}, 16},
		{[]string{"t", "u v", "l", "n"}, 16}, // inside an inline table
		{[]string{"arr"}, 18},
		{[]string{"arr", "z"}, 19},
		{[]string{"arr", "tab"}, 20},
		{[]string{"t", "last"}, 22},
		{[]string{"no"}, 0},
	} {
		if got := x.of(c.path...); got != c.line {
			t.Errorf("%q on line %d, want %d", c.path, got, c.line)
		}
	}
}

// TestIndexLinesOfComposedDocuments puts documents together from pieces whose
// number of lines is known.
func TestIndexLinesOfComposedDocuments(t *testing.T) {
	values := []string{
		`1`, `"a # b"`, `'c " d'`, `[1, 2, [3]]`, "[\n1, # ]\n\"]\"\n]", "\"\"\"\n[x]\ny = 1\n\"\"\"", "'''\n'''",
		`"""a"""""`, `"\\"`, `'\'`, `"\"["`, "\"\"\"\\\n  joined\"\"\"", `{ p = "}", q = [1, "]"] }`, `[]`, `""`, `''`,
		`""""""`, `1979-05-27T07:32:00Z`, "[[\n'x'],\n[\"\"\"\n\n\"\"\"]]", "'''a''''", "['''a'''']",
	}
	between := []string{"", "\n", "# a [comment] = \"\n", "\t\n", "\r\n"}
	rapid.Check(t, func(t *rapid.T) {
		var doc strings.Builder
		line := 1
		write := func(text string) {
			doc.WriteString(text)
			line += strings.Count(text, "\n")
		}
		type place struct {
			path []string
			line int
		}
		var places []place
		table := []string{}
		for i := range rapid.IntRange(1, 12).Draw(t, "statements") {
			write(rapid.SampledFrom(between).Draw(t, "between"))
			if rapid.IntRange(0, 3).Draw(t, "header") == 0 {
				table = []string{fmt.Sprintf("t.%d", i)}
				places = append(places, place{table, line})
				write(fmt.Sprintf("[ \"t.%d\" ] # ]\n", i))
				continue
			}
			path := append(append([]string{}, table...), fmt.Sprintf("k%d", i), "x y")
			places = append(places, place{path, line})
			write(fmt.Sprintf("k%d . 'x y' = %s\n", i, rapid.SampledFrom(values).Draw(t, "value")))
		}
		var decoded map[string]any
		if _, err := toml.Decode(doc.String(), &decoded); err != nil {
			t.Fatalf("the test composes what is not TOML: %v\n%s", err, doc.String())
		}
		x := indexLines(doc.String())
		for _, p := range places {
			if got := x.of(p.path...); got != p.line {
				t.Fatalf("%q on line %d, want %d, in\n%s", p.path, got, p.line, doc.String())
			}
		}
	})
}
