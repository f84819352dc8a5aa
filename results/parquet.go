package results

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
)

const (
	// rowGroupRows bounds a row group, and with it the memory a reader needs:
	// a group of a column is one page.
	rowGroupRows = 8 * 1024
	// pageBytes is more than a row group's page ever takes, so that no page is
	// split.
	pageBytes = 1 << 30
	// createdBy is the file's writer: the version of the columns' layout, and
	// the library that encodes. It is part of the file's bytes.
	createdBy = "relaysweep version 1 (build arrow 15.0.2)"
	// arrowSchemaKey is the file key under which Arrow keeps its schema.
	arrowSchemaKey = "ARROW:schema"
)

// schemaOf is the file's Arrow schema. The keys of meta are sorted: their
// order shows in the bytes.
func schemaOf[T any](columns []column[T], meta map[string]string) *arrow.Schema {
	keys := slices.Sorted(maps.Keys(meta))
	values := make([]string, len(keys))
	for i, k := range keys {
		values[i] = meta[k]
	}
	m := arrow.NewMetadata(keys, values)
	return arrow.NewSchema(fieldsOf(columns), &m)
}

// writeRows writes a Parquet file, whole or not at all. name tells which row
// holds a value that cannot be written.
func writeRows[T any](path string, columns []column[T], meta map[string]string, rows []T, name func(*T) string) error {
	return WriteWhole(path, func(w io.Writer) error {
		return encodeRows(w, columns, meta, rows, name)
	})
}

// encodeRows is encode for rows that are all at hand.
func encodeRows[T any](w io.Writer, columns []column[T], meta map[string]string, rows []T, name func(*T) string) error {
	return encode(w, columns, meta, name, func(put func(*T) error) error {
		for i := range rows {
			if err := put(&rows[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

// encode writes the bytes of a Parquet file of the rows that each puts, of which it holds a row
// group at most. Errors of w itself may be swallowed between row groups: w has to keep its first
// error and give it again, as a bufio.Writer does on Flush.
func encode[T any](w io.Writer, columns []column[T], meta map[string]string, name func(*T) string, each func(put func(*T) error) error) (err error) {
	if _, taken := meta[arrowSchemaKey]; taken {
		return fmt.Errorf("the file key %s is Arrow's own", arrowSchemaKey)
	}
	// The encoder panics on some faults of its sink.
	defer recovered(&err, "cannot be encoded")
	schema := schemaOf(columns, meta)
	out, err := pqarrow.NewFileWriter(schema, w,
		parquet.NewWriterProperties(
			parquet.WithCompression(compress.Codecs.Zstd),
			// The encoder sets up its compressor anew for every page, and the
			// fastest level needs the least for that.
			parquet.WithCompressionLevel(1),
			// Few numbers come twice, so dictionaries make a file larger.
			parquet.WithDictionaryDefault(false),
			// For pages of version 1 the encoder copies its buffer of levels
			// over and over, and time grows with the square of the nested
			// values. In version 2 it splits pages inside a row, which the
			// format forbids and strict readers refuse: so pages are not split.
			parquet.WithDataPageVersion(parquet.DataPageV2),
			parquet.WithDataPageSize(pageBytes),
			parquet.WithMaxRowGroupLength(rowGroupRows),
			parquet.WithCreatedBy(createdBy),
			// The root is required, or strict readers count one level of
			// definition too many and misread nested lists.
			parquet.WithRootRepetition(parquet.Repetitions.Required),
		),
		// The units live in the Arrow schema only.
		pqarrow.NewArrowWriterProperties(pqarrow.WithStoreSchema()))
	if err != nil {
		return err
	}
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	defer b.Release()
	held := 0
	put := func(row *T) error {
		for c := range columns {
			if err := columns[c].put(b.Field(c), row); err != nil {
				return fmt.Errorf("%s: column %s: %w", name(row), columns[c].field.Name, err)
			}
		}
		if held++; held < rowGroupRows {
			return nil
		}
		held = 0
		return writeGroup(out, b)
	}
	if err := each(put); err != nil {
		return err
	}
	if held > 0 {
		if err := writeGroup(out, b); err != nil {
			return err
		}
	}
	return out.Close()
}

// writeGroup writes what was built as one row group: every call of Write makes one.
func writeGroup(out *pqarrow.FileWriter, b *array.RecordBuilder) error {
	record := b.NewRecord()
	defer record.Release()
	return out.Write(record)
}

// rowFile is an open Parquet file.
type rowFile struct {
	reader *pqarrow.FileReader
	schema *arrow.Schema
	meta   map[string]string // the file's key-values
	rows   int64
}

// openRows opens a Parquet file for as long as read takes. Errors name path.
func openRows(path string, read func(*rowFile) error) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("%s: %w", path, err)
		}
	}()
	// The decoder panics on some faults of its input.
	defer recovered(&err, "is not a whole Parquet file")
	f, size, err := openRegular(path)
	if err != nil {
		return err
	}
	defer f.Close()
	in, err := checkFooter(f, size)
	if err != nil {
		return fmt.Errorf("is not a whole Parquet file: %w", err)
	}
	pf, err := file.NewParquetReader(in)
	if err != nil {
		return fmt.Errorf("is not a whole Parquet file: %w", err)
	}
	if err := checkSizes(f, size, pf); err != nil {
		return fmt.Errorf("is damaged: %w", err)
	}
	if err := checkPages(pf); err != nil {
		return fmt.Errorf("is damaged: %w", err)
	}
	reader, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		return err
	}
	schema, err := reader.Schema()
	if err != nil {
		return err
	}
	meta := map[string]string{}
	for _, kv := range pf.MetaData().GetKeyValueMetadata() {
		meta[kv.Key] = kv.GetValue()
	}
	return read(&rowFile{reader: reader, schema: schema, meta: meta, rows: pf.NumRows()})
}

// readRows reads all rows, column by column and in this goroutine, so that a
// panic of the decoder can be caught.
func readRows[T any](f *rowFile, columns []column[T]) ([]T, error) {
	if err := sameColumns(f.schema, fieldsOf(columns)); err != nil {
		return nil, err
	}
	var rows []T
	for c := range columns {
		name := columns[c].field.Name
		values, err := f.column(c)
		if err != nil {
			return nil, fmt.Errorf("column %s: %w", name, err)
		}
		if c == 0 {
			rows = make([]T, values.Len())
		}
		if values.Len() != len(rows) || int64(len(rows)) != f.rows {
			return nil, fmt.Errorf("column %s has %d values for %d rows", name, values.Len(), f.rows)
		}
		row := 0
		for _, chunk := range values.Chunks() {
			for i := range chunk.Len() {
				columns[c].get(chunk, i, &rows[row])
				row++
			}
		}
		values.Release()
	}
	return rows, nil
}

// column reads one top-level column over all row groups.
func (f *rowFile) column(c int) (*arrow.Chunked, error) {
	r, err := f.reader.GetColumn(context.Background(), c)
	if err != nil {
		return nil, err
	}
	defer r.Release()
	return r.NextBatch(f.rows)
}

// sameColumns tells how a file's columns differ from those wanted.
func sameColumns(found *arrow.Schema, wanted []arrow.Field) error {
	var faults []error
	known := make(map[string]bool)
	for i, w := range wanted {
		known[w.Name] = true
		at := found.FieldIndices(w.Name)
		if len(at) == 0 {
			faults = append(faults, fmt.Errorf("the column %s is missing", w.Name))
			continue
		}
		g := found.Field(at[0])
		switch {
		case !arrow.TypeEqual(g.Type, w.Type):
			faults = append(faults, fmt.Errorf("the column %s is of type %s, not %s", w.Name, g.Type, w.Type))
		case g.Nullable != w.Nullable:
			faults = append(faults, fmt.Errorf("the column %s differs in whether it can be null", w.Name))
		case at[0] != i:
			faults = append(faults, fmt.Errorf("the column %s is number %d, not %d", w.Name, at[0]+1, i+1))
		}
	}
	for _, g := range found.Fields() {
		if !known[g.Name] {
			faults = append(faults, fmt.Errorf("the column %s is not known", g.Name))
		}
	}
	return errors.Join(faults...)
}

// sweepOf are the swept keys of a ranked.parquet: the columns between the
// first two that every such file has.
func sweepOf(schema *arrow.Schema) ([]Axis, error) {
	from := schema.FieldIndices(designColumns[0].field.Name)
	to := schema.FieldIndices(designColumns[1].field.Name)
	if len(from) != 1 || len(to) != 1 {
		return nil, fmt.Errorf("is not a table of ranked designs: it needs one column point and one column rank")
	}
	var sweep []Axis
	for i := from[0] + 1; i < to[0]; i++ {
		f := schema.Field(i)
		axis := Axis{Key: f.Name}
		switch f.Type.ID() {
		case arrow.FLOAT64:
			axis.Kind = KindFloat
		case arrow.STRING:
			axis.Kind = KindString
		case arrow.INT64:
			axis.Kind = KindInt
		default:
			return nil, fmt.Errorf("the swept key %s is of type %s", f.Name, f.Type)
		}
		sweep = append(sweep, axis)
	}
	return sweep, nil
}

// recovered turns a panic into an error.
func recovered(err *error, what string) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("%s: %v", what, r)
	}
}
