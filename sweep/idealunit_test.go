package sweep

import (
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"relaysweep/objective"
	"relaysweep/objective/ideal"
	"relaysweep/sweep/journal"
	"relaysweep/sweep/spec"
)

// TestIdealKept reads back the limits of all layouts, with and without a train, to
// the last bit, groups included.
func TestIdealKept(t *testing.T) {
	s := demoJob(t, "quick").Spec
	for _, space := range []objective.Space{
		{Layout: objective.Keplerian, Seat: objective.SeatRear},
		{Layout: objective.ErectorSingle, Seat: objective.SeatFront},
		{Layout: objective.ErectorPair, Seat: objective.SeatRear},
	} {
		for _, travel := range []float64{s.Stage.TravelMM, 1e-6} {
			p := s.Problem()
			p.Travel = travel
			want, err := ideal.Find(t.Context(), p, []objective.Space{space}, 0.8, objective.ByLength)
			if err != nil {
				t.Fatal(err)
			}
			if (want.Train == nil) != (travel < 1) || want.Train == nil && len(want.Without) == 0 {
				t.Errorf("%v, travel %v: %+v", space, travel, want)
			}
			e := &encoder{}
			e.ideal(&want)
			d := decode(e.Bytes())
			if got := d.ideal(); d.End() != nil || !reflect.DeepEqual(*got, want) {
				t.Errorf("%v, travel %v: %+v, read as %+v", space, travel, want, *got)
			}
		}
	}
}

// TestIdealResumes goes on from a journal that holds the limits of some points: those
// are taken from it, the others are found.
func TestIdealResumes(t *testing.T) {
	j := demoJob(t, "quick")
	j.Spec.Job.Top, j.Spec.Refine.Method = 1, spec.RefineNone
	j.Spec.Axes = []spec.Axis{{Key: "eye.relief_min_mm", Values: []any{20.0, 21.0}}}
	j.Points = j.Spec.Grid()
	folder := t.TempDir()
	want, err := journalled(t.Context(), t, j, folder, Part{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, JournalFile)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	first, err := lookInto(path)
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	if first.PointsWith(recordIdeal) != 2 || first.PointsDone() != 2 {
		t.Fatal("the journal does not hold both limits")
	}
	// A limit that nobody finds tells where the first point's is from.
	e := &encoder{}
	marked := *want[0].Ideal
	marked.BoundMM = math.Pi
	e.ideal(&marked)
	kept := wholeRecords(data)
	for range 2 { // the two limits are the last of all
		kept = allButLast(t, kept)
	}
	if err := os.WriteFile(path, kept, 0o666); err != nil {
		t.Fatal(err)
	}
	again, err := j.OpenJournal(folder, Part{}, Origin{"test", "build"}, false)
	if err != nil {
		t.Fatal(err)
	}
	if err := again.Append(journal.Record{Kind: recordIdeal, Body: e.Bytes()}); err != nil {
		t.Fatal(err)
	}
	if err := again.Close(); err != nil {
		t.Fatal(err)
	}
	got, err := journalled(t.Context(), t, j, folder, Part{}, nil)
	if err != nil || got[0].Ideal.BoundMM != math.Pi || !reflect.DeepEqual(got[1].Ideal, want[1].Ideal) {
		t.Errorf("%v: %+v and %+v, not the one kept and %+v", err, got[0].Ideal, got[1].Ideal, want[1].Ideal)
	}
}

// allButLast is a journal's bytes without the last record.
func allButLast(t *testing.T, data []byte) []byte {
	t.Helper()
	before := 0
	for n := 1; ; n++ {
		end := len(firstRecords(t, data, n))
		if end == len(data) {
			return data[:before]
		}
		before = end
	}
}
