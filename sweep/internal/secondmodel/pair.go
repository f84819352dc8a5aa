package secondmodel

import "math"

// innerLongest ends the inner gaps tried where nothing else does, in mm beyond
// the least.
const innerLongest = 1e5

// bestInnerGap is the trial of a pair relay at the inner gap with the smallest
// ranked length; when none meets all requirements, one that gets furthest.
func bestInnerGap(r Request, seat string, stacks []stack, needs []float64) trial {
	at := func(s float64) trial { return try(r, "erector-pair", seat, stacks, needs, s) }
	gaps := innerGaps(stacks, needs[1], r.InnerSteps)
	if stacks[0].m.c >= 0 || stacks[3].m.c >= 0 || len(gaps) == 0 {
		return at(needs[1])
	}
	trials := make([]trial, len(gaps))
	best := at(gaps[0])
	note := func(t trial) {
		if further(t, best) || t.stage == parts && best.stage == parts && t.ranked < best.ranked {
			best = t
		}
	}
	for i, s := range gaps {
		trials[i] = at(s)
		note(trials[i])
	}
	meets := func(s float64) bool { return at(s).stage == parts }
	ranked := func(s float64) float64 {
		if t := at(s); t.stage == parts {
			return t.ranked
		}
		return math.Inf(1)
	}
	// shortest looks for the best between two gaps that meet all.
	shortest := func(lo, hi float64) {
		s, _ := goldenSection(lo, hi, ranked)
		note(at(lo))
		note(at(s))
		note(at(hi))
	}
	for i, s := range gaps {
		before, after := s, s
		if i > 0 {
			before = gaps[i-1]
		}
		if i < len(gaps)-1 {
			after = gaps[i+1]
		}
		t := trials[i]
		if t.stage != parts {
			// A narrow range may hide between two samples, where the
			// requirement that fails comes closest to being met.
			if i > 0 && !clearlyFurther(t, trials[i-1]) || i < len(gaps)-1 && further(trials[i+1], t) {
				continue
			}
			s = furthest(before, after, at)
			note(at(s))
			if !meets(s) {
				continue
			}
			shortest(boundary(s, before, meets), boundary(s, after, meets))
			continue
		}
		lo, hi := before, after
		if i > 0 && trials[i-1].stage != parts {
			lo = boundary(s, before, meets)
		} else if i > 0 && trials[i-1].ranked < t.ranked {
			continue
		}
		if i < len(gaps)-1 && trials[i+1].stage != parts {
			hi = boundary(s, after, meets)
		} else if i < len(gaps)-1 && trials[i+1].ranked < t.ranked {
			note(at(lo))
			continue
		}
		shortest(lo, hi)
	}
	return best
}

// further reports whether trial a meets more than b, or comes closer to it.
func further(a, b trial) bool {
	if a.stage != b.stage {
		return a.stage > b.stage
	}
	return a.margin > b.margin
}

// clearlyFurther does not take rounding for progress.
func clearlyFurther(a, b trial) bool {
	return a.stage > b.stage || a.stage == b.stage && a.margin > b.margin+1e-9*(1+math.Abs(b.margin))
}

// furthest is the gap between lo and hi that gets furthest, by golden section.
func furthest(lo, hi float64, at func(float64) trial) float64 {
	ratio := (math.Sqrt(5) - 1) / 2
	for range 60 {
		a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
		if further(at(b), at(a)) {
			lo = a
		} else {
			hi = b
		}
	}
	return lo + (hi-lo)/2
}

// innerGaps are the gaps to try: from the least, where the compound is
// positive, up to where it stops being so. Its power is linear in the gap.
func innerGaps(stacks []stack, least float64, steps int) []float64 {
	power := func(s float64) float64 {
		return -stacks[2].m.times(translation(s, 1)).times(stacks[1].m).c
	}
	at0 := power(0)
	rise := power(1) - at0
	zero := -at0 / rise
	var gaps []float64
	switch {
	case rise < 0 && zero > least:
		for i := range steps {
			gaps = append(gaps, least+(zero-least)*float64(i)/float64(steps))
		}
		for left := (zero - least) / float64(steps) / 1.1; left > 1e-6; left /= 1.1 {
			gaps = append(gaps, zero-left)
		}
	case rise > 0 || rise == 0 && at0 > 0:
		from := least
		if rise > 0 {
			from = math.Max(least, zero)
		}
		gaps = append(gaps, from)
		for i := range steps {
			gaps = append(gaps, from+1e-6*math.Pow(innerLongest/1e-6, float64(i)/float64(steps-1)))
		}
	}
	return gaps
}
