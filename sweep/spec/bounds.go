package spec

import (
	"fmt"

	"relaysweep/catalog"
)

// Bounds of a spec file. What is beyond them is no spec, and would keep the
// decoder busy for minutes: its time grows with the square of some of these.
const (
	// bytesMost is the size of the file in bytes.
	bytesMost = 1 << 20
	// keysMost is the number of keys and section headers.
	keysMost = 10_000
	// keyPartsMost is the number of parts of one dotted key.
	keyPartsMost = 8
	// nestingMost is how deep brackets and braces may stand in each other.
	nestingMost = 16
)

// boundsFault tells of a document that is beyond the bounds, nil for none. Its
// time is linear in the document, whatever that holds.
func boundsFault(file, doc string) *catalog.Fault {
	fault := func(line int, found, want string) *catalog.Fault {
		return &catalog.Fault{File: file, Line: line, Found: found, Want: want + "; the rest of the file was not checked"}
	}
	if len(doc) > bytesMost {
		return fault(0, fmt.Sprintf("the spec holds %d bytes", len(doc)), fmt.Sprintf("at most %d", bytesMost))
	}
	depth, dots, keys, line := 0, 0, 0, 1
	fresh := true // at the beginning of a line, outside of lists and tables
	c := cursor{text: doc, line: 1}
	for !c.end() {
		b := c.peek()
		if fresh && b != ' ' && b != '\t' && b != '\r' && b != '\n' && b != '#' {
			fresh = false
			keys++
		}
		line = c.line
		switch b {
		case '\n':
			c.line++
			c.pos++
			dots = 0
			fresh = depth == 0
			continue
		case '#':
			c.skipComment()
			continue
		case '"', '\'':
			c.skipString()
			continue
		case '[', '{':
			depth++
			dots = 0
		case ']', '}':
			depth = max(0, depth-1)
			dots = 0
		case ',', '=':
			dots = 0
		case '.':
			dots++
		}
		c.pos++
		switch {
		case depth > nestingMost:
			return fault(line, fmt.Sprintf("brackets stand more than %d deep in each other", nestingMost), fmt.Sprintf("at most %d; no key of a spec needs more than 2", nestingMost))
		case dots >= keyPartsMost:
			return fault(line, fmt.Sprintf("a key has more than %d parts", keyPartsMost), fmt.Sprintf("at most %d; no key of a spec has more than 3", keyPartsMost))
		case keys > keysMost:
			return fault(line, fmt.Sprintf("the spec has more than %d keys", keysMost), fmt.Sprintf("at most %d", keysMost))
		}
	}
	return nil
}
