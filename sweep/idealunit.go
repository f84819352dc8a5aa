package sweep

import (
	"sync"

	"relaysweep/objective"
	"relaysweep/objective/ideal"
	"relaysweep/sweep/journal"
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
	if k.journal == nil {
		return nil, nil
	}
	body, ok := k.journal.Kept(recordIdeal, point)
	if !ok {
		return nil, nil
	}
	d := decode(body)
	ideal := d.ideal()
	if err := d.End(); err != nil {
		return nil, k.journal.Damaged(err)
	}
	return ideal, nil
}

// write keeps the limit of a sweep point.
func (k *keptIdeals) write(point int, ideal *ideal.Limit) error {
	if k.journal == nil {
		return nil
	}
	e := &encoder{}
	e.ideal(ideal)
	k.writing.Lock()
	defer k.writing.Unlock()
	return k.journal.Append(journal.Record{Kind: recordIdeal, Point: point, Body: e.Bytes()})
}

// ideal writes an ideal limit. Of its train's groups a focal length is all.
func (e *encoder) ideal(i *ideal.Limit) {
	e.Float(i.ApertureRatio)
	e.Float(i.BoundMM)
	e.Float(i.ReachedMM)
	e.Flag(i.Settled)
	e.Uvarint(i.Boxes)
	e.Uvarint(len(i.Without))
	for _, r := range i.Without {
		e.Uvarint(int(r))
	}
	t := i.Train
	e.Flag(t != nil)
	if t == nil {
		return
	}
	e.space(objective.Space{Layout: t.Layout, Seat: t.Seat})
	for _, g := range t.Groups {
		e.Float(g.FocalMM)
	}
	for _, gap := range t.Gaps {
		e.Float(gap)
	}
	e.Float(t.EyeRelief)
	e.Float(t.ReliefMost)
	e.Float(t.AngularMagnification)
	e.Float(t.Length)
}

func (d *decoder) ideal() *ideal.Limit {
	i := &ideal.Limit{ApertureRatio: d.Float(), BoundMM: d.Float(), ReachedMM: d.Float(), Settled: d.Flag(), Boxes: d.Uvarint()}
	for range d.Length() {
		r := objective.Requirement(d.Uvarint())
		if r >= objective.Met {
			d.Fail()
			return i
		}
		i.Without = append(i.Without, r)
	}
	if !d.Flag() {
		return i
	}
	s := d.space()
	t := &objective.Train{Layout: s.Layout, Seat: s.Seat}
	groups := len(s.Layout.GroupNames())
	for range groups {
		t.Groups = append(t.Groups, i.Group(d.Float()))
	}
	for range groups - 1 {
		t.Gaps = append(t.Gaps, d.Float())
	}
	t.EyeRelief, t.ReliefMost, t.AngularMagnification, t.Length = d.Float(), d.Float(), d.Float(), d.Float()
	i.Train = t
	return i
}
