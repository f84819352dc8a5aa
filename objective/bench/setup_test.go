package bench

import (
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// testProblem is that of the tests of rays, with blurs that count all over the eye's box.
func testProblem() *objective.Problem {
	p := testtrain.Problem()
	p.SharpBox = p.Box
	return p
}

// part is a lens in an orientation.
type part struct {
	lens     *catalog.Lens
	reversed bool
}

// testTrain assembles a train of stacks at its paraxial gaps, with the eye some way
// behind the rear focal point.
func testTrain(t rapid.TB, p *objective.Problem, layout objective.Layout, seat objective.Seat, behind float64, stacks ...[]part) *objective.Train {
	t.Helper()
	train := &objective.Train{Layout: layout, Seat: seat}
	for _, stack := range stacks {
		var elements []*objective.Element
		for _, one := range stack {
			lib := objective.NewLibrary(p, []*catalog.Lens{one.lens})
			e := lib.ElementOf(one.lens.Part, one.reversed)
			if e == nil {
				e = lib.Elements[0]
			}
			elements = append(elements, e)
		}
		train.Groups = append(train.Groups, p.NewGroup(elements...))
	}
	last := train.Groups[len(train.Groups)-1]
	if layout == objective.Keplerian {
		p.Magnification = train.Groups[0].FocalMM / last.FocalMM
	}
	switch failed := p.Assemble(train, 0); failed {
	case objective.Focal, objective.Magnification:
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = last.BFDMM + p.CombinerShift() + behind
	return train
}

// simpleTrain is a relay of achromats, the relay a stack of two.
func simpleTrain(t rapid.TB, p *objective.Problem) *objective.Train {
	return testTrain(t, p, objective.ErectorSingle, objective.SeatRear, 5,
		[]part{{testlens.Achromat(40, 26), false}},
		[]part{{testlens.Achromat(80, 30), true}, {testlens.Achromat(81, 30), false}},
		[]part{{testlens.Achromat(41, 26), true}},
	)
}

// drawTrain draws a problem and a train that rays pass or nearly pass.
func drawTrain(t *rapid.T) (*objective.Problem, *objective.Train) {
	p, train := testtrain.DrawAnyTraced(t)
	p.SharpBox = rapid.SampledFrom([]float64{0, 1, 2}).Draw(t, "sharp box")
	p.DepthSteps = rapid.IntRange(2, 6).Draw(t, "depth steps")
	if train.Layout != objective.Keplerian && rapid.IntRange(0, 2).Draw(t, "two masks") == 0 {
		train.Seat = objective.SeatBoth
		if failed := p.Assemble(train, 0); failed == objective.Focal {
			t.Fatal(failed)
		}
	}
	return p, train
}

var near = testlens.Near

func build(b *Bench, errors func(*Build)) *Build {
	x := b.NewBuild()
	errors(x)
	return x
}

var all = Compensators{LastGap: true, FrontGap: true, StageZero: true, PictureShift: true}

func BenchmarkBuild(b *testing.B) {
	p := testProblem()
	train := testTrain(b, p, objective.ErectorSingle, objective.SeatRear, 5,
		[]part{{testlens.PlanoConvex(80, 30, 5, testlens.DenseCrown), false}, {testlens.Equiconvex(80, 30, 5, testlens.DenseCrown), false}},
		[]part{{testlens.PlanoConvex(160, 36, 5, testlens.DenseCrown), true}, {testlens.PlanoConvex(160, 36, 5, testlens.DenseCrown), false}},
		[]part{{testlens.PlanoConvex(81, 30, 5, testlens.DenseCrown), false}, {testlens.PlanoConvex(82, 30, 5, testlens.DenseCrown), true}},
	)
	for _, c := range []struct {
		name       string
		vignetting bool
	}{{"plain", false}, {"vignetting", true}} {
		b.Run(c.name, func(b *testing.B) {
			bench := New(p, train, all, c.vignetting)
			one := bench.NewBuild()
			one.Lenses[2].DecentreMM[0] = 0.1
			one.Lenses[1].Focal, one.Lenses[1].FocalSet = 0.01, true
			b.ReportAllocs()
			for b.Loop() {
				bench.Measure(one)
			}
		})
	}
}
