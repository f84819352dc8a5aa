package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"relaysweep/catalog"
	"relaysweep/catalog/sheet"
)

// writeIn writes a file of a test and gives its path.
func writeIn(t *testing.T, folder, name, text string) string {
	t.Helper()
	path := filepath.Join(folder, name)
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

func checkWords(t *testing.T, what, text string, wants ...string) {
	t.Helper()
	for _, w := range wants {
		if !strings.Contains(text, w) {
			t.Errorf("%s does not say %q:\n%s", what, w, text)
		}
	}
}

// TestFiveCommands goes from the demo's shop to a report: a map is proposed, the
// sheet imported by what a person makes of it, a spec written, run with the
// table, and the page made.
func TestFiveCommands(t *testing.T) {
	checkWords(t, "the README", string(readFile(t, top, "README.md")),
		"\nrelaysweep catalog import --suggest testdata/demo/shop.csv > map.toml\n"+
			"relaysweep catalog import testdata/demo/shop.csv --map map.toml -o lenses.csv\n"+
			"relaysweep init bench.toml\nrelaysweep run bench.toml\nrelaysweep report out/bench\n")
	folder := t.TempDir()
	shop := filepath.Join(top, "testdata", "demo", "shop.csv")
	mapFile, table, spec := filepath.Join(folder, "map.toml"), filepath.Join(folder, "lenses.csv"), filepath.Join(folder, "bench.toml")
	edit := func(path, text string, edits ...string) {
		t.Helper()
		for i := 0; i < len(edits); i += 2 {
			changed := regexp.MustCompile(edits[i]).ReplaceAllString(text, edits[i+1])
			if changed == text {
				t.Fatalf("nothing to edit by %s in\n%s", edits[i], text)
			}
			text = changed
		}
		writeIn(t, folder, filepath.Base(path), text)
	}

	proposed := must(t, exitDone, "catalog", "import", "--suggest", shop).stdout
	checkWords(t, "the proposed map", proposed,
		"header_row = 2\n", "decimal_comma = true\n", `part = "Order no."`, `kind = "Type"`,
		`diameter_mm = { from = "Diameter (mm)", unit = "mm" }`, `efl_mm = { from = "Focal length (mm)", unit = "mm" }`,
		`t2_mm = { from = "Thickness 2 (mm)", unit = "mm" }`, `glass2 = "Glass 2"`, `price = "Price (EUR)"`,
		`# ? = "Status"`, `"Plano-Convex" = "plano-convex"`)
	// What a person decides: both faces of a bi-convex lens are alike here, N BK7 is
	// N-BK7, what is sold out is skipped.
	edit(mapFile, proposed+"\n[skip]\n\"Status\" = [\"sold*\"]\n",
		`(?m)^# (equal_radii|"N BK7")`, "$1")
	o := must(t, exitDone, "catalog", "import", shop, "--map", mapFile, "-o", table)
	checkWords(t, "import", o.stdout, "18 lenses of 20 rows, 2 skipped by the map", "6 lenses with computed radii")
	if o.stderr != "" {
		t.Errorf("import says on stderr %q", o.stderr)
	}
	must(t, exitDone, "init", spec)
	edit(spec, string(readFile(t, spec)), `(?m)^files = .*`, `files = ["lenses.csv"]`,
		`(?m)^exclude_kinds = .*`, `exclude_kinds = ["bi-*", "plano-*"]`, `(?m)^name = .*`, "$0\ntop = 3")
	checked := must(t, exitDone, "check", spec)
	checkWords(t, "check", checked.stdout, "lenses.csv: 18 lenses", "12 lenses in use")
	if checked.stderr != "" {
		t.Errorf("check says on stderr %q", checked.stderr)
	}
	checkWords(t, "run", must(t, exitDone, "run", spec).stdout, "HR-105")
	output := filepath.Join(folder, "out", "bench")
	must(t, exitDone, "report", output)
	checkWords(t, "the page", string(readFile(t, output, "report.html")), "HR-105")

	// The computed radii are those of the lenses that the demo's own table lists
	// for these focal lengths, but for the line: there they hold at the e line.
	lenses, err := catalog.Load(filesOf([]string{table, filepath.Join(top, demoCatalog)}), nil)
	if err != nil {
		t.Fatal(err)
	}
	radius := map[string]float64{}
	for _, l := range lenses.Lenses {
		radius[l.Part] = l.Surfaces[0].RadiusMM
	}
	for computed, listed := range map[string]string{"HR-202": "DGD-P40x20", "HR-207": "DGD-B50x20"} {
		if x, want := radius[computed], radius[listed]; !(math.Abs(x-want) <= 0.005*want) {
			t.Errorf("%s: %g mm, and %s has %g", computed, x, listed, want)
		}
	}
}

// TestImportWholeOrNothing: a sheet with faults leaves no table, and what stands
// there is replaced only if an import wrote it and nobody has touched it.
func TestImportWholeOrNothing(t *testing.T) {
	folder := t.TempDir()
	good := "part,kind,d,f,t,glass\nA,plano-convex,12.7,50,2.5,N-BK7\n"
	shop := writeIn(t, folder, "shop.csv", good+"B,plano-convex,wide,50,2.5,N-BK9\n")
	mapFile := writeIn(t, folder, "map.toml", "[columns]\npart = \"part\"\nkind = \"kind\"\ndiameter_mm = \"d\"\nefl_mm = \"f\"\nt1_mm = \"t\"\nglass1 = \"glass\"\n")
	table := filepath.Join(folder, "lenses.csv")
	imports := func(code int, more ...string) outcome {
		t.Helper()
		return must(t, code, append([]string{"catalog", "import", shop, "--map", mapFile, "-o", table}, more...)...)
	}
	leftNothing(t, folder, func() {
		o := imports(exitWrong)
		checkWords(t, "import", o.stderr, "shop.csv:3: diameter_mm", `"wide"`, `"N-BK9"`, "2 faults")
		if o.stdout != "" {
			t.Errorf("results of a wrong sheet: %s", o.stdout)
		}
	})
	checkWords(t, "import", imports(exitDone, "--leave-out").stdout, "1 lens of 2 rows", "left out: 1 row", "diameter_mm", "rows 3 (B)")
	first := string(readFile(t, table))
	writeIn(t, folder, "shop.csv", good)
	checkWords(t, "import", imports(exitDone).stdout, "1 lens of 1 row\n")
	if second := string(readFile(t, table)); second != first {
		t.Errorf("the same lens by another way:\n%s\n%s", first, second)
	}
	for _, other := range []string{"hand,made\n", strings.Replace(first, "12.7", "12.8", 1), first + "\n"} {
		writeIn(t, folder, "lenses.csv", other)
		checkWords(t, "import", imports(exitWrong).stderr, "lenses.csv is there already")
		if string(readFile(t, table)) != other {
			t.Error("a table of another hand was changed")
		}
	}
	for _, c := range []struct{ line, want string }{
		{"catalog import", "import takes one argument, the spreadsheet"},
		{"catalog import x.csv", "import takes --map"},
		{"catalog import x.csv --map m.toml", "import takes -o"},
		{"catalog import x.csv --map m.toml -o y.csv --sheet s", "go with --suggest"},
		{"catalog import --suggest x.csv -o y.csv", "--suggest prints a map"},
		{"catalog import --suggest no.csv", "no.csv: cannot be read"},
		{"catalog import no.csv --map no.toml -o y.csv", "no.toml: cannot be read"},
		{"catalog imprt", `there is no command "imprt"; import is the nearest`},
		{"catalog list", "list takes at least one argument"},
		{"catalog list x.csv --focal 50", "--focal takes a range in mm as 20..50"},
		{"catalog list x.csv --diameter 50..20", "the smaller end comes first"},
		{"init a b", "init takes one argument"},
	} {
		checkWords(t, c.line, must(t, exitWrong, strings.Fields(c.line)...).stderr, c.want)
	}
}

// TestSuggestOfAWorkbook proposes a map of a named sheet, with what is unsure in
// comments.
func TestSuggestOfAWorkbook(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	for i, row := range [][]any{
		{"SKU", "Shape", "Dia.", "R1 [mm]", "R2 [mm]", "CT [mm]", "Glass"},
		{"W1", "PCX", 12.7, 25.84, "inf", 2.5, "N-BK7"},
		{"W2", "biconvex", 12.7, 30, 30, 3, "BK7"},
	} {
		if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+3), &row); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "w.xlsx")
	if err := f.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	text := must(t, exitDone, "catalog", "import", "--suggest", path, "--sheet", "Sheet1").stdout
	checkWords(t, "the map", text, `sheet = "Sheet1"`, "header_row = 3", `part = "SKU"`, `kind = "Shape"`,
		`# diameter_mm = { from = "Dia.", unit = "mm" }   # unsure: the header names no unit   # as "12.7"`,
		`# r1_mm = { from = "R1 [mm]", unit = "mm", sign = "convex" }   # unsure: the sign may be as well kind`,
		`"biconvex" = "bi-convex"`, `# "BK7" = "N-BK7"`)
}

func TestCatalogCheck(t *testing.T) {
	folder := t.TempDir()
	good := writeIn(t, folder, "good.csv", "part,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,efl_mm\nA,12.7,25.84,2.5,N-BK7,inf,50\n")
	checkWords(t, "check", must(t, exitDone, "catalog", "check", good).stdout, "good.csv: 1 lens\n", "0 errors, 0 warnings")
	bad := writeIn(t, folder, "bad.csv", "part,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,efl_mm\nA,12.7,25.84,2.5,N-BK7,inf,52\nB,12.7,2,2.5,N-BK7,inf,\nC,12.7,25.84,2.5,N-BK7,inf,52\n")
	o := must(t, exitWrong, "catalog", "check", good, bad)
	checkWords(t, "check", o.stdout,
		"error    "+bad+":2: part: \"A\" is already at "+good+":2", "error    "+bad+":3: r1_mm: a sphere of radius 2", "warning  "+bad, "efl_mm", "2 errors, 1 warning\n")
	if o.stderr != "" {
		t.Errorf("twice told: %s", o.stderr)
	}
	checkWords(t, "check", must(t, exitWrong, "catalog", "check", filepath.Join(folder, "x.xlsx")).stderr, "is a workbook, no lens table")
}

func TestCatalogList(t *testing.T) {
	path := writeIn(t, t.TempDir(), "l.csv", smallLenses(manyFocals))
	o := must(t, exitDone, "catalog", "list", path, "--kind", "plano-*", "--focal", "39..51", "--diameter", "20..25")
	checkWords(t, "list", o.stdout, "pc40", "pc45", "pc50", "N-BK7", "3 of 24 lenses\n")
	if strings.Contains(o.stdout, "bc") {
		t.Errorf("lenses of another kind:\n%s", o.stdout)
	}
	checkWords(t, "list", must(t, exitNothing, "catalog", "list", path, "--focal", "..-1").stdout, "0 of 24 lenses")
	checkWords(t, "list", must(t, exitDone, "catalog", "list", path, "--focal", "89..").stdout, "of 24 lenses")
}

// TestInit writes a spec that check takes, and never over a file.
func TestInit(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "my bench.toml")
	o := must(t, exitDone, "init", path)
	checkWords(t, "init", o.stdout, "my bench.toml written")
	text := string(readFile(t, path))
	checkWords(t, "the spec", text, `name = "my-bench"`, "testdata/demo/stock.csv", "ISO 8596", "Campbell", "relaysweep check my bench.toml")
	if strings.Contains(text, "{{") || len(listing(t, folder)) != 2 {
		t.Errorf("%q\n%s", listing(t, folder), text)
	}
	checked := must(t, exitDone, "check", path)
	if checked.stderr != "" {
		t.Errorf("check doubts what init writes: %s", checked.stderr)
	}
	checkWords(t, "init", must(t, exitWrong, "init", path).stderr, "is there already")
	if string(readFile(t, path)) != text {
		t.Error("the spec was written over")
	}
	must(t, exitFailed, "init", filepath.Join(folder, "no", "such.toml"))
	// Every required key has a line of its own with a question beside or above.
	for _, key := range []string{"name", "files", "width_deg", "height_deg", "near_m", "width_mm", "height_mm", "pixel_um", "travel_mm"} {
		if !regexp.MustCompile(`(?m)^` + key + ` = `).MatchString(text) {
			t.Errorf("the spec lacks %s", key)
		}
	}
}

// TestVersion tells of what the program is built.
func TestVersion(t *testing.T) {
	checkWords(t, "--version", must(t, exitDone, "--version").stdout, "relaysweep "+version+"\n", "built with go", "github.com/xuri/excelize/v2", "github.com/apache/arrow/go/v15")
}

// TestCompletion: each shell has its script, which bash can read, and arguments
// are completed by what a command takes.
func TestCompletion(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		if script := must(t, exitDone, "completion", shell).stdout; !strings.Contains(script, "relaysweep") {
			t.Errorf("%s: %s", shell, script)
		}
	}
	script := writeIn(t, t.TempDir(), "completion.bash", must(t, exitDone, "completion", "bash").stdout)
	if out, err := exec.Command("bash", "-n", script).CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	for _, c := range newRoot().Commands() {
		if _, ok := completed[c.Name()]; !ok && !c.HasSubCommands() {
			t.Errorf("nothing is told of the arguments of %s", c.Name())
		}
	}
	for line, want := range map[string]string{
		"__complete run ''":                  "toml\n:8\n",
		"__complete show ''":                 ":16\n",
		"__complete calibrate ''":            ":16\n",
		"__complete calibrate out/x ''":      "csv\n:8\n",
		"__complete help se":                 "search\nsetpoints\n:4\n",
		"__complete catalog import --map ''": "toml\n:8\n",
		"__complete catalog li":              "list\t",
	} {
		args := strings.Fields(line)
		for i := range args {
			args[i] = strings.Trim(args[i], "'")
		}
		if o := must(t, exitDone, args...); !strings.Contains(o.stdout, want) {
			t.Errorf("%s: %q, not %q", line, o.stdout, want)
		}
	}
}

// TestHelpOfMaps: the map that help tables shows is one, but for the columns that
// a lens needs besides.
func TestHelpOfMaps(t *testing.T) {
	_, text, found := strings.Cut(topic(t, "tables"), "A map is a TOML file:\n")
	text, _, closed := strings.Cut(text, "\n  unit ")
	if !found || !closed {
		t.Fatal("help shows no map")
	}
	var b strings.Builder
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(strings.TrimSpace(line), "  ")
		b.WriteString(line + "\n")
	}
	_, faults := sheet.ReadMap([]byte(b.String()), "map.toml")
	for _, f := range faults {
		if !strings.HasPrefix(f.Found, "nothing feeds") {
			t.Errorf("%v\n%s", f, b.String())
		}
	}
}
