package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// drawerJob makes a small job with pieces in the drawer.
func drawerJob(t *testing.T, drawer string, edits ...string) string {
	t.Helper()
	spec := newJob(t, append([]string{`files = ["lenses.csv"]`, "files = [\"lenses.csv\"]\nowned = \"drawer.csv\""}, edits...)...)
	if err := os.WriteFile(filepath.Join(filepath.Dir(spec), "drawer.csv"), []byte(drawer), 0o666); err != nil {
		t.Fatal(err)
	}
	return spec
}

// TestDrawer: what is there costs nothing, is told in the order lists, and its table is an
// input as any: copied, with its digest, and a change of it makes another job.
func TestDrawer(t *testing.T) {
	const drawer = "part,pieces\npc40,1\nbc45,5\n"
	plain, spec := finishedJob(t), drawerJob(t, drawer)
	must(t, exitDone, "run", spec)
	output := outputOf(spec)
	prices := map[string]float64{}
	for _, d := range readRanked(t, plain) {
		prices[d.DesignID] = *d.Price
	}
	each := map[string]float64{"pc40": 10, "bc40": 20, "pc45": 11, "bc45": 21} // of smallLenses
	owned := map[string]int{"pc40": 1, "bc45": 5}
	shared := 0
	for _, d := range readRanked(t, output) {
		want := 0.0
		pieces := map[string]int{}
		for _, l := range d.Lenses {
			pieces[l.Part]++
		}
		for part, n := range pieces {
			want += each[part] * float64(max(0, n-owned[part]))
			shared += min(n, owned[part])
		}
		if *d.Price != want || prices[d.DesignID] < want {
			t.Errorf("%s costs %v, not %v", d.DesignID, *d.Price, want)
		}
		if d.Rank > 1 {
			continue
		}
		page := must(t, exitDone, "show", output, "--rank", "1").stdout
		if lineOf(page, "pieces", "there", "to", "buy", "part", "vendor") == nil {
			t.Errorf("the order list does not tell what is there:\n%s", page)
		}
	}
	if shared == 0 {
		t.Error("no design has a piece that is there")
	}
	m := readManifest(t, output)
	if m.Owned == nil || m.Owned.File != "drawer.csv" || m.Owned.Pieces["bc45"] != 5 {
		t.Errorf("run.json has %+v", m.Owned)
	}
	if copied := string(readFile(t, output, inputsFolder, "owned.csv")); copied != drawer {
		t.Errorf("the copy holds %q", copied)
	}
	must(t, exitDone, "report", output, "--eyes", "2")
	if html := string(readFile(t, output, "report.html")); !strings.Contains(html, "to buy") || !strings.Contains(html, "2 parts in the drawer") {
		t.Error("the report does not tell what is there")
	}
	if page := must(t, exitDone, "compare", output, plain).stdout; !strings.Contains(page, "To buy, in pieces") {
		t.Errorf("the comparison does not tell what to buy:\n%s", page)
	}
	if o := must(t, exitDone, "run", spec); !strings.Contains(o.stderr, "complete since") {
		t.Errorf("the same job again: %s", o.stderr)
	}
	if err := os.WriteFile(filepath.Join(filepath.Dir(spec), "drawer.csv"), []byte("part,pieces\npc40,2\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitDone, "run", spec); strings.Contains(o.stderr, "complete since") || !strings.Contains(o.stderr, "of another spec or other tables") {
		t.Errorf("another drawer: %s", o.stderr)
	}
	// The copy is held against its digest.
	if err := os.WriteFile(filepath.Join(output, inputsFolder, "owned.csv"), []byte(drawer), 0o666); err != nil {
		t.Fatal(err)
	}
	if o := invoke(t, "setpoints", output, "--depths", "1"); o.code != exitFailed || !strings.Contains(o.stderr, "owned.csv") {
		t.Errorf("a copy that was changed: %d %s", o.code, o.stderr)
	}
}

// TestDrawerBoundsStock: a part that can't be bought is used as often as it is there.
func TestDrawerBoundsStock(t *testing.T) {
	lenses := strings.ReplaceAll(smallLenses(fewFocals), "\n", ",0\n")
	lenses = strings.Replace(lenses, ",0\n", ",stock\n", 1)
	spec := newJobOf(t, lenses, `files = ["lenses.csv"]`, "files = [\"lenses.csv\"]\nowned = \"drawer.csv\"")
	drawer := filepath.Join(filepath.Dir(spec), "drawer.csv")
	// Just what the first design of the ranking takes.
	first := readRanked(t, finishedJob(t))[0]
	there := map[string]int{}
	for _, l := range first.Lenses {
		there[l.Part]++
	}
	table := "part,pieces\n"
	for part, n := range there {
		table += fmt.Sprintf("%s,%d\n", part, n)
	}
	if err := os.WriteFile(drawer, []byte(table), 0o666); err != nil {
		t.Fatal(err)
	}
	must(t, exitDone, "run", spec)
	found := false
	for _, d := range readRanked(t, outputOf(spec)) {
		found = found || d.DesignID == first.DesignID
		pieces := map[string]int{}
		for _, l := range d.Lenses {
			if pieces[l.Part]++; pieces[l.Part] > there[l.Part] || *d.Price != 0 {
				t.Errorf("%s costs %v, and takes more of %s than there is", d.DesignID, *d.Price, l.Part)
			}
		}
	}
	if !found {
		t.Errorf("%s is not found of its own parts", first.DesignID)
	}
	if err := os.WriteFile(drawer, []byte("part,pieces\npc41,2\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitWrong, "check", spec); !strings.Contains(o.stderr, "drawer.csv:2: part: no lens table has \"pc41\"") || !strings.Contains(o.stderr, "pc40") {
		t.Errorf("an unknown part: %s", o.stderr)
	}
	swept := newJob(t, `method = "none"`, "method = \"none\"\n[sweep]\n\"catalog.owned\" = [\"a.csv\", \"b.csv\"]")
	if o := must(t, exitWrong, "check", swept); !strings.Contains(o.stderr, "catalog.owned") {
		t.Errorf("a table that is swept: %s", o.stderr)
	}
}

// TestSlots: designs have in each slot what its list allows, and no list means any.
func TestSlots(t *testing.T) {
	all := readRanked(t, finishedJob(t, "top = 8", "top = 500"))
	some := readRanked(t, finishedJob(t, "top = 8", "top = 500", "lenses_per_group = 1", "lenses_per_group = 1\nfront = [\"pc*\"]\nrear = [\"?c45\", \"pc40\"]"))
	want := map[string]bool{}
	for _, d := range all {
		front, rear := d.Lenses[0].Part, d.Lenses[2].Part
		if strings.HasPrefix(front, "pc") && rear != "bc40" {
			want[d.DesignID] = true
		}
	}
	if len(want) == 0 || len(want) == len(all) {
		t.Fatalf("%d of %d designs fit the lists, which tests nothing", len(want), len(all))
	}
	for _, d := range some {
		if !want[d.DesignID] {
			t.Errorf("%s does not fit the lists", d.DesignID)
		}
	}
	if len(some) != len(want) {
		t.Errorf("%d designs, not %d", len(some), len(want))
	}
	spec := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nrelay = [\"x*\"]")
	if o := must(t, exitNothing, "check", spec); !strings.Contains(o.stderr, "train.relay") || !strings.Contains(o.stderr, `["x*"] match no lens`) {
		t.Errorf("a list that matches nothing: %s%s", o.stderr, o.stdout)
	}
	must(t, exitNothing, "run", spec)
}
