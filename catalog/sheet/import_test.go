package sheet

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"relaysweep/catalog"
)

// put writes a file of a test and gives it as a user names it.
func put(t testing.TB, name, text string) catalog.File {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return catalog.File{Path: path, Shown: name}
}

func mustMap(t testing.TB, text string) *Map {
	t.Helper()
	m, faults := ReadMap([]byte(text), "map.toml")
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	return m
}

// imported imports a sheet that has to make a table, and reads that.
func imported(t testing.TB, file catalog.File, m *Map, o Options) (map[string]*catalog.Lens, *Outcome, string) {
	t.Helper()
	var b strings.Builder
	outcome, err := Import(context.Background(), file, m, o, &b)
	if err != nil {
		t.Fatalf("%v", err)
	}
	lenses, _, faults := catalog.ReadLenses([]byte(b.String()), "lenses.csv", catalog.BuiltinGlasses())
	if len(faults) > 0 {
		t.Fatalf("%v\n%s", faults, b.String())
	}
	byPart := map[string]*catalog.Lens{}
	for _, l := range lenses {
		byPart[l.Part] = l
	}
	return byPart, outcome, b.String()
}

// refused imports a sheet that has to be refused, and gives the faults.
func refused(t testing.TB, file catalog.File, m *Map) catalog.Faults {
	t.Helper()
	var b strings.Builder
	_, err := Import(context.Background(), file, m, Options{}, &b)
	faults, ok := err.(catalog.Faults)
	if !ok || len(faults) == 0 {
		t.Fatalf("%v is no fault\n%s", err, b.String())
	}
	return faults
}
