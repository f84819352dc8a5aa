package sweep

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
	"relaysweep/sweep/spec"
)

// jobOf is a job of one spec and its lenses, which no file holds.
func jobOf(s *spec.Spec, lenses []*catalog.Lens) *Job {
	return &Job{Spec: s, Catalog: &catalog.Catalog{Lenses: lenses}, Points: s.Grid()}
}

// told is an outcome in what has to be the same however a job came to it.
type told struct {
	Point    int
	Found    []string
	Lengths  []float64
	Trains   []objective.Train // gaps and reliefs to the last bit
	Reports  []raycheck.Report
	Counts   map[string]string
	Proven   float64
	Exact    bool
	WouldFit *Fits
	Screened []bool
	Level    float64
	Audit    *Audit
	Best     *BestFound
}

func tell(outcomes []PointOutcome) []told {
	var all []told
	for i := range outcomes {
		o := &outcomes[i]
		p := &o.Proof
		x := told{Point: o.Point.Index, Proven: p.ProvenLength, Exact: p.Exact, WouldFit: p.WouldFit, Level: o.ScreenedMM, Audit: o.Audit, Best: o.Best, Counts: map[string]string{
			"space": p.Space.String(), "examined": fmt.Sprint(p.Examined), "checked": fmt.Sprint(p.Checked), "passed": fmt.Sprint(p.Passed),
		}}
		for name, n := range p.SetAside {
			x.Counts["set aside "+name] = n.String()
		}
		for name, n := range p.Failed {
			x.Counts["failed "+name] = n.String()
		}
		for _, f := range o.Found {
			train := *f.Train
			train.Groups = nil
			x.Found, x.Lengths, x.Screened = append(x.Found, f.ID), append(x.Lengths, f.Ranked), append(x.Screened, f.Screened)
			x.Trains, x.Reports = append(x.Trains, train), append(x.Reports, *f.Report)
		}
		all = append(all, x)
	}
	return all
}

// journalled runs a job with a journal in folder until it is done or ctx ends.
func journalled(ctx context.Context, t testing.TB, j *Job, folder string, part Part, progress Progress) ([]PointOutcome, error) {
	t.Helper()
	if err := os.MkdirAll(part.Folder(folder), 0o777); err != nil {
		t.Fatal(err)
	}
	journal, err := j.OpenJournal(folder, part, Origin{"test", "build"}, false)
	if err != nil {
		t.Fatal(err)
	}
	out, err := j.Run(ctx, Attempt{Journal: journal, Part: part, Progress: progress})
	if closeErr := journal.Close(); closeErr != nil {
		t.Fatal(closeErr)
	}
	return out, err
}

// resumeCases are small jobs of all kinds: layouts, rankings, one_per, limited
// checks, and sweeps of which the last point has no design.
func resumeCases(t testing.TB, wanted int, visit func(c int, j *Job)) {
	t.Helper()
	done := 0
	for c := 3000; done < wanted && c < 4000; c++ {
		s, lenses, good := rayCase(c)
		// Without a range of depths the stage need not travel: the last point would have designs.
		if !good || done%4 == 2 && s.Depth.NearM == s.Depth.FarM {
			continue
		}
		done++
		s.Job.Top = 5
		switch done % 4 {
		case 1:
			s.Search.OnePer = "parts"
		case 2:
			s.Search.ChecksMax = 100
		case 3:
			s.Axes = []spec.Axis{{Key: "stage.travel_mm", Values: []any{s.Stage.TravelMM, 0.7 * s.Stage.TravelMM, 0.01}}}
		}
		visit(c, jobOf(s, lenses))
	}
	if done < wanted {
		t.Errorf("%d cases of %d", done, wanted)
	}
}

// TestSearchResumes cuts journals where a process can have been killed, and lets
// other numbers of workers go on: outcome and proof are those of a run without
// a journal, and what the journal held is still in it.
func TestSearchResumes(t *testing.T) {
	wanted := 12
	if testing.Short() {
		wanted = 4
	}
	r := rand.New(rand.NewPCG(1, 2))
	resumeCases(t, wanted, func(c int, j *Job) {
		out, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		want := tell(out)
		folder := t.TempDir()
		out, err = journalled(t.Context(), t, j, folder, Part{}, nil)
		if diff := cmp.Diff(want, tell(out), cmpopts.EquateNaNs()); diff != "" || err != nil {
			t.Fatalf("case %d: without a journal -, with one +\n%v %s", c, err, diff)
		}
		path := filepath.Join(folder, JournalFile)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		header := len(firstRecords(t, whole, 1))
		for i, workers := range []int{1, 2, 8, 3, 1, 2} {
			at := header + r.IntN(len(whole)-header)
			if i == 0 {
				at = len(whole) // all is done, but the results were not written
			}
			if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
				t.Fatal(err)
			}
			j.Spec.Job.Workers = workers
			out, err := journalled(t.Context(), t, j, folder, Part{}, nil)
			if diff := cmp.Diff(want, tell(out), cmpopts.EquateNaNs()); diff != "" || err != nil {
				t.Fatalf("case %d, cut at %d of %d: whole -, resumed +\n%v %s", c, at, len(whole), err, diff)
			}
			again, err := os.ReadFile(path)
			if kept := wholeRecords(whole[:at]); err != nil || !bytes.HasPrefix(again, kept) {
				t.Errorf("case %d: the journal no more begins with the %d bytes that it held", c, len(kept))
			}
		}
	})
}

// recordEnds are the offsets behind the whole records of a journal's bytes, the header
// first. Each is a length, a checksum, and as many bytes, see [journal.Journal].
func recordEnds(data []byte) (ends []int) {
	for end := 0; len(data)-end >= 8; {
		length := int(binary.LittleEndian.Uint32(data[end:]))
		if end += 8 + length; end > len(data) {
			break
		}
		ends = append(ends, end)
	}
	return ends
}

// firstRecords are the first n records of a journal's bytes.
func firstRecords(t testing.TB, data []byte, n int) []byte {
	t.Helper()
	ends := recordEnds(data)
	if len(ends) < n {
		t.Fatalf("%d records, not %d", len(ends), n)
	}
	return data[:ends[n-1]]
}

// wholeRecords are the records of a journal's bytes up to the first torn one.
func wholeRecords(data []byte) []byte {
	ends := recordEnds(data)
	return data[:ends[len(ends)-1]]
}

// TestSearchInterrupted asks jobs to stop after some units again and again until
// they are done. What is told in between is the beginning of the ranking, with
// a proof that accounts for all designs.
func TestSearchInterrupted(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	stopped, begun := 0, 0
	resumeCases(t, 4, func(c int, j *Job) {
		j.Spec.Job.Top = 60
		j.Points = j.Spec.Grid()
		out, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		want := tell(out)
		folder := t.TempDir()
		for try := 0; ; try++ {
			ctx, cancel := context.WithCancel(t.Context())
			left := 1 + r.IntN(4)
			out, err := journalled(ctx, t, j, folder, Part{}, func(s Status) {
				if s.Replayed {
					return
				}
				if left--; left == 0 {
					cancel()
				}
			})
			cancel()
			if err == nil {
				if diff := cmp.Diff(want, tell(out), cmpopts.EquateNaNs()); diff != "" {
					t.Errorf("case %d: without -, with %d interrupts +\n%s", c, try, diff)
				}
				return
			}
			stopped++
			if !Interrupted(err) {
				t.Fatal(err)
			}
			for i, x := range tell(out) {
				accounted(t, &out[i].Outcome)
				if n := len(x.Found); n > len(want[i].Found) || !slices.Equal(x.Found, want[i].Found[:n]) {
					t.Errorf("case %d: found by then %v, in all %v", c, x.Found, want[i].Found)
				} else if n > 0 && n < len(want[i].Found) {
					begun++
					if next := want[i].Lengths[n]; x.Proven > next {
						t.Errorf("case %d: proven to %v, and yet there is a design of %v", c, x.Proven, next)
					}
				}
			}
			if try > 1000 {
				t.Fatalf("case %d: no end after %d interrupts", c, try)
			}
		}
	})
	if stopped < 20 || begun == 0 {
		t.Errorf("%d interrupts, %d with a ranking begun", stopped, begun)
	}
}

// accounted reports a proof whose counts do not add up to the space.
func accounted(t *testing.T, o *Outcome) {
	t.Helper()
	sum := big.NewInt(o.Proof.Passed)
	for _, counts := range []map[string]*big.Int{o.Proof.SetAside, o.Proof.Failed} {
		for name, n := range counts {
			if n.Sign() < 0 {
				t.Errorf("%s: %v designs", name, n)
			}
			sum.Add(sum, n)
		}
	}
	if sum.Cmp(o.Proof.Space) != 0 {
		t.Errorf("%v designs accounted for of %v", sum, o.Proof.Space)
	}
}

// TestJournalOfAnother refuses to go on with the journal of another spec,
// catalog, program or part, and names what changed, unless nothing was done.
func TestJournalOfAnother(t *testing.T) {
	s, lenses, _ := rayCase(firstGood())
	s.File, s.SHA256 = "job.toml", "one"
	j := jobOf(s, lenses)
	j.Catalog.Tables = []catalog.Table{{File: "a.csv", SHA256: "a"}}
	now := Origin{"1", "x"}
	other := *s
	other.SHA256, other.Stage.TravelMM, other.Limits.Price = "two", 2.5, new(float64)
	comment := *s
	comment.SHA256 = "three"
	for _, c := range []struct {
		job    *Job
		origin Origin
		wants  []string
	}{
		{jobOf(&other, lenses), now, []string{"spec: stage.travel_mm: ", "2.5 now", "spec: limits.price: none then, 0 now"}},
		{jobOf(&comment, lenses), now, []string{"spec: its text, but no value"}},
		{j, Origin{"2", "x"}, []string{"version of relaysweep: 1 then, 2 now"}},
		{j, Origin{"1", "y"}, []string{"another build"}},
	} {
		if c.job != j {
			c.job.Catalog.Tables = []catalog.Table{{File: "a.csv", SHA256: "a"}}
		}
		compareRefusal(t, j, now, c.job, c.origin, c.wants)
	}
	for _, c := range []struct {
		tables []catalog.Table
		want   string
	}{
		{[]catalog.Table{{File: "a.csv", SHA256: "b"}}, "catalog: a.csv has changed"},
		{[]catalog.Table{{File: "a.csv", SHA256: "a"}, {File: "b.csv"}}, "catalog: b.csv is new"},
		{nil, "catalog: a.csv is no more in use"},
	} {
		k := jobOf(s, lenses)
		k.Catalog.Tables = c.tables
		compareRefusal(t, j, now, k, now, []string{c.want})
	}
}

// firstGood is the first case that rayCase finds good.
var firstGood = sync.OnceValue(func() int {
	for c := 3000; ; c++ {
		if _, _, good := rayCase(c); good {
			return c
		}
	}
})

func compareRefusal(t *testing.T, j *Job, by Origin, k *Job, origin Origin, wants []string) {
	t.Helper()
	folder := t.TempDir()
	// A journal without units is no loss.
	for _, x := range []struct {
		*Job
		Origin
	}{{k, origin}, {j, by}} {
		opened, err := x.OpenJournal(folder, Part{}, x.Origin, false)
		if err != nil {
			t.Fatal(err)
		}
		if x.Job == j && x.Origin == by {
			err = opened.Append(journal.Record{Kind: recordWindow})
		}
		if err := errors.Join(err, opened.Close()); err != nil {
			t.Fatal(err)
		}
	}
	_, err := k.OpenJournal(folder, Part{}, origin, false)
	var changed *ChangedError
	if !errors.As(err, &changed) {
		t.Fatalf("%v: not refused: %v", wants, err)
	}
	for _, want := range append(wants, "--restart", folder) {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not in: %v", want, err)
		}
	}
	same, err := j.OpenJournal(folder, Part{}, by, false)
	if err != nil || same.UnitsKept() != 1 {
		t.Fatalf("the refusal cost the journal: %v", err)
	}
	_ = same.Close()
	anew, err := k.OpenJournal(folder, Part{}, origin, true)
	if err != nil || anew.UnitsKept() != 0 {
		t.Fatalf("a restart has %d units, %v", anew.UnitsKept(), err)
	}
	_ = anew.Close()
}

// TestJournalOfOtherSteps gives a point another point's units: their checksums
// are right, and yet nothing is made of them.
func TestJournalOfOtherSteps(t *testing.T) {
	s, lenses, _ := rayCase(firstGood())
	j := jobOf(s, lenses)
	for _, record := range []journal.Record{
		{Kind: recordWindow}, {Kind: recordChecks, Body: []byte{0}}, {Kind: recordWindow, Body: []byte{0, 1, 2, 3}},
		{Kind: recordPoint, Body: []byte{1}}, {Kind: '?', Body: []byte{0}},
	} {
		folder := t.TempDir()
		opened, err := j.OpenJournal(folder, Part{}, Origin{}, false)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(opened.Append(record), opened.Close()); err != nil {
			t.Fatal(err)
		}
		_, err = journalledError(t, j, folder)
		var damaged *journal.DamagedError
		if !errors.As(err, &damaged) || !strings.Contains(err.Error(), "--restart") {
			t.Errorf("%+v: %v", record, err)
		}
	}
}

func journalledError(t *testing.T, j *Job, folder string) ([]PointOutcome, error) {
	t.Helper()
	journal, err := j.OpenJournal(folder, Part{}, Origin{}, false)
	if err != nil {
		return nil, err
	}
	defer journal.Close()
	return j.Run(t.Context(), Attempt{Journal: journal})
}

// FuzzRecords reads whatever the body of a record can hold.
func FuzzRecords(f *testing.F) {
	s, lenses, _ := rayCase(firstGood())
	j := jobOf(s, lenses)
	lib := j.library(s, s.Problem())
	a, err := newExactSearch(context.Background(), lib, j.options(s))
	if err != nil {
		f.Fatal(err)
	}
	out, err := a.run(context.Background())
	if err != nil {
		f.Fatal(err)
	}
	e := &encoder{}
	e.outcome(out)
	f.Add(e.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		d := decode(data)
		o := d.outcome(lib)
		if d.End() == nil {
			e := &encoder{}
			e.outcome(o)
			d := decode(e.Bytes())
			if d.outcome(lib); d.End() != nil {
				t.Error("what was read can't be read again")
			}
		}
		for _, read := range []func(*decoder){
			func(d *decoder) { d.checked(lib) },
			func(d *decoder) { d.taking(0) },
			func(d *decoder) { d.verdictCounts() },
		} {
			read(decode(data))
		}
	})
}
