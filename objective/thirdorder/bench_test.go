package thirdorder

import (
	"math/rand/v2"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// BenchmarkScreen measures what the screen costs: constants of a group of two doublets, once a
// group, and a train of three such groups, where the view's blur is far beyond its limit and where no
// limit is exceeded; and what a bound on its slope costs, without that it is solved.
func BenchmarkScreen(b *testing.B) {
	tables, err := catalog.Load([]catalog.File{{Path: "../../testdata/demo/stock.csv", Shown: "stock.csv"}}, nil)
	if err != nil {
		b.Fatal(err)
	}
	p := problemOf()
	lib := objective.NewLibrary(p, tables.Lenses)
	r := rand.New(rand.NewPCG(1, 2))
	element := func() *objective.Element {
		for {
			if e := lib.Elements[r.IntN(len(lib.Elements))]; len(e.Surfaces) == 3 {
				return e
			}
		}
	}
	train, maker := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear}, NewMaker(p)
	var groups []*Group
	for len(groups) < 3 {
		if g := p.NewGroup(element(), element()); g.FocalMM > 20 && g.FocalMM < 80 {
			train.Groups, groups = append(train.Groups, g), append(groups, maker.Group(g))
		}
	}
	if failed := p.Assemble(train, 0); failed != objective.Met {
		b.Fatal(failed)
	}
	b.Run("group", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			maker.Group(train.Groups[1])
		}
	})
	for _, c := range []struct {
		name  string
		limit float64
	}{{"turned away", 0.01}, {"let through", 1e4}} {
		b.Run(c.name, func(b *testing.B) {
			p := *p
			p.Limits.Max = map[string]float64{"view_blur_arcmin": c.limit}
			s := NewScreen(&p, []float64{0, 0.5, 0.7}, 1, 2)
			b.ReportAllocs()
			for b.Loop() {
				s.Take(train, groups)
				if s.Exceeds(25) != (c.limit < 1) {
					b.Fatal(c.name)
				}
			}
		})
	}
	b.Run("unsolved", func(b *testing.B) {
		p := *p
		p.Limits.Max = map[string]float64{"view_blur_arcmin": 0.01}
		bounds := NewScreen(&p, []float64{0, 0.5, 0.7}, 0, 2).Slopes()
		front, _ := bounds.Front(train.Groups[0], groups[0], train.Seat)
		rear, _ := bounds.Rear(train.Groups[2], groups[2], train.Seat)
		relay, _ := bounds.Relay(train.Groups[1], groups[1])
		anywhere := objective.Interval{Lo: -1000, Hi: 1000}
		couple := bounds.Couple(&front, &rear, train.Groups[0].FocalMM, train.Groups[2].FocalMM, anywhere, objective.Interval{Lo: 10, Hi: 30})
		b.ReportAllocs()
		for b.Loop() {
			couple.Exceeds(&relay, train.Groups[1].FocalMM)
		}
	})
}
