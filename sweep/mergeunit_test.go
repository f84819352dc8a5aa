package sweep

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"relaysweep/sweep/spec"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestMergeResumes interrupts the merge of parts of a point that are to be refined,
// again and again, and cuts its journal at any byte: it goes on to the same outcome,
// and does no batch twice.
func TestMergeResumes(t *testing.T) {
	j := demoJob(t, "stacks")
	j.Spec.Job.Top = 2
	j.Spec.Refine = spec.RefineSection{Method: spec.RefineSimplex, NearMissFactor: 2, Audit: 2*refineBatch + 1}
	j.Points = j.Spec.Grid()
	folder := t.TempDir()
	for i := range 2 {
		if _, err := journalled(t.Context(), t, j, folder, Part{i, 2}, nil); err != nil {
			t.Fatal(err)
		}
	}
	merge := func(ctx context.Context, progress Progress) ([]PointOutcome, error) {
		ps, err := OpenParts(folder)
		if err != nil {
			t.Fatal(err)
		}
		defer ps.Close()
		return j.Merge(ctx, ps, Origin{"test", "build"}, progress)
	}
	path := filepath.Join(Part{0, 2}.Folder(folder), MergeFile)
	var want []told
	stops := 0
	for want == nil {
		ctx, cancel := context.WithCancel(t.Context())
		batches := 0
		out, err := merge(ctx, func(s Status) {
			if s.Stage != "audit" {
				return
			}
			if batches++; batches > stops { // those before are replayed
				cancel()
			}
		})
		cancel()
		switch {
		case err == nil:
			want = tell(out)
			if out[0].Audit.Drawn != 2*refineBatch+1 || out[0].Ideal == nil {
				t.Errorf("%+v", out[0].Audit)
			}
		case !Interrupted(err) || stops > 10:
			t.Fatalf("after %d stops: %v", stops, err)
		default:
			stops++
		}
	}
	if stops != 3 {
		t.Errorf("%d stops in 3 batches", stops)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(9, 10))
	for range 2 {
		at := r.IntN(len(whole) + 1)
		if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
			t.Fatal(err)
		}
		out, err := merge(t.Context(), nil)
		if diff := cmp.Diff(want, tell(out), cmpopts.EquateNaNs()); diff != "" || err != nil {
			t.Errorf("cut at %d of %d: whole -, cut +\n%v %s", at, len(whole), err, diff)
		}
	}
}
