package results

import (
	"os"
	"path/filepath"
	"testing"
)

// BenchmarkWriteRanked writes 10,000 designs: 200 sweep points of 50 each. It
// ends on the disk, as a run does.
func BenchmarkWriteRanked(b *testing.B) {
	path := filepath.Join(b.TempDir(), "ranked.parquet")
	rows := madeDesigns(10_000, testAxes)
	for b.Loop() {
		if err := WriteRanked(path, testAxes, nil, rows); err != nil {
			b.Fatal(err)
		}
	}
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(info.Size())/float64(len(rows)), "B/design")
}

func BenchmarkReadRanked(b *testing.B) {
	path := filepath.Join(b.TempDir(), "ranked.parquet")
	if err := WriteRanked(path, testAxes, nil, madeDesigns(10_000, testAxes)); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		rows, _, err := ReadRanked(path)
		if err != nil || len(rows) != 10_000 {
			b.Fatal(len(rows), err)
		}
	}
}

// BenchmarkPrintRanked prints the 50 designs of a sweep point.
func BenchmarkPrintRanked(b *testing.B) {
	rows := madeDesigns(50, testAxes)
	for b.Loop() {
		var n countingWriter
		if err := PrintRanked(&n, rows, testAxes, false); err != nil || n == 0 {
			b.Fatal(n, err)
		}
	}
}

type countingWriter int

func (n *countingWriter) Write(p []byte) (int, error) {
	*n += countingWriter(len(p))
	return len(p), nil
}
