package sweep

import (
	"cmp"
	"container/heap"
	"math"
	"slices"

	"relaysweep/objective"
)

// auditSample draws designs at random from all that are offered to it: of those up to
// any ranked length, so many whose numbers are least. A design's number is a hash
// of the design and the job's seed, so that what is drawn does not depend on the
// order of units, on workers, or on how a point was divided into parts. Designs are
// offered in ascending ranked length, as far as these differ by more than a window.
type auditSample struct {
	most  int
	seed  uint64
	least hashHeap    // the least numbers so far
	kept  []candidate // all that were ever among the least
}

func newAuditSample(most int, seed int64) *auditSample {
	return &auditSample{most: most, seed: mix(uint64(seed) + 0x617564)}
}

// mix spreads the bits of a number over all of its bits (finaliser of S. Vigna's
// splitmix64, public domain).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// number is a design's. Where a hash of the design is so low that it can only be drawn from very many,
// the number's higher digits are those of a hash of front and rear: all designs have the same chance,
// and those that are drawn from very many are found among few fronts and rears.
func (s *auditSample) number(c *candidate) uint64 {
	codes := c.codes()
	h := mix(s.seed ^ uint64(c.space.Layout)<<8 ^ uint64(c.space.Seat))
	for _, code := range codes {
		h = mix(h ^ uint64(code))
	}
	if h >= endsBelow {
		return h
	}
	return s.endsNumber(c.space, codes[0], codes[len(codes)-1]) | h&endsRest
}

// Designs whose hash is below endsBelow, one of 1024, share all but the digits of endsRest with
// others of their front and rear. So some hundreds of trains of one front and rear have to be turned
// away for one that is drawn to bring another.
const (
	endsBelow = 1 << 54
	endsRest  = 1<<20 - 1
)

// endsNumber is the least number that a design of a front and a rear may have below endsBelow.
func (s *auditSample) endsNumber(space objective.Space, front, rear objective.StackCode) uint64 {
	h := mix(s.seed ^ endsRest ^ uint64(space.Layout)<<8 ^ uint64(space.Seat))
	return mix(mix(h^uint64(front))^uint64(rear)) >> 10 &^ endsRest
}

// wantsOf reports whether designs of a front and a rear may be among those drawn so far.
func (s *auditSample) wantsOf(space objective.Space, front, rear objective.StackCode) bool {
	return s != nil && s.endsNumber(space, front, rear) < s.below()
}

// below is the number from which on no design is drawn.
func (s *auditSample) below() uint64 {
	switch {
	case s.most == 0:
		return 0
	case len(s.least) < s.most:
		return math.MaxUint64
	}
	return s.least[0]
}

// wants reports whether a design would be among those drawn so far. No sample wants none.
func (s *auditSample) wants(c *candidate) bool { return s != nil && s.number(c) < s.below() }

// offer takes in designs that were turned away, and returns those that it keeps.
func (s *auditSample) offer(all []candidate) (kept []candidate) {
	for i := range all {
		n := s.number(&all[i])
		if n >= s.below() {
			continue
		}
		if len(s.least) == s.most {
			heap.Pop(&s.least)
		}
		heap.Push(&s.least, n)
		kept = append(kept, all[i])
	}
	s.kept = append(s.kept, kept...)
	return kept
}

// drawn are the designs drawn from those of several samples up to a ranked length.
func (s *auditSample) drawn(kept []candidate, longest float64) []candidate {
	all := slices.DeleteFunc(slices.Clone(kept), func(c candidate) bool { return c.ranked > longest })
	slices.SortFunc(all, func(a, b candidate) int { return cmp.Compare(s.number(&a), s.number(&b)) })
	return all[:min(len(all), s.most)]
}

// hashHeap holds numbers, the largest on top.
type hashHeap []uint64

func (h hashHeap) Len() int           { return len(h) }
func (h hashHeap) Less(i, j int) bool { return h[i] > h[j] }
func (h hashHeap) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *hashHeap) Push(x any)        { *h = append(*h, x.(uint64)) }
func (h *hashHeap) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}
