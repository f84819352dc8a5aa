package sheet

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"strings"

	"relaysweep/catalog"
)

// batchRows is how many rows are read at once as a lens table.
const batchRows = 256

// made is a row of the table that is yet to be read as such.
type made struct {
	row                       int
	part, kind, derived, text string
}

// flush reads the rows in hand as a lens table, and writes them. Where anything
// is to be said, each is read by itself.
func (im *importer) flush() error {
	batch := im.batch
	im.batch = im.batch[:0]
	if len(batch) == 0 {
		return nil
	}
	row, part := im.row, im.part
	defer func() { im.row, im.part = row, part }()
	clean := im.allClean(batch)
	for _, l := range batch {
		if !clean && !im.check(l) {
			continue
		}
		im.seen[digestOf(l.part)] = l.row
		im.outcome.Lenses++
		if l.derived != "" {
			im.outcome.Derived++
		}
		if !im.kinds[l.kind] && len(im.kinds) < reasonsMost {
			im.kinds[strings.Clone(l.kind)] = true
		}
		im.row = l.row
		if err := im.write(l.text); err != nil {
			return err
		}
	}
	return nil
}

func digestOf(part string) [16]byte {
	sum := sha256.Sum256([]byte(part))
	return [16]byte(sum[:])
}

// tableOf is a lens table of rows.
func (im *importer) tableOf(batch ...made) []byte {
	var b bytes.Buffer
	b.WriteString(im.head)
	for _, l := range batch {
		b.WriteString(l.text)
	}
	return b.Bytes()
}

// allClean reports whether nothing is to be said of a batch.
func (im *importer) allClean(batch []made) bool {
	for _, l := range batch {
		if im.seen[digestOf(l.part)] > 0 {
			return false
		}
	}
	_, warnings, faults := catalog.ReadLenses(im.tableOf(batch...), im.findings.file, im.glasses)
	return len(warnings) == 0 && len(faults) == 0
}

// check reads a row as the reader of lens tables does. It is false for one that
// makes no lens. What is wrong with a lens whose radii were computed is a reason
// to leave it out.
func (im *importer) check(l made) bool {
	im.row, im.part, im.faulty = l.row, l.part, im.faulty[:0]
	_, warnings, faults := catalog.ReadLenses(im.tableOf(l), im.findings.file, im.glasses)
	if len(faults) > 0 && l.derived != "" {
		im.left.add(l.row, l.part, fmt.Sprintf("%s was computed, and then %s: %s", l.derived, faults[0].Key, faults[0].Found))
		return false
	}
	for _, f := range faults {
		im.fault(im.sourceKey(f.Key), slip{f.Found, f.Want})
	}
	if other := im.seen[digestOf(l.part)]; other > 0 && len(faults) == 0 {
		im.fault(im.sourceKey("part"), slip{fmt.Sprintf("%s is already in row %d", quoted(l.part), other), "each part once, or the row in skip_rows"})
	}
	if len(im.faulty) > 0 {
		im.tell()
		return false
	}
	for _, f := range warnings {
		im.warned.add(l.row, im.sourceKey(f.Key), slip{f.Found, f.Want})
	}
	return true
}
