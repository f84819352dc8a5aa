package spec

import (
	"strconv"
	"strings"
)

// lineIndex tells on which line of a TOML document a key stands. The decoder
// gives the values but not their places.
type lineIndex map[string]int

// pathSeparator cannot stand in a TOML key but by an escape.
const pathSeparator = "\x00"

// of is the line of a key given by its path, from 1. Where the key itself was
// not seen, as inside an inline table, it is the line of what holds it; 0 when
// not even that stands in the document.
func (x lineIndex) of(path ...string) int {
	for n := len(path); n > 0; n-- {
		if line, ok := x[strings.Join(path[:n], pathSeparator)]; ok {
			return line
		}
	}
	return 0
}

// pathLevels is how deep the places of keys are kept: a range of swept values,
// [sweep], "section.key" and from, is the deepest that a spec has.
const pathLevels = 3

// record notes the line of a path and of what holds it, where they are new.
func (x lineIndex) record(path []string, line int) {
	for n := 1; n <= min(len(path), pathLevels); n++ {
		p := strings.Join(path[:n], pathSeparator)
		if _, ok := x[p]; !ok {
			x[p] = line
		}
	}
}

// indexLines reads the places of all keys from a document that the decoder
// accepted. Keys inside inline tables are left out. (TOML 1.0.0, sections
// "Keys", "String", "Table" and "Array".)
func indexLines(doc string) lineIndex {
	x := lineIndex{}
	c := cursor{text: strings.TrimPrefix(doc, "\ufeff"), line: 1}
	var table []string
	for c.skipBlank(); !c.end(); c.skipBlank() {
		line := c.line
		if c.peek() == '[' {
			for !c.end() && c.peek() == '[' {
				c.pos++
			}
			table = c.key()
			x.record(table, line)
		} else {
			path := append(append([]string{}, table...), c.key()...)
			x.record(path, line)
		}
		c.skipStatement()
	}
	return x
}

// cursor walks over a TOML document.
type cursor struct {
	text string
	pos  int
	line int
}

func (c *cursor) end() bool  { return c.pos >= len(c.text) }
func (c *cursor) peek() byte { return c.text[c.pos] }

// skipBlank passes spaces, line ends and comments.
func (c *cursor) skipBlank() {
	for !c.end() {
		switch c.peek() {
		case '\n':
			c.line++
			c.pos++
		case ' ', '\t', '\r':
			c.pos++
		case '#':
			c.skipComment()
		default:
			return
		}
	}
}

// skipComment passes everything up to the end of the line.
func (c *cursor) skipComment() {
	if n := strings.IndexByte(c.text[c.pos:], '\n'); n >= 0 {
		c.pos += n
	} else {
		c.pos = len(c.text)
	}
}

func (c *cursor) skipSpaces() {
	for !c.end() && (c.peek() == ' ' || c.peek() == '\t') {
		c.pos++
	}
}

// key reads a key that may be dotted and quoted.
func (c *cursor) key() []string {
	var path []string
	for {
		c.skipSpaces()
		start := c.pos
		if !c.end() && (c.peek() == '"' || c.peek() == '\'') {
			c.skipString()
			path = append(path, unquoteKey(c.text[start:c.pos]))
		} else {
			for !c.end() && !strings.ContainsRune(" \t\r\n.=]#", rune(c.peek())) {
				c.pos++
			}
			path = append(path, c.text[start:c.pos])
		}
		c.skipSpaces()
		if c.end() || c.peek() != '.' {
			return path
		}
		c.pos++
	}
}

func unquoteKey(quoted string) string {
	if quoted[0] == '"' {
		if s, err := strconv.Unquote(quoted); err == nil {
			return s
		}
	}
	return strings.Trim(quoted, quoted[:1])
}

// skipStatement passes what is left of a table header or of a key with its
// value, over several lines where brackets, braces or quotes hold it together.
func (c *cursor) skipStatement() {
	depth := 0
	for !c.end() {
		switch c.peek() {
		case '\n':
			if depth == 0 {
				return
			}
			c.line++
			c.pos++
		case '#':
			c.skipComment()
		case '"', '\'':
			c.skipString()
		case '[', '{':
			depth++
			c.pos++
		case ']', '}':
			// The bracket that ends a table header has its partner before.
			depth = max(0, depth-1)
			c.pos++
		default:
			c.pos++
		}
	}
}

// skipString passes a string in any of TOML's four notations.
func (c *cursor) skipString() {
	quote := c.text[c.pos : c.pos+1]
	if triple := strings.Repeat(quote, 3); strings.HasPrefix(c.text[c.pos:], triple) {
		c.skipLongString(triple)
		return
	}
	for c.pos++; !c.end() && c.peek() != '\n'; {
		switch {
		case strings.HasPrefix(c.text[c.pos:], quote):
			c.pos++
			return
		case c.escaped(quote):
			c.pos += 2
		default:
			c.pos++
		}
	}
}

// skipLongString passes a string between three quotes, which may have line
// ends in it.
func (c *cursor) skipLongString(triple string) {
	quote := triple[:1]
	for c.pos += 3; !c.end() && !strings.HasPrefix(c.text[c.pos:], triple); {
		switch {
		case c.escaped(quote):
			c.pos += 2
		case c.peek() == '\n':
			c.line++
			c.pos++
		default:
			c.pos++
		}
	}
	// Up to two quotes may stand before the closing three.
	for n := 0; n < 5 && strings.HasPrefix(c.text[c.pos:], quote); n++ {
		c.pos++
	}
}

// escaped reports whether a backslash stands here that takes the next character,
// other than a line end, out of the notation.
func (c *cursor) escaped(quote string) bool {
	return quote == `"` && c.peek() == '\\' && c.pos+1 < len(c.text) && c.text[c.pos+1] != '\n'
}
