package spec

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"relaysweep/catalog"
)

// TestCorpus compares every fault of the broken specs with messages that
// were written by hand.
func TestCorpus(t *testing.T) {
	specs, err := filepath.Glob("testdata/*.toml")
	if err != nil || len(specs) == 0 {
		t.Fatalf("no corpus: %v", err)
	}
	for _, path := range specs {
		t.Run(filepath.Base(path), func(t *testing.T) {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			want, err := os.ReadFile(strings.TrimSuffix(path, ".toml") + ".want")
			if err != nil {
				t.Fatal(err)
			}
			_, err = parse(filepath.Base(path), data)
			var faults catalog.Faults
			if !errors.As(err, &faults) {
				t.Fatalf("got %v, want faults", err)
			}
			if diff := cmp.Diff(strings.TrimSpace(string(want)), faults.Error()); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			for _, f := range faults {
				if f.Found == "" || f.Want == "" {
					t.Errorf("a fault without problem or hint: %#v", f)
				}
			}
		})
	}
}

// TestCorpusIsWhole makes sure that the corpus has a value out of range and
// one of a wrong type for every key.
func TestCorpusIsWhole(t *testing.T) {
	for _, name := range []string{"values", "types"} {
		data, err := os.ReadFile("testdata/" + name + ".want")
		if err != nil {
			t.Fatal(err)
		}
		for i := range allKeys {
			if !strings.Contains(string(data), ": "+allKeys[i].String()+": ") {
				t.Errorf("%s.want lacks %s", name, &allKeys[i])
			}
		}
	}
}
