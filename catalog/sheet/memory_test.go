package sheet

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"relaysweep/catalog"
)

// highWater runs an import and gives the largest heap, in bytes, that is in use
// at any of a few dozen moments of it, above that before.
func highWater(t *testing.T, file catalog.File, m *Map, wantLenses int) int64 {
	t.Helper()
	var before runtime.MemStats
	for range 3 { // what pools keep goes with the second
		runtime.GC()
	}
	runtime.ReadMemStats(&before)
	w := &watch{every: 256 << 10}
	outcome, err := Import(context.Background(), file, m, Options{}, w)
	if err != nil {
		t.Fatal(err)
	}
	if outcome.Lenses != wantLenses {
		t.Fatalf("%d lenses, want %d", outcome.Lenses, wantLenses)
	}
	if w.looks < 2 {
		t.Fatalf("looked %d times at %d bytes", w.looks, w.written)
	}
	return int64(w.most) - int64(before.HeapAlloc)
}

// watch is a writer that looks at what is alive once in so many bytes.
type watch struct {
	every, written int
	looks          int
	most           uint64
}

func (w *watch) Write(p []byte) (int, error) {
	if w.written/w.every != (w.written+len(p))/w.every {
		var now runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&now)
		w.most = max(w.most, now.HeapAlloc)
		w.looks++
	}
	w.written += len(p)
	return len(p), nil
}

// TestMemory imports 300,000 rows: what stays alive is a constant and some tens
// of bytes a row, which is what keeps part names apart. All rows in memory as
// lenses would take more than 300 bytes each.
func TestMemory(t *testing.T) {
	const rows = 300_000
	const constant, perRow = 8 << 20, 64
	path := filepath.Join(t.TempDir(), "large.csv")
	var b bytes.Buffer
	b.WriteString(plainHeader)
	for i := range rows {
		fmt.Fprintf(&b, plainRow, i)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	b = bytes.Buffer{}
	if got := highWater(t, catalog.File{Path: path, Shown: "large.csv"}, mustMap(t, plainMap), rows); got > constant+perRow*rows {
		t.Errorf("%d kB are alive", got>>10)
	}
}

// TestMemoryOfAWorkbook: a worksheet of many rows is not held in memory. It
// unpacks to 12 MB.
func TestMemoryOfAWorkbook(t *testing.T) {
	const rows, most = 20_000, 8 << 20
	file := largeBook(t, rows)
	if got := highWater(t, file, mustMap(t, plainMap), rows); got > most {
		t.Errorf("%d kB are alive", got>>10)
	}
}

func largeBook(t *testing.T, rows int) catalog.File {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	w, err := f.NewStreamWriter("Sheet1")
	if err != nil {
		t.Fatal(err)
	}
	remark := strings.Repeat("remark ", 30)
	for i, row := range plainRows(rows) {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		if err == nil {
			err = w.SetRow(cell, append(row, remark))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "large.xlsx")
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	return catalog.File{Path: path, Shown: "large.xlsx"}
}

// TestTableTooLarge: what a lens table may not hold is not written.
func TestTableTooLarge(t *testing.T) {
	var b strings.Builder
	b.WriteString(plainHeader)
	name := strings.Repeat("n", 60_000)
	for i := range 600 {
		fmt.Fprintf(&b, name+plainRow, i)
	}
	_, err := Import(context.Background(), put(t, "s.csv", b.String()), mustMap(t, plainMap), Options{}, io.Discard)
	if err == nil || !strings.Contains(err.Error(), "the lens table would be larger than 32 MB") {
		t.Error(err)
	}
}

// TestInterrupted: an import ends when it is told to.
func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := Import(ctx, put(t, "s.csv", plainHeader+fmt.Sprintf(plainRow, 1)), mustMap(t, plainMap), Options{}, io.Discard)
	if err != context.Canceled {
		t.Error(err)
	}
}

// TestManyTexts: the texts that cells share are right also where they are so
// many that they go to a temporary file, which is gone afterwards.
func TestManyTexts(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	rows := plainRows(3000)
	for i := range rows {
		rows[i] = append(rows[i], fmt.Sprint(i, strings.Repeat(" remark", 100)))
	}
	file := putBook(t, "s.xlsx", "", rows, nil)
	lenses, _, _ := imported(t, file, mustMap(t, plainMap), Options{})
	for i := range 3000 {
		if l := lenses[fmt.Sprint("A", i)]; l == nil || l.Kind != "plano-convex" {
			t.Fatalf("A%d is %+v", i, l)
		}
	}
	if left, err := os.ReadDir(temp); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
