package catalog

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"strings"
)

// File is a table to read.
type File struct {
	Path  string // where it is
	Shown string // how the user named it, for messages
}

// Table tells what was read from a file.
type Table struct {
	File    string // as the user named it
	SHA256  string // of the bytes that were read, in hexadecimal
	Lenses  int    // how many lenses it holds
	Glasses int    // how many glasses it holds
}

// Catalog is everything that was read.
type Catalog struct {
	Lenses      []*Lens // in the order of the files, then of their lines
	Tables      []Table // the lens tables
	GlassTables []Table // the user's glass tables, without the built-in one
	Drawer      *Table  // of the pieces that are there, see [Catalog.Own]; nil for none
	// Warnings are doubts that do not keep a catalog from being used: values
	// as published that the data beside them do not give, and unlikely sizes.
	Warnings []Fault
}

// Load reads lens tables and the glass tables that they need besides the
// built-in one. Glasses of the user's tables go before built-in ones of the
// same name or code. The error is of type [Faults]: everything that is wrong
// in all the files. Each file is read once, and its digest is of those bytes.
func Load(lensFiles, glassFiles []File) (*Catalog, error) {
	c := &Catalog{}
	var faults Faults

	gr := newGlassReader()
	paths := map[string]string{}
	for _, f := range glassFiles {
		data, ok := readFile(f, "glass", paths, &faults)
		if !ok {
			gr.incomplete = true
			continue
		}
		before := len(gr.glasses)
		gr.read(data, f.Shown)
		c.GlassTables = append(c.GlassTables, Table{File: f.Shown, SHA256: digest(data), Glasses: len(gr.glasses) - before})
	}

	lr := newLensReader(NewGlassTable(append(gr.glasses, BuiltinGlasses().Glasses()...)...))
	lr.meant = func(name string) bool {
		_, seen := gr.seen[foldName(name)]
		return lr.glasses.Find(name) == nil && (seen || gr.incomplete)
	}
	clear(paths)
	for _, f := range lensFiles {
		data, ok := readFile(f, "lens", paths, &faults)
		if !ok {
			continue
		}
		before := len(lr.lenses)
		lr.read(data, f.Shown)
		c.Tables = append(c.Tables, Table{File: f.Shown, SHA256: digest(data), Lenses: len(lr.lenses) - before})
	}

	faults = append(append(faults, gr.faults...), lr.faults...)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	c.Lenses = lr.lenses
	c.Warnings = append(gr.warnings, lr.warnings...)
	return c, nil
}

// readFile reads one file. It is false, with a fault, when the file cannot be
// read or was read before under the same path.
func readFile(f File, kind string, paths map[string]string, faults *Faults) ([]byte, bool) {
	path := filepath.Clean(f.Path)
	if other, twice := paths[path]; twice {
		*faults = append(*faults, Fault{File: f.Shown, Found: "the table is already read as " + other, Want: "each " + kind + " table once"})
		return nil, false
	}
	paths[path] = f.Shown
	data, err := ReadFile(path, TableBytesMost)
	if err != nil {
		want := "a " + kind + " table in CSV"
		if strings.HasPrefix(f.Shown, "~") {
			want += "; only a shell turns ~ into a home folder"
		}
		*faults = append(*faults, Fault{File: f.Shown, Found: fmt.Sprintf("cannot read %s: %v", path, err), Want: want})
		return nil, false
	}
	return data, true
}

func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
