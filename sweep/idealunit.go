package sweep

import (
	"sync"

	"relaysweep/objective"
	"relaysweep/objective/ideal"
)

// keptIdeals keeps the ideal limits of sweep points in a journal, so that each is
// found once however often a job with many points is stopped. Without a journal
// it keeps nothing.
type keptIdeals struct {
	journal *Journal
	writing sync.Mutex // points are taken side by side
}

// read is the limit that an earlier attempt has found for a sweep point, nil for none.
func (k *keptIdeals) read(point int) (*ideal.Limit, error) {
	if k.journal == nil || k.journal.points[point].ideal == nil {
		return nil, nil
	}
	d := &decoder{rest: k.journal.points[point].ideal[1:]}
	d.uvarint() // the point
	ideal := d.ideal()
	if err := d.end(); err != nil {
		return nil, &DamagedJournalError{k.journal.path, err}
	}
	return ideal, nil
}

// write keeps the limit of a sweep point.
func (k *keptIdeals) write(point int, ideal *ideal.Limit) error {
	if k.journal == nil {
		return nil
	}
	e := &encoder{out: []byte{recordIdeal}}
	e.uvarint(point)
	e.ideal(ideal)
	k.writing.Lock()
	defer k.writing.Unlock()
	return k.journal.append(e.out)
}

// ideal writes an ideal limit. Of its train's groups a focal length is all.
func (e *encoder) ideal(i *ideal.Limit) {
	e.float(i.ApertureRatio)
	e.float(i.BoundMM)
	e.float(i.ReachedMM)
	e.flag(i.Settled)
	e.uvarint(i.Boxes)
	e.uvarint(len(i.Without))
	for _, r := range i.Without {
		e.uvarint(int(r))
	}
	t := i.Train
	e.flag(t != nil)
	if t == nil {
		return
	}
	e.space(objective.Space{Layout: t.Layout, Seat: t.Seat})
	for _, g := range t.Groups {
		e.float(g.FocalMM)
	}
	for _, gap := range t.Gaps {
		e.float(gap)
	}
	e.float(t.EyeRelief)
	e.float(t.ReliefMost)
	e.float(t.AngularMagnification)
	e.float(t.Length)
}

func (d *decoder) ideal() *ideal.Limit {
	i := &ideal.Limit{ApertureRatio: d.float(), BoundMM: d.float(), ReachedMM: d.float(), Settled: d.flag(), Boxes: d.uvarint()}
	for range d.length() {
		r := objective.Requirement(d.uvarint())
		if r >= objective.Met {
			d.fail()
			return i
		}
		i.Without = append(i.Without, r)
	}
	if !d.flag() {
		return i
	}
	s := d.space()
	t := &objective.Train{Layout: s.Layout, Seat: s.Seat}
	groups := len(s.Layout.GroupNames())
	for range groups {
		t.Groups = append(t.Groups, i.Group(d.float()))
	}
	for range groups - 1 {
		t.Gaps = append(t.Gaps, d.float())
	}
	t.EyeRelief, t.ReliefMost, t.AngularMagnification, t.Length = d.float(), d.float(), d.float(), d.float()
	i.Train = t
	return i
}
