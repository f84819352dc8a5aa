package results

import (
	"fmt"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
)

// checkPages decodes every page of the file and drops what it holds. The
// decoder panics on pages that are damaged, and reads the columns of a list's
// structs in goroutines of its own, where nobody can catch that: so each page
// is first decoded here, where the caller can.
func checkPages(f *file.Reader) error {
	for g := range f.NumRowGroups() {
		group := f.RowGroup(g)
		for c := range group.NumColumns() {
			column, err := group.Column(c)
			if err != nil {
				return err
			}
			if err := drain(column); err != nil {
				return fmt.Errorf("column %s: %w", column.Descriptor().Path(), err)
			}
		}
	}
	return nil
}

// drain reads a column of any type that the files have.
func drain(column file.ColumnChunkReader) error {
	switch r := column.(type) {
	case *file.Float64ColumnChunkReader:
		return drainBatches(r.ReadBatch)
	case *file.ByteArrayColumnChunkReader:
		return drainBatches[parquet.ByteArray](r.ReadBatch)
	case *file.Int32ColumnChunkReader:
		return drainBatches(r.ReadBatch)
	case *file.Int64ColumnChunkReader:
		return drainBatches(r.ReadBatch)
	case *file.BooleanColumnChunkReader:
		return drainBatches(r.ReadBatch)
	}
	return fmt.Errorf("is of type %s, which no column here is", column.Type())
}

func drainBatches[T any](read func(n int64, values []T, definitions, repetitions []int16) (int64, int, error)) error {
	const n = 4096
	values, definitions, repetitions := make([]T, n), make([]int16, n), make([]int16, n)
	for {
		total, _, err := read(n, values, definitions, repetitions)
		if err != nil || total == 0 {
			return err
		}
	}
}
