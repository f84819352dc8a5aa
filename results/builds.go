package results

import (
	"fmt"
	"io"
	"math"
)

// Figure is a number that is measured of every build: a column of tolerance.parquet, and
// a row of the lists in yield.parquet.
type Figure struct{ Name, Unit, Description string }

// Build is one row of tolerance.parquet: a built train.
type Build struct {
	Point, Rank int
	DesignID    string
	Number      int // from 0; with the seed it gives all of the build's errors
	// FailedBy is the first limit that it fails, empty when it passes all.
	FailedBy string
	// Figures are in the order of the file's figures; NaN for one that was not measured.
	Figures []float64
}

// buildColumns are the columns of tolerance.parquet for some figures.
func buildColumns(figures []Figure) []column[Build] {
	columns := []column[Build]{
		count("point", "sweep point, from 0", func(b *Build) *int { return &b.Point }),
		count("rank", "rank of the design at its sweep point, from 1", func(b *Build) *int { return &b.Rank }),
		label("design_id", "the design: layout, seat, and its lenses from world to eye", func(b *Build) *string { return &b.DesignID }),
		count("build", "number of the build, from 0; with the file's seed it gives all of its errors", func(b *Build) *int { return &b.Number }),
		label("failed_by", "the first limit that the build fails; empty when it passes all", func(b *Build) *string { return &b.FailedBy }),
	}
	for i, f := range figures {
		unit := f.Unit
		if unit == "" {
			unit = unitOne
		}
		columns = append(columns, maybe(f.Name, unit, f.Description, func(b *Build) **float64 {
			x := &b.Figures[i]
			if math.IsNaN(*x) {
				x = nil
			}
			return &x
		}))
	}
	return columns
}

// BuildColumnDocs are the columns of tolerance.parquet.
func BuildColumnDocs(figures []Figure) []ColumnDoc {
	return docsOf(nil, "", fieldsOf(buildColumns(figures)))
}

// WriteBuilds writes tolerance.parquet, whole or not at all, with the rows in the order
// in which each puts them: only some of them are held at a time. ranked is the digest of the
// ranked.parquet whose designs were built; the keys of meta become key-values of the file beside
// it. An error names the file, and for a value that cannot be written the column and the build; one
// of each itself is among what it wraps.
func WriteBuilds(path, ranked string, figures []Figure, meta map[string]string, each func(put func(*Build) error) error) error {
	return WriteWhole(path, func(w io.Writer) error {
		return encode(w, buildColumns(figures), builtFrom(ranked, meta), func(b *Build) string {
			return fmt.Sprintf("point %d, rank %d, build %d", b.Point, b.Rank, b.Number)
		}, each)
	})
}
