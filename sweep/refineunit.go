package sweep

import (
	"cmp"
	"strings"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// compareFound orders a ranking.
func compareFound(a, b Found) int {
	return cmp.Or(cmp.Compare(a.Ranked, b.Ranked), strings.Compare(a.ID, b.ID))
}

// settle gives a refined design its train and its report. The start is at its
// paraxial gaps and in the refiner's hand.
func (f *Found) settle(r *raycheck.Refiner, start *objective.Train, by objective.RankBy) {
	f.Train, f.Report, f.Active = r.Settle(f.moved)
	f.StartLengthMM = start.Length
	f.Ranked = objective.RoundedLength(f.Train.Ranked(by))
}

// again settles a refined design of which is known that it passes.
func (f *Found) again(r *raycheck.Refiner, lib *objective.Library, by objective.RankBy) error {
	start, err := f.design.solve(lib)
	if err != nil {
		return err
	}
	if len(f.moved) != len(start.Gaps)+1 {
		return errDamaged
	}
	r.Begin(start)
	if f.settle(r, start, by); f.Report.FailedBy != "" {
		return errDamaged
	}
	return nil
}

// moved writes by how much a design was moved, nil for not at all.
func (e *encoder) moved(x []float64) {
	e.uvarint(len(x))
	for _, v := range x {
		e.float(v)
	}
}

func (d *decoder) moved() (x []float64) {
	for range d.length() {
		x = append(x, d.float())
	}
	return x
}
