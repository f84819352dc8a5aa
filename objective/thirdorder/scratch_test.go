package thirdorder

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
)

func TestScratch(t *testing.T) {
	c, err := catalog.Load([]catalog.File{{Path: "../../testdata/demo/stock.csv", Shown: "stock.csv"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, scale := range []float64{1, 0.5, 0.25} {
		p := problemOf()
		p.Pupil *= scale
		p.SharpBox, p.Box = p.SharpBox*scale, p.Box*scale
		p.TanHalfWidth *= scale
		p.TanHalfHeight *= scale
		p.TanMax *= scale
		p.RefocusMaxD = 1000
		p.AccommodationD = 1000
		lib := objective.NewLibrary(p, c.Lenses)
		r := rand.New(rand.NewPCG(1, 2))
		n := len(lib.Elements)
		ch := objective.NewChecker(p)
		mk := NewMaker(p)
		es := NewEstimator(p, []float64{0, 0.5, 0.7, 1}, 0)
		found := 0
		for found < 8 {
			tr := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear}
			var gs []*Group
			for range 3 {
				g := lib.Problem.NewGroup(lib.Elements[r.IntN(n)], lib.Elements[r.IntN(n)])
				tr.Groups = append(tr.Groups, g)
				gs = append(gs, mk.Group(g))
			}
			if p.Assemble(tr, 0) != objective.Met || tr.Length > 350 {
				continue
			}
			rel, f := p.Judge(tr)
			if scale > 0.5 && f != objective.Met {
			}
			_ = rel
			tr.EyeRelief = 25
			found++
			m := ch.Measure(tr).Metrics
			e := es.Estimate(tr, gs)
			if found <= 8 {
				fmt.Printf("%.2f L=%.0f  mask %.4g/%.4g def %.4g/%.4g ast %.4g/%.4g view %.4g/%.4g axis %.4g/%.4g dist %.4g/%.4g lat %.4g/%.4g ax %.4g/%.4g\n", scale, tr.Length,
					e.MaskBlurArcmin, m.MaskBlurArcmin, e.ViewDefocusD, m.ViewDefocusD, e.ViewAstigmatismD, m.ViewAstigmatismD, e.ViewBlurArcmin, m.ViewBlurArcmin, e.AxisVergenceD, m.AxisVergenceD, e.DistortionPct, m.DistortionPct, e.LateralColourArcmin, m.LateralColourArcmin, e.AxialColourD, m.AxialColourD)
			}
		}
	}
}

func BenchmarkExceeds(b *testing.B) {
	c, err := catalog.Load([]catalog.File{{Path: "../../testdata/demo/stock.csv", Shown: "stock.csv"}}, nil)
	if err != nil {
		b.Fatal(err)
	}
	p := problemOf()
	p.Limits.Max = map[string]float64{"view_blur_arcmin": 6, "mask_blur_arcmin": 5}
	lib := objective.NewLibrary(p, c.Lenses)
	mk := NewMaker(p)
	tr := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear, EyeRelief: 25, ReliefMost: 27}
	var gs []*Group
	for i := range 3 {
		g := lib.Problem.NewGroup(lib.Elements[40+i], lib.Elements[60+i])
		tr.Groups = append(tr.Groups, g)
		gs = append(gs, mk.Group(g))
	}
	p.Assemble(tr, 0)
	s := NewScreen(p, []float64{0, 0.5, 0.7}, 1, 1.3)
	es := NewEstimator(p, []float64{0, 0.5, 0.7}, 1)
	b.Log(s.Exceeds(tr, gs), es.Estimate(tr, gs))
	b.Run("add", func(b *testing.B) {
		for b.Loop() {
			s.fromVertex.add(p, tr, gs, 0)
		}
	})
	b.Run("exceeds", func(b *testing.B) {
		for b.Loop() {
			s.Exceeds(tr, gs)
		}
	})
	b.Run("mask", func(b *testing.B) {
		for b.Loop() {
			s.maskExceeds(tr, gs, 25)
		}
	})
	s.most[viewBlur] = 1e9
	s.most[maskBlur] = 1e9
	b.Run("through", func(b *testing.B) {
		for b.Loop() {
			s.Exceeds(tr, gs)
		}
	})
	b.Run("group", func(b *testing.B) {
		for b.Loop() {
			mk.Group(tr.Groups[0])
		}
	})
}
