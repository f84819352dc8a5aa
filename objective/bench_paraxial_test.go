package objective

import (
	"fmt"
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// benchLibrary is a library of 24 invented lenses, 48 elements but for the
// equiconvex ones that equal their reverse.
func benchLibrary() (*Problem, *Library) {
	p := use.Problem()
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = 0.055, 0.043, 0.07
	p.MaskGlass = 1
	var lenses []*catalog.Lens
	for i := range 8 {
		f := 30 * math.Pow(1.25, float64(i))
		lenses = append(lenses, testlens.Achromat(f, 25), testlens.PlanoConvex(1.07*f, 22, 6, testlens.DenseCrown), testlens.Equiconvex(0.93*f, 24, 7, testlens.Crown))
	}
	lenses[0].Surfaces[0].Conic = -0.4
	return p, NewLibrary(p, lenses)
}

// benchGroups are all stacks of up to two elements.
func benchGroups(p *Problem, lib *Library) (groups []*Group) {
	for _, a := range lib.Elements {
		groups = append(groups, p.NewGroup(a))
		for _, b := range lib.Elements {
			groups = append(groups, p.NewGroup(a, b))
		}
	}
	return groups
}

func BenchmarkNewGroup(b *testing.B) {
	p, lib := benchLibrary()
	for lenses := 1; lenses <= 3; lenses++ {
		b.Run(fmt.Sprint("lenses=", lenses), func(b *testing.B) {
			b.ReportAllocs()
			sum, i, n := 0.0, 0, len(lib.Elements)
			for b.Loop() {
				elements := []*Element{lib.Elements[i%n], lib.Elements[(i+7)%n], lib.Elements[(i+20)%n]}
				sum += p.NewGroup(elements[:lenses]...).BFDMM
				i++
			}
			useResult(b, sum)
		})
	}
}

// BenchmarkFacingSagOverlap is the search for the closest height of two surfaces of
// which one is an asphere.
func BenchmarkFacingSagOverlap(b *testing.B) {
	_, lib := benchLibrary()
	before, after := lib.Elements[1].Surfaces[2], lib.Elements[5].Surfaces[0]
	if before.IsSpherical() {
		b.Fatal("no asphere")
	}
	b.ReportAllocs()
	sum := 0.0
	for b.Loop() {
		sum += facingSagOverlap(before, after, 11)
	}
	useResult(b, sum)
}

// BenchmarkStackGap is the spacing of two lenses of a library: of spheres by
// their rims, of an asphere as it was found the first time.
func BenchmarkStackGap(b *testing.B) {
	p, lib := benchLibrary()
	for _, c := range []struct {
		name          string
		before, after *Element
	}{{"spherical", lib.Elements[2], lib.Elements[5]}, {"aspheric", lib.Elements[1], lib.Elements[5]}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			sum := 0.0
			for b.Loop() {
				sum += p.StackGap(c.before, c.after)
			}
			useResult(b, sum)
		})
	}
}

// useResult keeps a result in use and checks that it is a number.
func useResult(b *testing.B, x float64) {
	b.Helper()
	if math.IsNaN(x) {
		b.Fatal("not a number")
	}
}

// BenchmarkReduce is a group of two reduced for each place.
func BenchmarkReduce(b *testing.B) {
	p, lib := benchLibrary()
	groups := benchGroups(p, lib)
	for _, c := range []struct {
		name   string
		reduce func(g *Group) bool
	}{
		{"front", func(g *Group) bool { _, ok := p.NewFront(g, SeatRear, LastRequirement); return ok }},
		{"front-mask", func(g *Group) bool { _, ok := p.NewFront(g, SeatFront, LastRequirement); return ok }},
		{"rear-mask", func(g *Group) bool { _, ok := p.NewRear(g, SeatRear, LastRequirement); return ok }},
		{"relay", func(g *Group) bool { _, ok := p.NewRelay(g); return ok }},
		{"pair-half", func(g *Group) bool { return len(NewPairComponentRows(g).back) > 0 }},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			i, serve := 0, 0
			for b.Loop() {
				if c.reduce(groups[i%len(groups)]) {
					serve++
				}
				i++
			}
			if i >= len(groups) && serve == 0 {
				b.Fatal("no group serves")
			}
		})
	}
}

// benchTrain is a train of doublets that meets every requirement.
func benchTrain(b *testing.B, layout Layout) (*Problem, *Train) {
	p, lib := benchLibrary()
	turned := func(i int) *Element { return lib.Elements[i+1] }
	find := func(f float64) int {
		for i, e := range lib.Elements {
			if e.Lens.Part == fmt.Sprintf("achromat-%g", f) {
				return i
			}
		}
		b.Fatal("no such lens")
		return 0
	}
	short, long := find(30*1.25), find(30*1.25*1.25*1.25)
	train := &Train{Layout: layout, Seat: SeatRear, Groups: []*Group{
		p.NewGroup(lib.Elements[short]), p.NewGroup(turned(long), lib.Elements[long]), p.NewGroup(turned(short)),
	}}
	if layout == ErectorPair {
		train.Groups = []*Group{train.Groups[0], p.NewGroup(turned(long)), p.NewGroup(lib.Elements[long]), train.Groups[2]}
	}
	return p, train
}

func BenchmarkSolve(b *testing.B) {
	p, train := benchTrain(b, ErectorSingle)
	b.ReportAllocs()
	sum := 0.0
	for b.Loop() {
		if failed := p.Solve(train, 0); failed != Met {
			b.Fatal(failed)
		}
		sum += train.EyeRelief
	}
	useResult(b, sum)
}

func BenchmarkSolvePair(b *testing.B) {
	for by, name := range []string{ByLength: "length", ByLengthToEye: "length-to-eye"} {
		b.Run(name, func(b *testing.B) {
			p, train := benchTrain(b, ErectorPair)
			b.ReportAllocs()
			sum := 0.0
			for b.Loop() {
				if failed := p.SolvePair(train, RankBy(by)); failed != Met {
					b.Fatal(failed)
				}
				sum += train.Ranked(RankBy(by))
			}
			useResult(b, sum)
		})
	}
}

// BenchmarkDescribe is everything that a row of results says of a train.
func BenchmarkDescribe(b *testing.B) {
	p, train := benchTrain(b, ErectorSingle)
	if failed := p.Solve(train, 0); failed != Met {
		b.Fatal(failed)
	}
	b.ReportAllocs()
	sum := 0.0
	for b.Loop() {
		sum += p.Describe(train).Travel
	}
	useResult(b, sum)
}

// BenchmarkRelayTable bounds one pair of boxes by the table of all relays,
// scans them for one front and rear to a limit that some keep, and looks at
// one train by its reduced numbers.
func BenchmarkRelayTable(b *testing.B) {
	p, lib := benchLibrary()
	var fronts []Front
	var rears []Rear
	var relays []Relay
	for _, g := range benchGroups(p, lib) {
		if f, ok := p.NewFront(g, SeatRear, LastRequirement); ok {
			fronts = append(fronts, f)
		}
		if r, ok := p.NewRear(g, SeatRear, LastRequirement); ok {
			rears = append(rears, r)
		}
		if r, ok := p.NewRelay(g); ok {
			relays = append(relays, r)
		}
	}
	if len(fronts) == 0 || len(rears) == 0 {
		b.Fatal("no ends")
	}
	table := NewRelayTable(p, relays)
	b.Logf("%d fronts, %d rears, %d relays", len(fronts), len(rears), len(relays))
	b.Run("bound", func(b *testing.B) {
		b.ReportAllocs()
		i, finite := 0, 0
		for b.Loop() {
			front, rear := &fronts[i%len(fronts)], &rears[i%len(rears)]
			if bound, _ := table.Bound(at(front.Box()), at(rear.Box())); !math.IsInf(bound, 1) {
				finite++
			}
			i++
		}
		if i >= len(fronts)*len(rears) && finite == 0 {
			b.Fatal("no finite bound")
		}
	})
	b.Run("scan", func(b *testing.B) {
		b.ReportAllocs()
		i, visited := 0, 0
		for b.Loop() {
			front, rear := &fronts[i%len(fronts)], &rears[i%len(rears)]
			if bound, relay := table.Bound(at(front.Box()), at(rear.Box())); bound < 300 {
				table.Scan(front, rear, relay, 300, func(int, *Relay, float64) bool { visited++; return true })
			}
			i++
		}
		b.ReportMetric(float64(visited)/float64(i), "relays/op")
	})
}
