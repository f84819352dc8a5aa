package sweep

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// TestBacklog walks over windows at random, whose designs may be longer than the
// window by anything, and ends at any time: a backlog that has seen numbers only
// gives back what is left, by searching the windows that it has to. Lists shorten
// that.
func TestBacklog(t *testing.T) {
	s, lenses, _ := rayCase(firstGood())
	lib := objective.NewLibrary(s.Problem(), lenses)
	elements := len(lib.Elements)
	rapid.Check(t, func(t *rapid.T) {
		lists := listing{rapid.SampledFrom([]int64{1, 30, math.MaxInt64}).Draw(t, "effort"), 1}
		searched := map[[2]float64]examined{}
		var pending, owed []candidate
		b, lo := newBacklog(0, math.Inf(1)), 0.0
		b.owed = true
		drawn := 0
		for range rapid.IntRange(0, 12).Draw(t, "windows") {
			hi := lo + 1
			w := examined{effort: int64(rapid.IntRange(0, 20).Draw(t, "effort"))}
			for range rapid.IntRange(0, 5).Draw(t, "designs") {
				c := candidate{
					ranked: lo + float64(rapid.IntRange(0, 40).Draw(t, "over"))/8,
					space:  objective.Space{Layout: objective.ErectorSingle},
				}
				for i := range c.codes() { // no two designs are the same
					c.groups[i] = objective.StackCode(1 + drawn/int(math.Pow(float64(elements), float64(i)))%elements)
				}
				drawn++
				w.candidates = append(w.candidates, c)
			}
			searched[[2]float64{lo, hi}] = w
			pending = append(pending, w.candidates...)
			sortCandidates(pending, lib)
			part := backlogPartOf(lo, hi, &w)
			list := lists.due(&b, &part)
			if b.add(part); list {
				owed = slices.Clone(pending)
				b.list(owed)
			}
			lo = hi
			n, _ := slices.BinarySearchFunc(pending, lo, func(c candidate, lo float64) int { return cmp.Compare(c.ranked, lo) })
			if n > 0 && rapid.Bool().Draw(t, "stops within") {
				n = rapid.IntRange(1, n).Draw(t, "taken")
			}
			if n == 0 {
				continue
			}
			reached, next := pending[n-1].ranked, math.Inf(1)
			if pending = pending[n:]; len(pending) > 0 {
				next = pending[0].ranked
			}
			if n > b.left {
				t.Fatalf("%d were taken of %d", n, b.left)
			}
			b.take(n, reached, next)
		}
		again := 0
		got, err := b.restore(t.Context(), lib, func(_ context.Context, lo, hi float64) (found []candidate, err error) {
			for window, w := range searched {
				if lo <= window[0] && window[1] <= hi {
					again++
					found = append(found, w.candidates...)
				}
			}
			if again != int(hi-lo) {
				t.Fatalf("from %v to %v there are %d windows", lo, hi, again)
			}
			return found, nil
		})
		if err != nil || len(got) != len(pending) || b.left != len(pending) {
			t.Fatalf("%d are left, %d were given back: %v", len(pending), len(got), err)
		}
		for i := range got {
			if got[i] != pending[i] {
				t.Fatalf("left %d is %+v, not %+v", i, got[i], pending[i])
			}
		}
		if len(pending) == 0 && again > 0 {
			t.Fatalf("%d windows were searched again for nothing", again)
		}
		if lists.effort == 1 && again > 1 && b.effort > int64(b.left)+20 {
			t.Fatalf("%d windows were searched again in spite of lists", again)
		}
	})
}

// backlogCases are jobs in which a walk takes little of each window, with designs that
// are longer than their window.
func backlogCases(t *testing.T) map[string]*Job {
	jobs := map[string]*Job{}
	for _, x := range []struct {
		demo, by       string
		checksMax, top int
	}{{"stacks", "length_mm", 1500, 20}, {"quick", "length_to_eye_mm", 1500, 1000}, {"pair", "length_mm", 500, 1000}} {
		j := demoJob(t, x.demo)
		j.Spec.Refine.Method, j.Spec.Search.ChecksMax, j.Spec.Job.Top, j.Spec.Search.RankBy = spec.RefineNone, x.checksMax, x.top, x.by
		jobs[x.demo] = j
	}
	for _, j := range jobs {
		j.Points = j.Spec.Grid()
	}
	return jobs
}

// TestBacklogResumes ends searches within the walk over a window, where what is left
// has to be searched for again or is listed: they go on to the same outcome.
func TestBacklogResumes(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for name, j := range backlogCases(t) {
		s := j.Points[0].Spec
		lib := j.library(s, s.Problem())
		for _, lists := range []listing{seldom, {1, 1}} {
			folder := t.TempDir()
			path := filepath.Join(folder, JournalFile)
			search := func() told {
				journal, err := j.OpenJournal(folder, Part{}, Origin{}, false)
				if err != nil {
					t.Fatal(err)
				}
				defer journal.Close()
				o := j.options(s)
				o.listing = lists
				o.log = &unitLog{journal: journal, stop: t.Context(), work: t.Context(), replay: journal.Units(0), events: slog.New(slog.DiscardHandler)}
				out, err := searchPoint(t.Context(), s, lib, o)
				if err != nil {
					t.Fatal(err)
				}
				return tell([]PointOutcome{{Point: j.Points[0], Outcome: *out}})[0]
			}
			want := search()
			whole, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			header := len(firstRecords(t, whole, 1))
			for range 6 {
				at := header + r.IntN(len(whole)-header)
				if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
					t.Fatal(err)
				}
				if diff := gocmp.Diff(want, search(), cmpopts.EquateNaNs()); diff != "" {
					t.Errorf("%s, %v, cut at %d of %d: whole -, resumed +\n%s", name, lists, at, len(whole), diff)
				}
				again, err := os.ReadFile(path)
				if err != nil {
					t.Fatal(err)
				}
				if a, b := kinds(t, whole), kinds(t, again); a != b {
					t.Errorf("%s, %v, cut at %d of %d: the units are\n%s, not\n%s", name, lists, at, len(whole), b, a)
				}
			}
			t.Logf("%s, %v: %d bytes, %s", name, lists, len(whole)-header, kinds(t, whole))
		}
	}
}

// kinds are the kinds and sizes of a journal's records.
func kinds(t *testing.T, data []byte) string {
	var out bytes.Buffer
	before := 0
	for i, end := range recordEnds(data) {
		payload := data[before+8 : end]
		d := decode(payload[1:])
		d.Uvarint() // the point
		d.Time()    // differs
		if i > 0 {
			fmt.Fprintf(&out, "%c%d ", payload[0], d.Left())
		}
		before = end
	}
	return out.String()
}

// TestReplayInterrupted stops jobs while their journal is replayed, when no design is in
// hand: what is told is the beginning of the ranking, and all are accounted for.
func TestReplayInterrupted(t *testing.T) {
	stopped, begun := 0, 0
	r := rand.New(rand.NewPCG(11, 12))
	resumeCases(t, 4, func(c int, j *Job) {
		j.Spec.Job.Top = 60
		j.Points = j.Spec.Grid()
		folder := t.TempDir()
		out, err := journalled(t.Context(), t, j, folder, Part{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := tell(out)
		path := filepath.Join(folder, JournalFile)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		header := len(firstRecords(t, whole, 1))
		for range 12 {
			if err := os.WriteFile(path, whole[:header+r.IntN(len(whole)-header)], 0o666); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			left := 1 + r.IntN(16)
			out, err := journalled(ctx, t, j, folder, Part{}, func(s Status) {
				if left--; left == 0 {
					cancel()
				}
			})
			cancel()
			if err == nil {
				continue
			}
			if !Interrupted(err) {
				t.Fatal(err)
			}
			stopped++
			for i, x := range tell(out) {
				accounted(t, &out[i].Outcome)
				n := len(x.Found)
				if n > len(want[i].Found) || !slices.Equal(x.Found, want[i].Found[:n]) {
					t.Errorf("case %d: found by then %v, in all %v", c, x.Found, want[i].Found)
				} else if n > 0 && n < len(want[i].Found) {
					begun++
					if x.Proven > want[i].Lengths[n] {
						t.Errorf("case %d: proven to %v, and yet there is a design of %v", c, x.Proven, want[i].Lengths[n])
					}
				}
			}
		}
	})
	if stopped < 10 || begun == 0 {
		t.Errorf("%d interrupts, %d with a ranking begun", stopped, begun)
	}
}
