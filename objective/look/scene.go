package look

import (
	"math"

	"relaysweep/objective"
)

// Rect is a rectangle of directions, in tangents at the eye.
type Rect struct{ Left, Right, Bottom, Top float64 }

// Scene is what the eye looks at: a wall in the world with a square grid of lines, and an opaque
// figure in the mask. Both are given by where they are seen through a train without distortion: the
// wall through one of the train's angular magnification, the figure where the paraxial chief ray in
// the layer puts it.
type Scene struct {
	// WallVergence is that of the wall, apparent, 0 for infinity.
	WallVergence float64
	// WallLight is the light of the wall as it comes to the eye, 1 for white: what the train
	// transmits.
	WallLight float64
	// GridTan is the distance of two lines of the grid, one of which runs through the axis; 0 for
	// no grid. LineTan is the width of a line, LineLight its light over the wall's.
	GridTan, LineTan, LineLight float64
	// Figure is opaque; its parts do not overlap.
	Figure []Rect
}

// ForField is a scene for the field that a problem asks for, with its wall at the far depth: lines
// so many degrees from each other in the middle, an eighth of that wide, and a letter of two fifths
// of the field's height.
func ForField(p *objective.Problem, wallLight float64) (s *Scene, gridDeg, letterDeg float64) {
	const linesMost, steps = 8, 4
	deg := func(tan float64) float64 { return math.Atan(tan) * 180 / math.Pi }
	across := deg(2 * p.TanHalfWidth)
	// Whole degrees, or for a small field quarters.
	gridDeg = math.Ceil(across / linesMost)
	if across < linesMost/2 {
		gridDeg = math.Ceil(across/linesMost*steps) / steps
	}
	letter := 2 * p.TanHalfHeight * 2 / 5
	grid := math.Tan(gridDeg * math.Pi / 180)
	return &Scene{
		WallVergence: p.VergenceFar, WallLight: wallLight, GridTan: grid, LineTan: grid / 8, LineLight: 0.1, Figure: Letter(letter),
	}, gridDeg, deg(letter)
}

// Letter is a bold F of a height, its middle on the axis: no mirror image or half turn of it is
// taken for it.
func Letter(height float64) []Rect {
	stroke, half := height/5, height/2
	left := -3 * stroke / 2
	return []Rect{
		{left, left + stroke, -half, half},
		{left + stroke, left + float64(3*stroke), half - stroke, half},
		{left + stroke, left + float64(5*stroke)/2, -stroke / 2, stroke / 2},
	}
}

// freeShare is the share of a stretch that lines across it leave free, as a function of where its
// middle is: a trapezoid at each line, which is what a box as wide as the line makes of one as wide
// as the stretch.
type freeShare struct{ peak, half, slope float64 }

// newFreeShare is for a width of lines and one of stretches, both in distances of lines.
func newFreeShare(line, width float64) freeShare {
	return freeShare{min(line, width) / width, (line + width) / (2 * width), 1 / width}
}

// wholeTurns makes every place that is looked at positive.
const wholeTurns = 1 << 20

// at is that share about a place, counted in distances of lines from the one through the axis.
func (c *freeShare) at(place float64) float64 {
	off := math.Abs(place - (float64(int64(place+(wholeTurns+0.5))) - wholeTurns))
	return 1 - max(0, min(c.peak, c.half-float64(off*c.slope)))
}

// hidden is the share of a patch about (x, y), of a width and height, that the figure covers.
func (s *Scene) hidden(x, y, width, height float64) (share float64) {
	for i := range s.Figure {
		r := &s.Figure[i]
		share += float64(overlap(r.Left, r.Right, x, width) * overlap(r.Bottom, r.Top, y, height))
	}
	return share
}

// overlap is the share of a stretch about x that lies between lo and hi.
func overlap(lo, hi, x, width float64) float64 {
	return max(0, min(hi, x+width/2)-max(lo, x-width/2)) / width
}

// around is the smallest rectangle that holds the figure.
func (s *Scene) around() Rect {
	r := Rect{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for _, f := range s.Figure {
		r = Rect{min(r.Left, f.Left), max(r.Right, f.Right), min(r.Bottom, f.Bottom), max(r.Top, f.Top)}
	}
	return r
}
