package results

import (
	"cmp"
	"math"
	"slices"
)

// box is a rectangle of a drawing, in its units.
type box struct{ left, top, right, bottom float64 }

// overlaps reports whether two boxes share more than an edge.
func (b box) overlaps(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

// inside reports whether a box lies within another.
func (b box) inside(o box) bool {
	return b.left >= o.left && b.right <= o.right && b.top >= o.top && b.bottom <= o.bottom
}

// crosses reports whether a straight piece of line runs through the box: it is cut
// at the sides (Liang and Barsky, ACM Trans. Graph. 3 (1984) 1) and something is
// left.
func (b box) crosses(p, q xy) bool {
	from, to := 0.0, 1.0
	cut := func(step, room float64) bool {
		switch {
		case step == 0:
			return room >= 0
		case step < 0:
			from = math.Max(from, room/step)
		default:
			to = math.Min(to, room/step)
		}
		return from <= to
	}
	dx, dy := q.x-p.x, q.y-p.y
	return cut(-dx, p.x-b.left) && cut(dx, b.right-p.x) && cut(-dy, p.y-b.top) && cut(dy, b.bottom-p.y)
}

// Widths of text are estimated, generously, from the number of its letters: a
// page does not know the fonts of the machine that shows it.
const (
	// letterWidth is that of a letter in sizes of the font.
	letterWidth = 0.66
	// letterUp and letterDown are how far letters reach from their base line.
	letterUp, letterDown = 0.8, 0.24
)

// textBox is the room that text of a size takes which begins at a point.
func textBox(at xy, text string, size float64) box {
	return box{at.x, at.y - letterUp*size, at.x + textWidth(text, size), at.y + letterDown*size}
}

func textWidth(text string, size float64) float64 {
	return letterWidth * size * float64(cellWidth.StringWidth(text))
}

// leader is a line from a place along the axis to a label beside its end, which
// stands at a level: the higher, the longer the line.
type leader struct {
	at, width float64
	left      bool // the label ends at the line in place of beginning there
	level     int  // from 0
}

// reach is what the label covers along the axis.
func (l leader) reach() (from, to float64) {
	if l.left {
		return l.at - l.width, l.at
	}
	return l.at, l.at + l.width
}

// covers reports whether the label lies in the way of a line at a place.
func (l leader) covers(at float64) bool {
	from, to := l.reach()
	return from < at && at < to
}

// placeLeaders chooses sides and levels so that every label stands between two
// places along the axis, no line runs through a label, no two labels lie over
// each other, and levels are few. Leaders are in the order of their places.
func placeLeaders(leaders []leader, from, to float64) (levels int) {
	n := len(leaders)
	best := slices.Clone(leaders)
	found := false
	for k := range n + 1 {
		// The labels before the k-th go one way and the others the other way: more
		// mixed ones only stand in each other's way.
		for _, outward := range []bool{false, true} {
			trial := slices.Clone(leaders)
			fits := true
			for i := range trial {
				trial[i].left = (i < k) == outward
				a, b := trial[i].reach()
				fits = fits && a >= from && b <= to
			}
			if !fits || !stackLevels(trial) {
				continue
			}
			if high := highest(trial); !found || high < levels {
				found, levels = true, high
				copy(best, trial)
			}
		}
	}
	if !found {
		// No room for whole labels: one above the other, the first at the top.
		for i := range best {
			best[i].level = n - 1 - i
		}
		levels = n
	}
	copy(leaders, best)
	return levels
}

func highest(leaders []leader) int {
	levels := 0
	for _, l := range leaders {
		levels = max(levels, l.level+1)
	}
	return levels
}

// stackLevels gives each label the lowest level at which no line runs through it,
// and reports whether there is one: two labels may each lie over the other's line.
func stackLevels(leaders []leader) bool {
	for i := range leaders {
		leaders[i].level = 0
	}
	for range len(leaders) + 1 {
		settled := true
		raise := func(high, low *leader) {
			if high.level <= low.level {
				high.level = low.level + 1
				settled = false
			}
		}
		for i := range leaders {
			for k := i + 1; k < len(leaders); k++ {
				a, b := &leaders[i], &leaders[k]
				overA, overB := a.covers(b.at), b.covers(a.at)
				switch {
				case overA && overB:
					return false
				case overA:
					raise(a, b)
				case overB:
					raise(b, a)
				default:
					_, endA := a.reach()
					beginB, _ := b.reach()
					if endA > beginB && a.level == b.level {
						raise(a, b)
					}
				}
			}
		}
		if settled {
			return true
		}
	}
	return false
}

// placeRows gives centred labels rows, from 0, in which none touches another,
// each the first that is free from left to right.
func placeRows(middles, widths []float64) []int {
	order := make([]int, len(middles))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(middles[a], middles[b]) })
	rows := make([]int, len(middles))
	var ends []float64
	for _, i := range order {
		row := slices.IndexFunc(ends, func(end float64) bool { return end <= middles[i]-widths[i]/2 })
		if row < 0 {
			row = len(ends)
			ends = append(ends, 0)
		}
		ends[row] = middles[i] + widths[i]/2
		rows[i] = row
	}
	return rows
}
