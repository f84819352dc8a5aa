package sweep

import (
	"context"
	"encoding/binary"
	"hash/fnv"
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/sweep/journal"
)

// backlog accounts for the designs that the windows of a walk have brought and the
// walk has not taken yet. The journal holds no designs of a window: while it
// is replayed, the walk has their number only, and when it ends, the windows
// of which designs are left are searched once more. Each design is in one
// window, and a walk takes them in ascending order, so that those left are
// the ones behind as many as were taken.
//
// Every so often a window's record holds all designs that are left then. No window
// before is searched again. That bounds the time that it takes to go on.
type backlog struct {
	listed  []candidate   // what a record listed, or what the walk began with; while owed
	windows []backlogPart // since then, in ascending order without a gap between
	taken   int           // designs of these
	left    int           // designs not taken
	reached float64       // ranked length of the last one taken, mm
	next    float64       // ranked length of the first one left, mm; +Inf for none
	effort  int64         // of searching the windows again
	owed    bool          // the walk does not have the designs in hand
}

// backlogPart is what a window of lengths brought.
type backlogPart struct {
	lo, hi      float64
	designs     int
	least, most float64 // ranked lengths, mm
	digest      uint64  // of the designs, in whatever order
	effort      int64
}

// listing tells when the designs that are left are listed: once searching their windows
// again takes so much effort, see effortOf, and so much for each of them. A list is
// worth writing only if the effort since the last one is large against its size.
type listing struct{ effort, each int64 }

// seldom is some seconds of searching, and some tens of kilobytes of lists for each
// second of it.
var seldom = listing{effort: 10_000_000, each: 400}

// newBacklog is the backlog of so many designs, the first of a ranked length of
// next.
func newBacklog(left int, next float64) backlog {
	return backlog{left: left, reached: math.Inf(-1), next: next}
}

// backlogPartOf sums up what a window brought.
func backlogPartOf(lo, hi float64, w *examined) backlogPart {
	p := backlogPart{lo: lo, hi: hi, designs: len(w.candidates), least: math.Inf(1), most: math.Inf(-1), effort: w.effort}
	for i := range w.candidates {
		c := &w.candidates[i]
		p.least, p.most = math.Min(p.least, c.ranked), math.Max(p.most, c.ranked)
		p.digest += c.digest()
	}
	return p
}

// digest tells a design from others with near certainty.
func (c *candidate) digest() uint64 {
	words := [...]uint64{
		uint64(c.space.Layout)<<8 | uint64(c.space.Seat), math.Float64bits(c.ranked), math.Float64bits(c.inner),
		uint64(c.groups[0]), uint64(c.groups[1]), uint64(c.groups[2]), uint64(c.groups[3]),
	}
	var data [8 * len(words)]byte
	for i, x := range words {
		binary.LittleEndian.PutUint64(data[8*i:], x)
	}
	h := fnv.New64a()
	_, _ = h.Write(data[:]) // never fails
	return h.Sum64()
}

// add takes in a window.
func (b *backlog) add(p backlogPart) {
	if b.left == 0 && p.designs == 0 {
		return
	}
	b.windows = append(b.windows, p)
	b.left += p.designs
	b.next = math.Min(b.next, p.least)
	b.effort += p.effort
}

// due tells that the designs that are left are to be listed once a window is added.
func (l listing) due(b *backlog, p *backlogPart) bool {
	return b.effort+p.effort >= max(l.effort, l.each*int64(b.left+p.designs))
}

// list takes in that all designs that are left have been listed: what they are
// where the walk does not have them in hand.
func (b *backlog) list(owed []candidate) {
	listed := newBacklog(b.left, b.next)
	listed.listed, listed.owed = owed, b.owed
	*b = listed
}

// take takes in that a walk has taken some designs, up to a ranked length, and
// the ranked length of the first one left. False where there are not so many.
func (b *backlog) take(taken int, reached, next float64) bool {
	if taken > b.left {
		return false
	}
	b.left -= taken
	b.taken += taken
	if taken > 0 {
		b.reached = reached
	}
	b.next = next
	if b.left == 0 {
		b.list(nil)
		return true
	}
	// What lies before the last one taken is taken.
	for len(b.windows) > 0 && b.windows[0].most < b.reached {
		b.taken -= b.windows[0].designs
		b.effort -= b.windows[0].effort
		b.windows = b.windows[1:]
	}
	return true
}

// restore gives the designs that are left, sorted. search finds those of lengths
// above lo and up to hi.
func (b *backlog) restore(ctx context.Context, lib *objective.Library, search func(ctx context.Context, lo, hi float64) ([]candidate, error)) ([]candidate, error) {
	if b.left == 0 {
		return nil, nil
	}
	all := slices.Clone(b.listed)
	if len(b.windows) > 0 {
		var sum backlogPart
		for _, p := range b.windows {
			sum.designs += p.designs
			sum.digest += p.digest
		}
		found, err := search(ctx, b.windows[0].lo, b.windows[len(b.windows)-1].hi)
		if err != nil {
			return nil, err
		}
		again := backlogPartOf(0, 0, &examined{window: window{candidates: found}})
		if again.designs != sum.designs || again.digest != sum.digest {
			return nil, journal.ErrUnfit
		}
		all = append(all, found...)
	}
	sortCandidates(all, lib)
	if len(all)-b.taken != b.left || b.taken > 0 && all[b.taken-1].ranked != b.reached || all[b.taken].ranked != b.next {
		return nil, journal.ErrUnfit
	}
	return all[b.taken:], nil
}
