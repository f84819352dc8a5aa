package sweep

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// slotCase is a small case with lists of the parts that may stand in some of the slots,
// and with pieces of some parts that are there already.
func slotCase(c int) (secondmodel.Request, []*catalog.Lens) {
	request, lenses := smallCase(c)
	r := rand.New(rand.NewPCG(77, uint64(c)))
	request.Allowed = map[string]map[string]bool{}
	for _, slot := range []string{"front", "relay", "rear"} {
		if r.IntN(3) == 0 {
			continue
		}
		parts := map[string]bool{lenses[r.IntN(len(lenses))].Part: true}
		for _, l := range lenses {
			if r.IntN(2) == 0 {
				parts[l.Part] = true
			}
		}
		request.Allowed[slot] = parts
	}
	owned := make([]*catalog.Lens, len(lenses))
	dearest := 0.0
	for i, l := range lenses {
		drawer := *l
		if drawer.Owned = max(0, r.IntN(5)-2); drawer.Owned > 0 && r.IntN(2) == 0 {
			drawer.Stock = r.IntN(2)
		}
		owned[i] = &drawer
		if l.Price > dearest {
			dearest = l.Price
		}
	}
	if r.IntN(2) == 0 {
		limits := map[string]float64{"price": dearest * float64(r.IntN(3))}
		for name, x := range request.Limits {
			if name != "price" {
				limits[name] = x
			}
		}
		request.Limits = limits
	}
	return request, owned
}

// TestSlotsAgainstSecondModel compares the walk under lists of parts for slots, and with
// pieces that are there already, with an enumeration that shares no code with it: groups
// held, sifted, and in partitions.
func TestSlotsAgainstSecondModel(t *testing.T) {
	cases := 90
	if testing.Short() {
		cases = 24
	}
	var busy atomic.Int64
	t.Run("cases", func(t *testing.T) {
		for c := range cases {
			t.Run(fmt.Sprint(c), func(t *testing.T) {
				t.Parallel()
				request, lenses := slotCase(c)
				if compareSecondModel(t, c, request, lenses) > 0 {
					busy.Add(1)
				}
			})
		}
	})
	if int(busy.Load()) < cases/6 {
		t.Errorf("only %d of %d cases have a design: the comparison says little", busy.Load(), cases)
	}
}

// TestSlotsOptimized: a population search under lists of parts finds none but designs of
// the exact ranking, and the shortest of it.
func TestSlotsOptimized(t *testing.T) {
	found := 0
	for c := range 40 {
		request, lenses := slotCase(c)
		if slices.Contains(request.Layouts, "erector-pair") {
			continue
		}
		s := specOf(request)
		lib := objective.NewLibrary(s.Problem(), lenses)
		exact, err := searchPoint(context.Background(), s, lib, slotOptions(s, false))
		if err != nil {
			t.Fatal(err)
		}
		out, err := searchPoint(context.Background(), s, lib, slotOptions(s, true))
		if err != nil {
			t.Fatal(err)
		}
		if out.Proof.Space.Cmp(exact.Proof.Space) != 0 {
			t.Errorf("case %d: a space of %v, exactly %v", c, out.Proof.Space, exact.Proof.Space)
		}
		accounted(t, out)
		byID := map[string]float64{}
		for _, f := range exact.Found {
			byID[f.ID] = f.Ranked
		}
		for _, f := range out.Found {
			if ranked, ok := byID[f.ID]; !ok || ranked != f.Ranked {
				t.Errorf("case %d: %s at %v is not in the exact ranking", c, f.ID, f.Ranked)
			}
		}
		if len(exact.Found) == 0 {
			continue
		}
		found++
		if len(out.Found) == 0 || out.Found[0].Ranked != exact.Found[0].Ranked {
			t.Errorf("case %d: the shortest, %s at %v, was not found", c, exact.Found[0].ID, exact.Found[0].Ranked)
		}
	}
	if found < 5 {
		t.Errorf("only %d cases have a design", found)
	}
}

func slotOptions(s *spec.Spec, optimize bool) options {
	o := (&Job{Spec: s}).options(s)
	o.workers, o.top = 2, 100_000
	o.optimize = optimizeOptions{wanted: optimize, seed: 1, evaluations: 20_000}
	return o
}

// TestSlotsServeNone: where no lens may stand in a slot nothing passes, and everything is
// accounted for, by either search.
func TestSlotsServeNone(t *testing.T) {
	for c := range 12 {
		request, lenses := smallCase(c)
		request.Allowed = map[string]map[string]bool{"rear": {"no such part": true}}
		s := specOf(request)
		lib := objective.NewLibrary(s.Problem(), lenses)
		for _, optimize := range []bool{false, true} {
			out, err := searchPoint(context.Background(), s, lib, slotOptions(s, optimize))
			if err != nil {
				t.Fatal(err)
			}
			if len(out.Found) > 0 || out.Proof.Space.Sign() != 0 {
				t.Errorf("case %d, optimize %v: %d designs of %v", c, optimize, len(out.Found), out.Proof.Space)
			}
			accounted(t, out)
		}
		job := &Job{Spec: s, Catalog: &catalog.Catalog{Lenses: lenses}, Points: []spec.Point{{Spec: s}}}
		previews, err := job.Preview(context.Background())
		if err != nil || !previews[0].Impossible() {
			t.Errorf("case %d: a preview expects designs: %v", c, err)
		}
	}
}
