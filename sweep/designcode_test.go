package sweep

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// whole fails unless a payload was read to its end.
func whole(t *rapid.T, d *decoder) {
	if err := d.End(); err != nil {
		t.Fatalf("%v: %d bytes are left", err, d.Left())
	}
}

// TestPackedVerdicts gives back the names of a batch and their counts, in at most
// a byte a design but for the names.
func TestPackedVerdicts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(rapid.OneOf(rapid.SampledFrom(verdictNames), rapid.String()), 1, 40, rapid.ID).Draw(t, "names")
		var all []string
		for _, run := range rapid.SliceOf(rapid.Custom(func(t *rapid.T) []string {
			return slices.Repeat([]string{rapid.SampledFrom(names).Draw(t, "name")}, rapid.IntRange(1, 60).Draw(t, "times"))
		})).Draw(t, "runs") {
			all = append(all, run...)
		}
		e := &encoder{}
		e.verdicts(all)
		most := len(all) + 4
		for _, name := range names {
			most += len(name) + 3
		}
		if len(e.Bytes()) > most {
			t.Fatalf("%d verdicts of %d names take %d bytes", len(all), len(names), len(e.Bytes()))
		}
		var counts []verdictCount
		for _, name := range all {
			counts = countVerdict(counts, name)
		}
		e.verdictCounts(counts)
		d := decode(e.Bytes())
		if got := d.verdicts(len(all)); !slices.Equal(got, all) {
			t.Fatalf("%q read as %q", all, got)
		}
		if got := d.verdictCounts(); !slices.Equal(got, counts) {
			t.Fatalf("%v read as %v", counts, got)
		}
		whole(t, d)
	})
}

// anyLength draws lengths as they are ranked, and others.
func anyLength() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Map(rapid.Float64Range(0, 500), objective.RoundedLength), rapid.Float64())
}

// drawDesigns draws designs of a library of so many elements.
func drawDesigns(elements int) *rapid.Generator[[]candidate] {
	return rapid.SliceOf(rapid.Custom(func(t *rapid.T) (c candidate) {
		c.space = objective.Space{
			Layout: objective.Layout(rapid.IntRange(0, int(objective.ErectorPair)).Draw(t, "layout")),
			Seat:   objective.Seat(rapid.IntRange(0, int(objective.SeatRear)).Draw(t, "seat")),
		}
		c.ranked = anyLength().Draw(t, "ranked")
		for i := range c.codes() {
			c.groups[i] = objective.StackCode(rapid.IntRange(1, elements).Draw(t, "code"))
		}
		if c.space.Layout == objective.ErectorPair {
			c.inner = rapid.Float64().Draw(t, "inner")
		}
		return c
	}))
}

// TestPackedDesigns gives back designs of all layouts to the last bit.
func TestPackedDesigns(t *testing.T) {
	s, lenses, _ := rayCase(firstGood())
	lib := objective.NewLibrary(s.Problem(), lenses)
	rapid.Check(t, func(t *rapid.T) {
		all := drawDesigns(len(lib.Elements)).Draw(t, "designs")
		verdicts := make([]string, len(all))
		for i := range verdicts {
			verdicts[i] = rapid.SampledFrom(verdictNames).Draw(t, "verdict")
		}
		e := &encoder{}
		e.checked(all, verdicts)
		d := decode(e.Bytes())
		got, read := d.checked(lib)
		whole(t, d)
		if len(got) != len(all) || !slices.Equal(read, verdicts) {
			t.Fatalf("%d designs of %d, verdicts %q read as %q", len(got), len(all), verdicts, read)
		}
		for i := range all {
			if got[i].digest() != all[i].digest() || math.Float64bits(got[i].ranked) != math.Float64bits(all[i].ranked) {
				t.Fatalf("%+v read as %+v", all[i], got[i])
			}
		}
	})
}

// TestJournalSize holds what a check takes of the journal, in a search where nearly
// all are turned away. A check that was recorded with its design, as fields one
// after the other, would take some 30 bytes, and some 50 in a part of a point.
func TestJournalSize(t *testing.T) {
	j := demoJob(t, "stacks")
	j.Spec.Refine.Method, j.Spec.Search.ChecksMax = spec.RefineNone, 10_000
	j.Points = j.Spec.Grid()
	for _, c := range []struct {
		part Part
		most float64 // bytes a check, without the header
	}{{Part{}, 0.7}, {Part{0, 2}, 6.5}} {
		folder := t.TempDir()
		out, err := journalled(t.Context(), t, j, folder, c.part, nil)
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(filepath.Join(c.part.Folder(folder), JournalFile))
		if err != nil {
			t.Fatal(err)
		}
		size := float64(len(data) - len(firstRecords(t, data, 1)))
		checks := out[0].Proof.Checked
		t.Logf("%v: %d checks, %.2f bytes each", c.part, checks, size/float64(checks))
		if checks < 10_000 || size > c.most*float64(checks) {
			t.Errorf("%v: %v bytes for %d checks: more than %v each", c.part, size, checks, c.most)
		}
	}
}
