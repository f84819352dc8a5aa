package catalog

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The expected messages were written by hand before the program ran.
func TestFaultMessages(t *testing.T) {
	readers := map[string]func(data []byte, shown string) Faults{
		"lens": func(data []byte, shown string) Faults {
			_, _, faults := ReadLenses(data, shown, BuiltinGlasses())
			return faults
		},
		"glass": func(data []byte, shown string) Faults {
			_, _, faults := ReadGlasses(data, shown)
			return faults
		},
	}
	for kind, read := range readers {
		files, err := filepath.Glob(filepath.Join("testdata", "faults", kind, "*.csv"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no broken %s tables: %v", kind, err)
		}
		for _, file := range files {
			t.Run(kind+"/"+filepath.Base(file), func(t *testing.T) {
				want, err := os.ReadFile(strings.TrimSuffix(file, ".csv") + ".want")
				if err != nil {
					t.Fatal(err)
				}
				faults := read(mustRead(t, file), filepath.Base(file))
				if err := faults.Err(); err == nil {
					t.Fatal("read without a fault")
				}
				if diff := cmp.Diff(strings.TrimSuffix(string(want), "\n"), faults.Error()); diff != "" {
					t.Errorf("messages (-want +got):\n%s", diff)
				}
			})
		}
	}
}

func mustRead(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestNearest(t *testing.T) {
	known := []string{"N-BK7", "N-SF5", "SF5", "SF6", "SF8", "SF9"}
	for _, c := range []struct {
		name string
		want []string
	}{
		{"n-bk7", []string{"N-BK7"}},
		{"N-BK17", []string{"N-BK7"}},
		{"SF7", []string{"SF5", "SF6", "SF8"}},
		{"quartz", nil},
		{"", nil},
		{strings.Repeat("SF5", 100), nil},
	} {
		if diff := cmp.Diff(c.want, Nearest(c.name, known)); diff != "" {
			t.Errorf("Nearest(%.20q) (-want +got):\n%s", c.name, diff)
		}
	}
}

// The classic example of the distance, known from many textbooks (from
// memory): kitten to sitting takes three changes.
func TestEditDistance(t *testing.T) {
	if got := editDistance([]rune("kitten"), []rune("sitting")); got != 3 {
		t.Errorf("kitten to sitting: %d changes, want 3", got)
	}
	if got := editDistance(nil, []rune("abc")); got != 3 {
		t.Errorf("nothing to abc: %d changes, want 3", got)
	}
}
