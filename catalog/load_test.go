package catalog

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const partColumns = "part,diameter_mm,r1_mm,t1_mm,glass1,r2_mm\n"

// writeFiles writes tables to a folder of the test and names them as a user
// would, by their base names.
func writeFiles(t *testing.T, contents ...string) []File {
	t.Helper()
	dir := t.TempDir()
	var files []File
	for i, text := range contents {
		name := fmt.Sprintf("%c.csv", 'a'+i)
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, File{Path: path, Shown: name})
	}
	return files
}

func TestLoad(t *testing.T) {
	tables := []string{
		partColumns + "Z,20,50,4,N-BK7,-50\nA,20,50,4,mine,-50\n",
		partColumns + "# one part\nM,20,50,4,700500,-50\n",
	}
	glass := "glass,nd,Vd,density\nMine,1.7,50,\nn-bk7,1.6,40,3\n"
	c, err := Load(writeFiles(t, tables...), writeFiles(t, glass))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, l := range c.Lenses {
		got = append(got, fmt.Sprintf("%s %s:%d %s %.3f", l.Part, l.File, l.Line, l.Glasses[0].Name, l.Glasses[0].Nd()))
	}
	want := []string{"Z a.csv:2 n-bk7 1.600", "A a.csv:3 Mine 1.700", "M b.csv:3 Mine 1.700"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("lenses (-want +got):\n%s", diff)
	}
	digestOf := func(s string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(s))) }
	wantTables := []Table{{File: "a.csv", SHA256: digestOf(tables[0]), Lenses: 2}, {File: "b.csv", SHA256: digestOf(tables[1]), Lenses: 1}}
	if diff := cmp.Diff(wantTables, c.Tables); diff != "" {
		t.Errorf("lens tables (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]Table{{File: "a.csv", SHA256: digestOf(glass), Glasses: 2}}, c.GlassTables); diff != "" {
		t.Errorf("glass tables (-want +got):\n%s", diff)
	}
}

func TestLoadTellsAllFaultsAtOnce(t *testing.T) {
	lenses := writeFiles(t,
		partColumns+"A,20,50,4,broken,-50\nB,20,50,4,nowhere,-50\nA,20,50,4,N-BK7,-50\n",
		partColumns+"C,20,50,4,N-BK7,-50\nB,20,50,4,N-BK7,-50\n")
	missing := File{Path: filepath.Join(t.TempDir(), "none.csv"), Shown: "sub/none.csv"}
	lenses = append(lenses, missing, File{Path: lenses[0].Path, Shown: "./a.csv"})
	glasses := writeFiles(t, "glass,nd,Vd\nBroken,1.5,0\nX,1.6,50\n", "glass,nd,Vd\nx,1.7,40\n")
	glasses[0].Shown, glasses[1].Shown = "g1.csv", "g2.csv"
	c, err := Load(lenses, glasses)
	if c != nil {
		t.Error("a catalog beside an error")
	}
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatalf("the error is %T, want Faults", err)
	}
	// The glass named "broken" exists, so only its own table is told about.
	want := `sub/none.csv: cannot read ` + missing.Path + `: no such file or directory
    expected a lens table in CSV
./a.csv: the table is already read as a.csv
    expected each lens table once
g1.csv:2: Vd: 0 cannot be
    expected the Abbe number Vd, from 5 to 200
g2.csv:2: glass: "x" is already at g1.csv:3
    expected each name once over all glass tables, upper and lower case being the same
a.csv:3: glass1: "nowhere" is no known glass
    expected a glass of the built-in or your own tables, or a six-digit code as 517642
a.csv:4: part: "A" is already at a.csv:2
    expected each part once over all lens tables
b.csv:3: part: "B" is already at a.csv:3
    expected each part once over all lens tables`
	if diff := cmp.Diff(want, err.Error()); diff != "" {
		t.Errorf("messages (-want +got):\n%s", diff)
	}
}

// A glass table that cannot be read says nothing about which glasses exist.
func TestLoadDoesNotBlameLensesForAMissingGlassTable(t *testing.T) {
	lenses := writeFiles(t, partColumns+"A,20,50,4,special,-50\n")
	dir := File{Path: t.TempDir(), Shown: "glasses"}
	_, err := Load(lenses, []File{dir})
	if err == nil || strings.Contains(err.Error(), "special") || !strings.Contains(err.Error(), "is a directory") {
		t.Errorf("the error is %v, want one for the glass table only", err)
	}
}

// table1000 is a table of singlets and doublets in equal parts.
func table1000() string {
	var b strings.Builder
	b.WriteString("part,vendor,kind,diameter_mm,clear_mm,r1_mm,t1_mm,glass1,r2_mm,t2_mm,glass2,r3_mm,k1,a4_1,price,efl_mm,bfl_mm\n")
	for i := range 500 {
		fmt.Fprintf(&b, "S%d,made up,singlet,25.4,,%.3f,5,N-BK7,inf,,,,,,21.5,%.2f,\n", i, 30+0.5*float64(i), (30+0.5*float64(i))/0.5168)
		fmt.Fprintf(&b, "D%d,made up,doublet,25.4,22.9,%.3f,7,N-BK7,%.3f,3,SF5,inf,-0.5,1e-7,60,,\n", i, 40+0.5*float64(i), -40-0.5*float64(i))
	}
	return b.String()
}

func BenchmarkLoad1000(b *testing.B) {
	path := filepath.Join(b.TempDir(), "parts.csv")
	if err := os.WriteFile(path, []byte(table1000()), 0o600); err != nil {
		b.Fatal(err)
	}
	files := []File{{Path: path, Shown: "parts.csv"}}
	b.ReportAllocs()
	for b.Loop() {
		c, err := Load(files, nil)
		if err != nil {
			b.Fatal(err)
		}
		if len(c.Lenses) != 1000 || len(c.Warnings) != 0 {
			b.Fatalf("%d lenses, warnings %v", len(c.Lenses), c.Warnings)
		}
	}
}

func BenchmarkFilter1000(b *testing.B) {
	lenses, _, faults := ReadLenses([]byte(table1000()), "parts.csv", BuiltinGlasses())
	if err := faults.Err(); err != nil {
		b.Fatal(err)
	}
	f := Filter{ExcludeParts: []string{"S1*9"}, FocalMinMM: 60, FocalMaxMM: 200}
	kept := 0
	for b.Loop() {
		kept = len(f.Apply(lenses, LineE))
	}
	if kept == 0 || kept == len(lenses) {
		b.Fatalf("the filter keeps %d", kept)
	}
}

func BenchmarkIndex(b *testing.B) {
	g := BuiltinGlasses().Find("N-BK7")
	sum := 0.0
	for b.Loop() {
		sum += g.Index(LineE)
	}
	if sum < 1.5 {
		b.Fatal(sum)
	}
}
