package look

import (
	"math"
	"testing"

	"relaysweep/objective"
)

const arcmin = math.Pi / 10800

// axis is the direction in which something is read from a picture: 0 along x, 1 along y.
type axis int

// readings is how a scene looks along a short row of pixels about a direction.
type readings struct{ mean, variance float64 }

// spreadOf is the place and the variance of what is seen at an edge or a line across along, about a
// direction: the moments of the light's change from pixel to pixel of an edge, of the missing light
// of a line. The window has to hold it whole.
func spreadOf(t *testing.T, light []float64, from, pixel float64, edge bool) readings {
	t.Helper()
	var sum, first, second float64
	bright := max(light[0], light[len(light)-1])
	same := func(i, k int) bool { return math.Abs(light[i]-light[k]) < 1e-9 }
	if last := len(light) - 1; !same(0, 1) || !same(last, last-1) || !edge && !same(0, last) {
		t.Fatalf("the window is too small: %v … %v", light[:2], light[len(light)-2:])
	}
	for i := range light {
		at, share := from+pixel*(float64(i)+0.5), bright-light[i]
		if edge {
			if i == 0 {
				continue
			}
			at, share = at-pixel/2, light[i]-light[i-1]
		}
		sum += share
		first += share * at
		second += share * at * at
	}
	mean := first / sum
	return readings{mean, second/sum - mean*mean}
}

// reader looks at edges of the mask and lines of the wall at one direction.
type reader struct {
	p             *objective.Problem
	train         *objective.Train
	maskMM        float64
	accommodation float64
	points        int
}

// about are the light of pixels along a row through a direction, where the first begins, and their
// width.
func (r *reader) about(s *Scene, x, y, half float64, along axis) (light []float64, from, pixel float64) {
	const n = 301
	pixel = 2 * half / n
	eye := &Eye{Accommodation: r.accommodation, Width: n, Height: 1, PupilPoints: r.points,
		Window: Rect{x - half, x + half, y - pixel/2, y + pixel/2}}
	if along == 1 {
		eye.Width, eye.Height = 1, n
		eye.Window = Rect{x - pixel/2, x + pixel/2, y - half, y + half}
	}
	light = Render(r.p, r.train, r.maskMM, s, eye).Light
	if along == 1 {
		for i := range n / 2 {
			light[i], light[n-1-i] = light[n-1-i], light[i]
		}
		return light, y - half, pixel
	}
	return light, x - half, pixel
}

// blur is the standard deviation along an axis, in the mask or on the wall, of the rays of one
// direction, as read from pictures of an edge that is seen there. A picture shows it at
// the eye; by how much things stand farther apart there than in the mask or on the wall is read by
// moving the edge.
func (r *reader) blur(t *testing.T, wall bool, x, y float64, along axis) float64 {
	t.Helper()
	const wide = 10 // tangents: beyond everything
	seen := [...]float64{x, y}[along]
	look := func(at, half float64) (readings, float64) {
		s := &Scene{WallLight: 1, WallVergence: r.p.VergenceFar}
		switch {
		case wall: // the edge of a line from 0.8 to 1.2 of the distance between lines
			s.GridTan = at / 0.8
			s.LineTan = 0.4 * s.GridTan
		case along == 0:
			s.Figure = []Rect{{at, wide, -wide, wide}}
		default:
			s.Figure = []Rect{{-wide, wide, at, wide}}
		}
		light, from, pixel := r.about(s, x, y, half, along)
		// A pixel is a box of its width; the steps of an edge between pixels are a second one.
		return spreadOf(t, light, from, pixel, true), 2 * pixel * pixel / 12
	}
	const moved = 3 * arcmin
	at, half := seen, 60*arcmin
	if wall {
		half = min(half, 0.3*seen) // lines end at half as much again
	}
	for pass := 0; ; pass++ {
		here, own := look(at, half)
		left, _ := look(at-moved, half+moved)
		right, _ := look(at+moved, half+moved)
		per := 2 * moved / (right.mean - left.mean)
		if off := here.mean - seen; pass > 0 && math.Abs(off) < 0.1*arcmin {
			return math.Sqrt(max(here.variance*per*per-own, 0))
		} else {
			at -= off * per
		}
		half = 8*math.Sqrt(here.variance) + 3*arcmin
	}
}
