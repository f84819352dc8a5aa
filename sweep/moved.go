package sweep

import (
	"cmp"
	"strings"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/journal"
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
		return journal.ErrUnfit
	}
	r.Begin(start)
	if f.settle(r, start, by); f.Report.FailedBy != "" {
		return journal.ErrUnfit
	}
	return nil
}

// moved writes by how much a design was moved, nil for not at all.
func (e *encoder) moved(x []float64) {
	e.Uvarint(len(x))
	for _, v := range x {
		e.Float(v)
	}
}

func (d *decoder) moved() (x []float64) {
	for range d.Length() {
		x = append(x, d.Float())
	}
	return x
}
