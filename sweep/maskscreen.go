package sweep

import (
	"math"
	"sync"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// maskScreen turns trains away whose mask at the rear seat exceeds its limits with
// their rear group wherever the eye may be, by rays that are traced once for each rear
// group and eye relief and remembered. It may be asked from several goroutines; what it
// answers depends on the train alone.
type maskScreen struct {
	screeners chan *raycheck.Screener
	shards    [maskShards]struct {
		sync.Mutex
		known map[maskAt]bool
	}
}

// maskAt is a rear group at an eye relief.
type maskAt struct {
	rear   objective.StackCode
	relief uint64 // the number's bits
}

// maskShards keeps workers out of each other's way, and maskHeld bounds what is
// remembered in each: some 100 MB in all. What is forgotten is found again.
const (
	maskShards = 64
	maskHeld   = 1 << 15
)

func newMaskScreen(p *objective.Problem, workers int) *maskScreen {
	s := &maskScreen{screeners: make(chan *raycheck.Screener, workers)}
	for range workers {
		s.screeners <- raycheck.NewScreener(p)
	}
	for i := range s.shards {
		s.shards[i].known = map[maskAt]bool{}
	}
	return s
}

// turnsAway reports whether the mask of a solved train is blurred by more than the factor at
// every eye relief at which it would be screened.
func (s *maskScreen) turnsAway(t *objective.Train, rear objective.StackCode) bool {
	if s == nil || !t.Seat.Has(objective.SeatRear) {
		return false
	}
	group := t.Groups[len(t.Groups)-1]
	return raycheck.AtEveryScreen(t, func(relief float64) bool {
		at := maskAt{rear, math.Float64bits(relief)}
		shard := &s.shards[mix(uint64(rear)^at.relief)%maskShards]
		shard.Lock()
		blurs, known := shard.known[at]
		shard.Unlock()
		if known {
			return blurs
		}
		screener := <-s.screeners
		blurs = screener.MaskBlurs(group, relief)
		s.screeners <- screener
		shard.Lock()
		if len(shard.known) >= maskHeld {
			clear(shard.known)
		}
		shard.known[at] = blurs
		shard.Unlock()
		return blurs
	})
}
