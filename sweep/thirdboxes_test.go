package sweep

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// boxCases are small spaces with the layout erector-single, of which third order turns some away.
func boxCases(t *testing.T, wanted int, visit func(c int, s *spec.Spec, lenses []*catalog.Lens)) {
	t.Helper()
	done := 0
	for number := 3000; done < wanted && number < 4000; number++ {
		c := number
		if done%3 == 2 { // a mask at each image
			c += bothFrom
		}
		s, _, lenses, good := refinedCase(c)
		if !good || s.Limits.ViewBlurArcmin == nil || !slices.Contains(s.Train.Layouts, objective.ErectorSingle) {
			continue
		}
		s.Depth.FarM = math.Inf(1)
		*s.Limits.ViewBlurArcmin *= 0.2
		s.Refine.NearMissFactor, s.Search.ThirdOrder = 1.1, 1
		visit(c, s, lenses)
		done++
	}
	if done < wanted {
		t.Errorf("%d cases of %d", done, wanted)
	}
}

// TestBoxesAreRight: each train of small spaces that lies in a unit that is set aside, or exceeds the limit on
// slopes by itself, is one that the screen turns away; and a box of leaves is set aside only where each of
// its units is.
func TestBoxesAreRight(t *testing.T) {
	trains, inUnits, alone, turned, boxes := 0, 0, 0, 0, 0
	boxCases(t, 25, func(c int, s *spec.Spec, lenses []*catalog.Lens) {
		a, err := newExactSearch(t.Context(), objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
		if err != nil {
			t.Fatal(err)
		}
		if err := a.stream.reach(t.Context(), math.Inf(1)); err != nil {
			t.Fatal(err)
		}
		st, tool := a.stream.held, a.shared.third.take()
		all, _ := walkAll(t, unrefinedSpec(s), lenses, 2, 0)
		for _, layout := range a.layouts {
			f, ok := layout.(*singleSearch)
			if !ok || len(st.fronts[f.seat]) == 0 || len(st.rears[f.seat]) == 0 {
				continue
			}
			x := newThirdBoxes(f, st, 2)
			fronts, rears, relays := map[objective.StackCode]int{}, map[objective.StackCode]int{}, map[objective.StackCode]int{}
			for i := range st.fronts[f.seat] {
				fronts[st.fronts[f.seat][i].Code] = i
			}
			for i := range st.rears[f.seat] {
				rears[st.rears[f.seat][i].Code] = i
			}
			for j, r := range st.table.Relays() {
				relays[r.Code] = j
			}
			for i := range all {
				train := all[i].train
				if train.Layout != objective.ErectorSingle || train.Seat != f.seat {
					continue
				}
				var codes [4]objective.StackCode
				for n, g := range train.Groups {
					codes[n] = a.lib.Code(g.Elements)
				}
				trains++
				away := tool.turnsAway(train, codes)
				if away {
					turned++
				}
				p := boxPair{boxLeaves: &boxLeaves{boxSearch: &boxSearch{singleSearch: f, st: st, thirdBoxes: x}, singles: tool.singlesOf(x)}}
				p.i, p.k = int32(fronts[codes[0]]), int32(rears[codes[2]])
				j := relays[codes[1]]
				r := &st.table.Relays()[j]
				p.bin = logBin(r.F, relayFineBits) - x.bin0
				switch x.judge(p.singles.front(x, p.i), p.singles.rear(x, p.k), p.bin, &p.singles.rows) {
				case impossible:
					t.Errorf("case %d: %s is impossible, and stands", c, train.DesignID())
				case setAside:
					if inUnits++; !away {
						t.Errorf("case %d: %s is set aside, and its screen lets it through", c, train.DesignID())
					}
				}
				if p.exceeds(j, r) {
					if alone++; !away {
						t.Errorf("case %d: %s exceeds the limit, and its screen lets it through", c, train.DesignID())
					}
				}
			}
			singles := tool.singlesOf(x)
			for n, front := range x.frontBox {
				for m, rear := range x.rearBox {
					if front == nil || rear == nil {
						continue
					}
					for bin := range x.bins {
						if x.judge(front, rear, bin, &singles.rows) != setAside {
							continue
						}
						boxes++
						for _, i := range x.fronts.items(int32(n)) {
							for _, k := range x.rears.items(int32(m)) {
								if x.judge(singles.front(x, i), singles.rear(x, k), bin, &singles.rows) == allowed {
									t.Errorf("case %d: a box is set aside, and not each unit of it", c)
								}
							}
						}
					}
				}
			}
		}
	})
	t.Logf("%d trains, %d turned away, %d of them in units, %d by themselves; %d boxes", trains, turned, inUnits, alone, boxes)
	if inUnits < turned/10 || alone < inUnits || boxes == 0 {
		t.Errorf("%d trains, %d turned away, %d of them in units, %d by themselves; %d boxes", trains, turned, inUnits, alone, boxes)
	}
}

// TestBoxesChangeNothing: walks with boxes through the whole of small spaces rank, screen, refine and audit the
// same designs as without, and account for all. What the bound on length sets aside is no more than
// without: no design is counted twice.
func TestBoxesChangeNothing(t *testing.T) {
	aside := 0
	boxCases(t, 6, func(c int, s *spec.Spec, lenses []*catalog.Lens) {
		s.Refine.Audit, s.Job.Top = 1+c%40, 1_000_000
		_, plain := walked(t, s, lenses, func(w *refineWalk) { w.boxesAfter = math.MaxInt64 })
		w, boxed := walked(t, s, lenses, func(w *refineWalk) { w.boxesAfter, w.step = 1, 0.5 })
		accounted(t, boxed)
		if w.boxed > 0 {
			aside++
		}
		type traced struct {
			Checked, Passed int64
			Refined         *Refined
			Audit           *Audit
			ByRays          string
			Screened        float64
		}
		of := func(o *Outcome) traced {
			rays := ""
			for _, name := range []string{"view_blur_arcmin", "mask_blur_arcmin"} {
				if n := o.turnedByRays[name]; n != nil {
					rays += name + n.String()
				}
			}
			return traced{o.Proof.Checked, o.Proof.Passed, o.Refined, o.Audit, rays, o.ScreenedMM}
		}
		if plain.Proof.Exact != boxed.Proof.Exact || !slices.EqualFunc(plain.Found, boxed.Found, func(a, b Found) bool {
			return a.ID == b.ID && a.Ranked == b.Ranked && slices.Equal(a.moved, b.moved)
		}) {
			t.Errorf("case %d: with boxes another ranking", c)
		}
		if diff := cmp.Diff(of(plain), of(boxed)); diff != "" {
			t.Errorf("case %d: without boxes -, with +\n%s", c, diff)
		}
		if n := boxed.Proof.SetAside[byBound]; n != nil && plain.Proof.SetAside[byBound] != nil && n.Cmp(plain.Proof.SetAside[byBound]) > 0 {
			t.Errorf("case %d: the bound sets aside %v, without boxes %v", c, n, plain.Proof.SetAside[byBound])
		}
	})
	if aside < 3 {
		t.Errorf("boxes set something aside in %d cases", aside)
	}
}

// TestBoxesResume: journals of walks with boxes that are cut anywhere go on to the same outcome and the same
// counts, with any number of workers, also where groups are held up to a horizon.
func TestBoxesResume(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	aside := 0
	boxCases(t, 3, func(c int, s *spec.Spec, lenses []*catalog.Lens) {
		s.Refine.Audit, s.Job.Top, s.Job.Workers = 10, 20, 1
		j := jobOf(s, lenses)
		j.boxesAfter, j.held = 1, []int{0, 10, 40}[c%3]
		folder := t.TempDir()
		out, err := journalled(t.Context(), t, j, folder, Part{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := tell(out)
		j.boxesAfter = math.MaxInt64
		plain, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		if n, m := out[0].Proof.SetAside[byThirdOrder], plain[0].Proof.SetAside[byThirdOrder]; n != nil && m != nil && n.Cmp(m) != 0 {
			aside++
		}
		j.boxesAfter = 1
		path := filepath.Join(folder, JournalFile)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		header := len(firstRecords(t, whole, 1))
		for _, workers := range []int{1, 2, 8, 3} {
			at := header + r.IntN(len(whole)-header)
			if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
				t.Fatal(err)
			}
			j.Spec.Job.Workers = workers
			out, err := journalled(t.Context(), t, j, folder, Part{}, nil)
			if diff := cmp.Diff(want, tell(out), cmpopts.EquateNaNs()); diff != "" || err != nil {
				t.Fatalf("case %d, cut at %d of %d: whole -, resumed +\n%v %s", c, at, len(whole), err, diff)
			}
		}
	})
	if aside == 0 {
		t.Error("boxes set nothing aside")
	}
}

// TestStreamResumes: a stream that is brought to a state of another holds the same groups from there on.
func TestStreamResumes(t *testing.T) {
	grown := 0
	boxCases(t, 6, func(c int, s *spec.Spec, lenses []*catalog.Lens) {
		j := jobOf(s, lenses)
		j.held = 6
		stream := func() *groupStream {
			st, err := newGroupStream(t.Context(), objective.NewLibrary(s.Problem(), lenses), wantedSlots(j.options(s)))
			if err != nil {
				t.Fatal(err)
			}
			return st
		}
		whole, resumed := stream(), stream()
		if !whole.filtered {
			return
		}
		for length := whole.filter.Least; length < 3*whole.filter.Least; length *= 1.07 {
			wanted, horizon := whole.state()
			resumed.resume(wanted, horizon)
			for _, st := range []*groupStream{whole, resumed} {
				if err := st.reach(t.Context(), length); err != nil {
					t.Fatal(err)
				}
			}
			if resumed.size() != whole.size() || resumed.held.horizon != whole.held.horizon || resumed.wanted != whole.wanted {
				t.Errorf("case %d: %d groups up to %v, resumed %d up to %v", c, whole.size(), whole.held.horizon, resumed.size(), resumed.held.horizon)
			}
			if horizon > 0 && horizon != whole.held.horizon {
				grown++
			}
			resumed = stream() // as if it were interrupted here
		}
	})
	if grown == 0 {
		t.Error("no horizon grew")
	}
}
