package results

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/apache/arrow/go/v15/parquet/file"
)

// TestDamagedSizes spoils bytes where a file says how large something is: in the
// headers of its pages, in the first bytes of what is packed, and in the footer.
// Reading then asks for little memory, whatever it finds.
func TestDamagedSizes(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "ranked.parquet")
	if err := WriteRanked(path, testAxes, nil, madeDesigns(20, testAxes)); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	pf, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	var places []int
	group := pf.MetaData().RowGroup(0)
	for c := range group.NumColumns() {
		column, err := group.ColumnChunk(c)
		if err != nil {
			t.Fatal(err)
		}
		start := int(column.DataPageOffset())
		for i := range min(60, int(column.TotalCompressedSize())) {
			places = append(places, start+i)
		}
	}
	for at := len(data) - 4000; at < len(data); at++ {
		places = append(places, at)
	}
	const allowed = 256 << 20 // a whole one takes some megabytes
	r := rand.New(rand.NewPCG(1, 2))
	refused := 0
	for range 1000 {
		bad := bytes.Clone(data)
		at := places[r.IntN(len(places)-1)]
		bad[at], bad[at+1] = byte(r.Uint32()), byte(r.Uint32())
		if err := os.WriteFile(path, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err := ReadRanked(path)
		runtime.ReadMemStats(&after)
		if err != nil {
			refused++
		}
		if took := after.TotalAlloc - before.TotalAlloc; took > allowed {
			t.Errorf("%x and %x at %d of %d: %d MB, error %v", bad[at], bad[at+1], at, len(data), took>>20, err)
		}
	}
	if refused < 250 {
		t.Errorf("only %d of 1000 were refused", refused)
	}
}

// TestDamagedLevels damages the levels of columns of lists' structs, byte by byte: the
// decoder counts a level that no column has as a value in one place and not in
// another, and would fall over it where nobody can catch that.
func TestDamagedLevels(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ranked.parquet")
	if err := WriteRanked(path, testAxes, nil, madeDesigns(20, testAxes)); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	pf, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	group := pf.MetaData().RowGroup(0)
	for c := range group.NumColumns() {
		column, err := group.ColumnChunk(c)
		if err != nil {
			t.Fatal(err)
		}
		if column.PathInSchema().String() != "lenses.list.element.reversed" {
			continue
		}
		refused := 0
		start := int(column.DataPageOffset())
		for at := start; at < start+int(column.TotalCompressedSize()); at++ {
			bad := bytes.Clone(data)
			bad[at] = 0xca
			if err := os.WriteFile(path, bad, 0o666); err != nil {
				t.Fatal(err)
			}
			if _, _, err := ReadRanked(path); err != nil {
				refused++
			}
		}
		if refused == 0 {
			t.Error("no damage was noticed")
		}
		return
	}
	t.Fatal("the table has no column of flags in a list")
}

// TestHoldsLevels: the example of Apache Parquet's Encodings.md (from memory), the numbers 0 to 7 of
// three bits as one group, and runs that end early.
func TestHoldsLevels(t *testing.T) {
	group := []byte{0x03, 0x88, 0xc6, 0xfa}
	for _, c := range []struct {
		packed []byte
		bits   int
		n      int
		want   bool
	}{
		{group, 3, 8, true}, {group, 3, 9, false}, {group[:3], 3, 1, false}, {nil, 1, 1, false}, {nil, 1, 0, true},
		{[]byte{0x14, 0x01}, 1, 10, true}, {[]byte{0x14, 0x01}, 1, 11, false}, {[]byte{0x14}, 1, 10, false},
		{append([]byte{0x14, 0x05}, group...), 3, 18, true}, {[]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f}, 1, 8, false},
	} {
		if got := holdsLevels(c.packed, c.bits, c.n); got != c.want {
			t.Errorf("%x holds %d levels of %d bits: %v", c.packed, c.n, c.bits, got)
		}
	}
}
