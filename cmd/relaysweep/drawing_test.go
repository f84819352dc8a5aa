package main

import (
	"math"
	"testing"

	"relaysweep/results"
)

// compareDrawing holds a drawing against the row: rays are those of a trace of
// its own, and outlines are circles of the row's radii about their centres.
func compareDrawing(t *testing.T, b *reopened) {
	t.Helper()
	d := b.design
	layout := &bench{d: d, eyeMM: d.LengthToEyeMM}
	drawing := b.drawing()
	if math.Abs(drawing.EyeMM-d.LengthToEyeMM) > 1e-9 || math.Abs(drawing.EyeMM-drawing.ViewpointMM-d.ViewpointShiftMM) > 1e-9 {
		t.Errorf("%s: eye at %v, viewpoint at %v", d.DesignID, drawing.EyeMM, drawing.ViewpointMM)
	}
	for k, seat := range d.Masks() {
		near := d.MaskNearMM
		if k > 0 {
			near = *d.FrontMaskNearMM
		}
		first, _ := layout.group(map[string]string{"front": "relay", "rear": "rear"}[seat])
		if place := d.Surfaces[first-1].ZMM + near; math.Abs(drawing.Masks[k].NearMM-place) > 1e-9 {
			t.Errorf("%s: a mask is drawn at %v, not %v", d.DesignID, drawing.Masks[k].NearMM, place)
		}
	}
	for i, ray := range drawing.Rays {
		if ray.Lost {
			continue
		}
		y := []float64{0, 3, -3}[i%3]
		crossings, angles := layout.meridional(y, math.Atan([]float64{0, 0.5, 0.7, 1}[i/3]*b.problem.TanMax))
		// Eye, surfaces, masks, and on towards the world.
		if ray.Chief != (i%3 == 0) || ray.Field != i/3 || len(ray.Points) != len(crossings)+2+len(d.Masks()) {
			t.Fatalf("ray %d: chief %v, field %d, %d points", i, ray.Chief, ray.Field, len(ray.Points))
		}
		on := 0
		for _, at := range ray.Points {
			for _, c := range crossings {
				if math.Hypot(at.X-c[0], at.Y-c[1]) < 1e-8 {
					on++
				}
			}
		}
		if on != len(crossings) {
			t.Errorf("%s: ray %d meets %d of %d surfaces where it should", d.DesignID, i, on, len(crossings))
		}
		n := len(ray.Points)
		a, c := ray.Points[n-2], ray.Points[n-1]
		if slope := (c.Y - a.Y) / (a.X - c.X); math.Abs(slope-math.Tan(angles[len(angles)-1])) > 1e-8 {
			t.Errorf("%s: ray %d leaves for the world with a slope of %v", d.DesignID, i, slope)
		}
	}
	for i, lens := range drawing.Lenses {
		front, back := d.Surfaces[2*i], d.Surfaces[2*i+1]
		if lens.FirstMM != front.ZMM && math.Abs(lens.FirstMM-front.ZMM) > 1e-9 {
			t.Errorf("lens %d is drawn at %v", i, lens.FirstMM)
		}
		for _, p := range lens.Glasses[0] {
			if offSurface(front, p) > 1e-9 && offSurface(back, p) > 1e-9 {
				t.Errorf("%s, lens %d: (%v, %v) is on neither surface", d.DesignID, i+1, p.X, p.Y)
			}
			if math.Abs(p.Y) > lens.HalfMM+1e-9 {
				t.Errorf("lens %d reaches to %v", i, p.Y)
			}
		}
	}
}

// offSurface is how far a point lies from a spherical or flat surface.
func offSurface(s results.Surface, p results.ReportPoint) float64 {
	if math.IsInf(s.RadiusMM, 0) {
		return math.Abs(p.X - s.ZMM)
	}
	return math.Abs(math.Hypot(p.X-s.ZMM-s.RadiusMM, p.Y) - math.Abs(s.RadiusMM))
}
