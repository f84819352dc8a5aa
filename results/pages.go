package results

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/bits"
	"os"
	"slices"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/schema"
	"github.com/apache/thrift/lib/go/thrift"
	"github.com/klauspost/compress/zstd"
)

// The decoder takes memory by what headers say, before it looks at what follows
// them: a few bad bytes make it ask for more than any machine has. What is
// checked here is how [encodeRows] writes: one page of version 2 for a column of a
// row group, without a dictionary.

// columnValuesMost bounds the values of a column in a row group, nested ones
// counted singly: a row has some hundred at most.
const columnValuesMost = 1 << 26

// footerTail is the length of the footer, and four letters.
const footerTail = 8

// checkFooter goes through the footer without keeping what it says: no list in
// it is longer than its bytes. It returns the file to read then, without the
// Arrow schema: that holds units only, which reading doesn't need, and its
// decoder believes every length in it.
func checkFooter(f *os.File, size int64) (parquet.ReaderAtSeeker, error) {
	var tail [footerTail]byte
	if size < footerTail {
		return nil, io.ErrUnexpectedEOF
	}
	if _, err := f.ReadAt(tail[:], size-footerTail); err != nil {
		return nil, err
	}
	length := int64(binary.LittleEndian.Uint32(tail[:]))
	if string(tail[4:]) != "PAR1" || length > size-footerTail {
		return nil, errors.New("does not end as one")
	}
	footer := make([]byte, length)
	start := size - footerTail - length
	if _, err := f.ReadAt(footer, start); err != nil {
		return nil, err
	}
	_, in := compact(footer)
	if err := thrift.SkipDefaultDepth(context.Background(), in, thrift.STRUCT); err != nil {
		return nil, err
	}
	hidden := bytes.Repeat([]byte{'-'}, len(arrowSchemaKey))
	return &patchedFile{f, start, bytes.ReplaceAll(footer, []byte(arrowSchemaKey), hidden)}, nil
}

// patchedFile is a file with some of its bytes replaced.
type patchedFile struct {
	*os.File
	start int64
	patch []byte
}

// ReadAt reads as [io.ReaderAt] tells.
func (f *patchedFile) ReadAt(p []byte, off int64) (int, error) {
	n, err := f.File.ReadAt(p, off)
	from, to := max(off, f.start), min(off+int64(n), f.start+int64(len(f.patch)))
	if from < to {
		copy(p[from-off:to-off], f.patch[from-f.start:])
	}
	return n, err
}

// checkSizes holds what the headers of a file say of sizes against each other
// and the file's own size.
func checkSizes(f io.ReaderAt, size int64, pf *file.Reader) error {
	rows := int64(0)
	for g := range pf.NumRowGroups() {
		group := pf.MetaData().RowGroup(g)
		n := group.NumRows()
		if n < 1 || n > rowGroupRows {
			return fmt.Errorf("a row group has %d rows", n)
		}
		rows += n
		for c := range group.NumColumns() {
			column, err := group.ColumnChunk(c)
			if err != nil {
				return err
			}
			flat := pf.MetaData().Schema.Column(c).MaxRepetitionLevel() == 0
			if err := checkPage(f, size, column, n, flat); err != nil {
				return fmt.Errorf("column %s: %w", column.PathInSchema(), err)
			}
		}
	}
	if rows != pf.NumRows() {
		return fmt.Errorf("%d rows in all, and %d in its row groups", pf.NumRows(), rows)
	}
	return nil
}

// checkPage checks the one page of a column of a row group.
func checkPage(f io.ReaderAt, size int64, column *metadata.ColumnChunkMetaData, rows int64, flat bool) error {
	start, length, values := column.DataPageOffset(), column.TotalCompressedSize(), column.NumValues()
	if start < 0 || length < 0 || start > size || length > size-start {
		return fmt.Errorf("%d bytes from %d on are beyond the file", length, start)
	}
	if column.HasDictionaryPage() {
		return errors.New("has a dictionary")
	}
	if values < rows || flat && values > rows || values > columnValuesMost {
		return fmt.Errorf("has %d values for %d rows", values, rows)
	}
	begun := make([]byte, min(length, headerMost))
	if _, err := f.ReadAt(begun, start); err != nil {
		return err
	}
	page, header, err := readPageHeader(begun)
	if err != nil {
		return fmt.Errorf("the header of its page: %w", err)
	}
	levels := page[pageDefinitionBytes] + page[pageRepetitionBytes]
	held := length - header
	switch {
	case page[pageType] != pageOfVersion2:
		return fmt.Errorf("has a page of kind %d", page[pageType])
	case page[pageValues] != values || page[pageRows] != rows || page[pageNulls] < 0 || page[pageNulls] > values:
		return fmt.Errorf("its page has %d values in %d rows, %d of them null, not %d in %d",
			page[pageValues], page[pageRows], page[pageNulls], values, rows)
	case page[pageCompressed] != held || page[pageDefinitionBytes] < 0 || page[pageRepetitionBytes] < 0 || levels > held || levels > page[pageUncompressed]:
		return fmt.Errorf("its page takes %d bytes, not %d", page[pageCompressed], held)
	}
	unpacked := page[pageUncompressed] - levels
	if held == levels {
		if unpacked != 0 {
			return fmt.Errorf("its page is to become %d bytes and holds none", unpacked)
		}
		return nil
	}
	packed := make([]byte, min(zstd.HeaderMaxSize, held-levels))
	if _, err := f.ReadAt(packed, start+header+levels); err != nil {
		return err
	}
	var frame zstd.Header
	if err := frame.Decode(packed); err != nil {
		return err
	}
	// The encoder tells the size of what is longer than one byte can count.
	if frame.HasFCS && frame.FrameContentSize != uint64(unpacked) || !frame.HasFCS && unpacked > math.MaxUint8 {
		return fmt.Errorf("its page is to become %d bytes, and packed are %d", unpacked, frame.FrameContentSize)
	}
	return nil
}

// The fields of a page's header that matter here, by their numbers in the
// format; those of a header within it have pageInner added. Source: Apache
// Parquet, parquet-format, parquet.thrift, PageHeader and DataPageHeaderV2.
const (
	pageType            = 1
	pageUncompressed    = 2
	pageCompressed      = 3
	pageVersion2        = 8
	pageInner           = 100
	pageValues          = pageInner + 1
	pageNulls           = pageInner + 2
	pageRows            = pageInner + 3
	pageDefinitionBytes = pageInner + 5
	pageRepetitionBytes = pageInner + 6

	pageOfVersion2 = 3 // a kind of page
)

// headerMost is more than a page's header takes.
const headerMost = 1 << 16

// compact reads Thrift's compact notation from bytes.
func compact(data []byte) (*thrift.TMemoryBuffer, thrift.TProtocol) {
	buffer := &thrift.TMemoryBuffer{Buffer: bytes.NewBuffer(data)}
	limit := int32(max(len(data), 1)) // no length in it is beyond it
	return buffer, thrift.NewTCompactProtocolConf(buffer, &thrift.TConfiguration{MaxMessageSize: limit})
}

// readPageHeader reads the header of a page at the beginning of data, and tells
// how long it is.
func readPageHeader(data []byte) (fields map[int16]int64, length int64, err error) {
	buffer, in := compact(data)
	fields = map[int16]int64{}
	err = readFields(in, fields, 0)
	return fields, int64(len(data)) - int64(buffer.RemainingBytes()), err
}

// readFields reads the whole numbers of a header, their own numbers raised by
// inner, and those of the header within it.
func readFields(in thrift.TProtocol, fields map[int16]int64, inner int16) error {
	ctx := context.Background()
	if _, err := in.ReadStructBegin(ctx); err != nil {
		return err
	}
	for {
		_, kind, id, err := in.ReadFieldBegin(ctx)
		if err != nil {
			return err
		}
		switch {
		case kind == thrift.STOP:
			return in.ReadStructEnd(ctx)
		case kind == thrift.I32:
			var n int32
			n, err = in.ReadI32(ctx)
			fields[inner+id] = int64(n)
		case kind == thrift.STRUCT && inner == 0 && id == pageVersion2:
			err = readFields(in, fields, pageInner)
		default:
			err = thrift.SkipDefaultDepth(ctx, in, kind)
		}
		if err != nil {
			return err
		}
	}
}

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
			of := column.Descriptor()
			if err := checkLevels(group, c, of); err != nil {
				return fmt.Errorf("column %s: %w", of.Path(), err)
			}
			if err := drain(column); err != nil {
				return fmt.Errorf("column %s: %w", column.Descriptor().Path(), err)
			}
		}
	}
	return nil
}

// checkLevels holds the levels that a column's pages have against the values that they say they have:
// where levels end early the decoder waits for more of them for ever.
func checkLevels(group *file.RowGroupReader, c int, of *schema.Column) error {
	pages, err := group.GetColumnPageReader(c)
	if err != nil {
		return err
	}
	for pages.Next() {
		page, ok := pages.Page().(*file.DataPageV2)
		if !ok {
			continue
		}
		data, repetitions, definitions := page.Data(), int(page.RepetitionLevelByteLen()), int(page.DefinitionLevelByteLen())
		if repetitions < 0 || definitions < 0 || definitions > len(data) || repetitions > len(data)-definitions {
			return errors.New("has levels longer than their page")
		}
		for _, l := range []struct {
			packed []byte
			most   int16
		}{{data[:repetitions], of.MaxRepetitionLevel()}, {data[repetitions : repetitions+definitions], of.MaxDefinitionLevel()}} {
			if l.most > 0 && !holdsLevels(l.packed, bits.Len16(uint16(l.most)), int(page.NumValues())) {
				return fmt.Errorf("has fewer levels than the %d values of a page", page.NumValues())
			}
		}
	}
	return pages.Err()
}

// holdsLevels reports whether runs hold so many levels of some bits each. A run is a count, its last
// bit set before groups of eight levels one by one, else before a single level that all have (Apache
// Parquet, Encodings.md, run length encoding and bit packing hybrid, from memory).
func holdsLevels(packed []byte, bitsEach, n int) bool {
	for n > 0 {
		count, size := binary.Uvarint(packed)
		if size <= 0 || count>>1 > math.MaxInt32/8 {
			return false
		}
		held, follow := int(count>>1), (bitsEach+7)/8
		if count&1 == 1 {
			held, follow = 8*held, bitsEach*held
		}
		if packed = packed[size:]; follow > len(packed) {
			return false
		}
		packed = packed[follow:]
		n -= held
	}
	return true
}

// drain reads a column of any type that the files have.
func drain(column file.ColumnChunkReader) error {
	of := column.Descriptor()
	switch r := column.(type) {
	case *file.Float64ColumnChunkReader:
		return drainBatches(of, r.ReadBatch)
	case *file.ByteArrayColumnChunkReader:
		return drainBatches[parquet.ByteArray](of, r.ReadBatch)
	case *file.Int32ColumnChunkReader:
		return drainBatches(of, r.ReadBatch)
	case *file.Int64ColumnChunkReader:
		return drainBatches(of, r.ReadBatch)
	case *file.BooleanColumnChunkReader:
		return drainBatches(of, r.ReadBatch)
	}
	return fmt.Errorf("is of type %s, which no column here is", column.Type())
}

// drainBatches also holds the levels against those that the column has: the decoder
// takes a level beyond them for no value here, and for a value where it reads rows.
func drainBatches[T any](of *schema.Column, read func(n int64, values []T, definitions, repetitions []int16) (int64, int, error)) error {
	const n = 4096
	values, definitions, repetitions := make([]T, n), make([]int16, n), make([]int16, n)
	for {
		total, _, err := read(n, values, definitions, repetitions)
		if err != nil || total == 0 {
			return err
		}
		if most := slices.Max(definitions[:total]); most > of.MaxDefinitionLevel() {
			return fmt.Errorf("has a definition level of %d, where %d is the highest", most, of.MaxDefinitionLevel())
		}
		if most := slices.Max(repetitions[:total]); most > of.MaxRepetitionLevel() {
			return fmt.Errorf("has a repetition level of %d, where %d is the highest", most, of.MaxRepetitionLevel())
		}
	}
}
