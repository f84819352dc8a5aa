package catalog

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// drawer writes a table of what is there and reads it for lenses A, B and C.
func drawer(t *testing.T, text string) (*Catalog, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "drawer.csv")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	c := &Catalog{}
	for _, part := range []string{"A", "B", "C"} {
		c.Lenses = append(c.Lenses, &Lens{Part: part, Stock: Unlimited, Price: 10, DiameterMM: 20})
	}
	return c, c.Own(File{Path: path, Shown: "drawer.csv"})
}

func TestOwn(t *testing.T) {
	c, err := drawer(t, "# what is there\npieces,part\n2,B\n0,C\n")
	if err != nil {
		t.Fatal(err)
	}
	if c.Lenses[0].Owned != 0 || c.Lenses[1].Owned != 2 || c.Lenses[2].Owned != 0 || c.Drawer.Lenses != 2 || len(c.Drawer.SHA256) != 64 {
		t.Errorf("%+v, %+v", c.Lenses[1], c.Drawer)
	}
	for _, x := range []struct {
		text string
		says []string
	}{
		{"part,pieces\nB,2\nD,1\nB,1\nA,-1\nC,1.5\n,3\n", []string{
			`drawer.csv:3: part: no lens table has "D"`, `drawer.csv:4: part: "B" is already at drawer.csv:2`,
			"drawer.csv:5: pieces: -1 cannot be", "drawer.csv:6: pieces: 1.5 cannot be", "drawer.csv:7: part: the cell is empty",
		}},
		{"part,pieces\nb,2\n", []string{"the nearest is B"}},
		{"part\nA\n", []string{"drawer.csv:1: pieces: the column is missing"}},
		{"part,pieces,price\nA,1,3\n", []string{"drawer.csv:1: price: there is no such column", "# ignore: price"}},
		{"part,pieces\nA,\n", []string{"drawer.csv:2: pieces: the cell is empty"}},
		{"", []string{"drawer.csv: the table is empty"}},
	} {
		_, err := drawer(t, x.text)
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		for _, want := range x.says {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%q does not say %q:\n%v", x.text, want, err)
			}
		}
	}
}

// TestFilterOwned: pieces that are there pass a limit on the price and a stock of 0, none
// beyond them.
func TestFilterOwned(t *testing.T) {
	lenses := []*Lens{
		{Part: "sold out", Stock: 0, Owned: 2, Price: 10, DiameterMM: 20},
		{Part: "dear", Stock: Unlimited, Owned: 1, Price: 100, DiameterMM: 20},
		{Part: "no price", Stock: 5, Owned: 3, Price: Unset, DiameterMM: 20},
		{Part: "cheap", Stock: 4, Owned: 1, Price: 5, DiameterMM: 20},
		{Part: "dear, not there", Stock: Unlimited, Price: 100, DiameterMM: 20},
		{Part: "gone", Stock: 0, Price: 1, DiameterMM: 20},
	}
	got := map[string]int{}
	for _, l := range (Filter{PriceMax: 50}).Apply(lenses, 546.07) {
		got[l.Part] = l.Pieces()
	}
	want := map[string]int{"sold out": 2, "dear": 1, "no price": 3, "cheap": 5}
	for part, n := range want {
		if got[part] != n {
			t.Errorf("%s: %d pieces, not %d", part, got[part], n)
		}
	}
	if len(got) != len(want) || lenses[1].Stock != Unlimited {
		t.Errorf("%v pass", got)
	}
}

// FuzzOwned: a table is either read, its pieces not negative and of known parts, or at
// fault.
func FuzzOwned(f *testing.F) {
	f.Add([]byte("part,pieces\nA,2\nB,0\n"))
	f.Add([]byte("pieces;part\n1;A"))
	f.Add([]byte("part,pieces\n\"A\n\",1e3\nA,1\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		lenses := []*Lens{{Part: "A"}, {Part: "B"}}
		owned, faults := readOwned(data, "d.csv", lenses)
		for part, n := range owned {
			if n < 0 || part != "A" && part != "B" {
				t.Fatalf("%d pieces of %q", n, part)
			}
		}
		for _, fault := range faults {
			if fault.Found == "" || fault.Want == "" {
				t.Fatalf("%+v", fault)
			}
		}
	})
}
