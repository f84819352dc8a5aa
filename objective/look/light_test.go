package look

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"relaysweep/objective/raycheck"
)

// TestVignetted: where the field is darkest a share of the light is gone, which is vignetted_pct.
// With many rays their share is right to the square root of how many lie along the edge of what is
// left, some 0.5 %.
func TestVignetted(t *testing.T) {
	partly := 0
	for _, pupil := range []float64{2, 4} {
		for _, field := range []float64{0.8, 1, 1.1, 1.2, 1.3} {
			p := testtrain.Problem()
			p.WavelengthsNM, p.Weights = []float64{546.07}, []float64{1}
			p.Box, p.VergenceNear, p.DepthSteps, p.Pupil = 0, 0, 1, pupil
			train := testtrain.Simple(t, p)
			p.TanMax *= field
			gone := raycheck.NewChecker(p).Measure(train).Metrics.VignettedPct
			if gone > 5 && gone < 95 {
				partly++
			}
			for _, turn := range []float64{0.3, 2.2} {
				x, y := p.TanMax*math.Cos(turn), p.TanMax*math.Sin(turn)
				eye := &Eye{Window: Rect{x - 1e-6, x + 1e-6, y - 1e-6, y + 1e-6}, Width: 1, Height: 1, PupilPoints: 4000}
				read := Render(p, train, 80, &Scene{WallLight: 0.8}, eye).At(0, 0)
				testlens.Near(t, fmt.Sprintf("light at %g of the field, pupil %g mm", field, pupil), read, 0.8*(1-gone/100), 0.005)
			}
		}
	}
	if partly < 2 {
		t.Errorf("of %d fields the rim is partly dark", partly)
	}
}

// TestSingleRays: seen through a pinhole, each pixel shows what one ray of the tracer for single
// rays comes to: in the mask's layer at its height there over that of a ray near the axis, on the
// wall as far from the axis as where it stands before the viewpoint, and within all clear apertures
// or not. Pixels that an edge may cross are left out. Trains are of either seat, with plates and
// aspheres, upright and inverting.
func TestSingleRays(t *testing.T) {
	var lit, lines, hidden, outside int
	testlens.Examples(40, drawScene, func(i int, c *scene) {
		p, train, s := c.p, c.train, c.scene
		p.Pupil, p.WavelengthsNM, p.Weights = 1e-9, []float64{546.07}, []float64{1}
		s.LineTan, s.Figure = s.GridTan/2, Letter(1.6*p.TanHalfHeight)
		eye := c.eye(48, 36, 4)
		painter := newPainter(p, train, c.maskMM, s, eye)
		painter.everyPixel = true
		picture := painter.paint()
		chief := c.ray(1e-6).mask / 1e-6
		pixel := (eye.Window.Right - eye.Window.Left) / float64(eye.Width)
		for row := range eye.Height {
			for column := range eye.Width {
				x, y := eye.Window.Left+(float64(column)+0.5)*pixel, eye.Window.Top-(float64(row)+0.5)*pixel
				ray := c.ray(math.Hypot(x, y))
				turnX, turnY := x/math.Hypot(x, y), y/math.Hypot(x, y)
				figure := s.inFigure(ray.mask/chief*turnX, ray.mask/chief*turnY, 1.5*pixel)
				line := max(s.onLine(ray.wall*turnX, 1.5*pixel), s.onLine(ray.wall*turnY, 1.5*pixel))
				want := 0.9
				switch {
				case ray.over > 1.01:
					outside++
					want = 0
				case ray.over > 0.99 || figure == perhaps:
					continue
				case figure == yes:
					hidden++
					want = 0
				case line == perhaps:
					continue
				case line == yes:
					lines++
					want *= s.LineLight
				default:
					lit++
				}
				testlens.Near(t, fmt.Sprintf("example %d: light at %g, %g", i, x, y), picture.At(column, row), want, 1e-9)
			}
		}
	})
	if min(lit, lines, hidden, outside) < 100 {
		t.Errorf("pixels: %d lit, %d on lines, %d hidden, %d outside apertures", lit, lines, hidden, outside)
	}
}

// answer is whether a place belongs to something, by how much it may be moved.
type answer int

const (
	no answer = iota
	perhaps
	yes
)

func (s *Scene) inFigure(x, y, care float64) (in answer) {
	for _, r := range s.Figure {
		inside := min(x-r.Left, r.Right-x, y-r.Bottom, r.Top-y)
		switch {
		case inside > care:
			return yes
		case inside > -care:
			in = perhaps
		}
	}
	return in
}

func (s *Scene) onLine(x, care float64) answer {
	inside := s.LineTan/2 - math.Abs(math.Remainder(x, s.GridTan))
	switch {
	case inside > care:
		return yes
	case inside > -care:
		return perhaps
	}
	return no
}

// single is what a ray in the meridian comes to: heights in the layer and on the wall, there as a
// tangent at the eye, and its largest height over the clear semi-diameter, +Inf for a ray that is
// lost.
type single struct{ mask, wall, over float64 }

// ray traces the chief ray of a field tangent.
func (c *scene) ray(tan float64) (r single) {
	p, train := c.p, c.train
	points, ok := raycheck.TraceRay(p, train, []float64{c.maskMM}, raycheck.RayStart{WavelengthNM: p.WavelengthsNM[0], SlopeY: tan})
	var clear []float64
	for _, g := range train.Groups {
		for _, e := range g.Elements {
			for range e.Surfaces {
				clear = append(clear, e.Lens.ClearMM/2)
			}
		}
	}
	for _, at := range points {
		if at.At == raycheck.AtMask {
			r.mask = at.Y
		}
		if at.At == raycheck.AtLens {
			r.over = max(r.over, math.Hypot(at.X, at.Y)/clear[at.Surface])
		}
	}
	last, theta := points[len(points)-1], train.AngularMagnification
	u := last.M / -last.N
	view := last.Y + (last.Z-p.Viewpoint(train))*u
	r.wall = theta * u
	if v := c.scene.WallVergence; v > 0 {
		before := theta * theta / v // the viewpoint
		r.wall = theta * (view + before*u) / before
	}
	if !ok {
		r.over = math.Inf(1)
	}
	return r
}

// scene is a train with what is seen through it.
type scene struct {
	p      *objective.Problem
	train  *objective.Train
	maskMM float64
	scene  *Scene
}

func drawScene(t *rapid.T) *scene {
	p, train := testtrain.DrawTraced(t)
	p.VergenceFar = rapid.SampledFrom([]float64{0, 0.001}).Draw(t, "far")
	s, _, _ := ForField(p, 0.9)
	maskMM, _ := p.PlaceMask(train, train.MaskGap(), (p.VergenceFar+p.VergenceNear)/2)
	return &scene{p, train, maskMM, s}
}

// eye looks at the field of the scene.
func (c *scene) eye(width, height, points int) *Eye {
	p := c.p
	return &Eye{
		Accommodation: p.VergenceFar, Width: width, Height: height, PupilPoints: points,
		Window: Rect{-p.TanHalfWidth, p.TanHalfWidth, -p.TanHalfHeight, p.TanHalfHeight},
	}
}

// TestInterpolation: between the directions that are traced rays come to within about a hundredth
// of a pixel of where they would if every pixel were traced, so that light differs by no more than
// that at the sharpest edge: in a corner of the field, as fine as in a report. Where apertures stop
// some of the light, a pixel differs by the few rays that just pass or just do not, and the picture
// by very little.
func TestInterpolation(t *testing.T) {
	whole, partly := 0, 0
	testlens.Examples(40, drawScene, func(i int, c *scene) {
		eye := c.eye(pixelsAcross, 241, 16)
		w := eye.Window
		pixel := (w.Right - w.Left) / pixelsAcross
		eye.Width, eye.Height = 44, 37
		eye.Window = Rect{w.Right - 44*pixel, w.Right, w.Bottom, w.Bottom + 37*pixel}
		c.scene.Figure = []Rect{{0, 0.9 * w.Right, 0.8 * w.Bottom, 0}}
		quick, exact := newPainter(c.p, c.train, c.maskMM, c.scene, eye), newPainter(c.p, c.train, c.maskMM, c.scene, eye)
		exact.everyPixel = true
		a, b := quick.paint(), exact.paint()
		var worst, sum float64
		for k := range a.Light {
			off := math.Abs(a.Light[k] - b.Light[k])
			worst = max(worst, off)
			sum += off / float64(len(a.Light))
		}
		most := 2.0 / 16
		bare := Render(c.p, c.train, c.maskMM, &Scene{WallLight: 1}, eye).Light
		switch least := slices.Min(bare); {
		case least > 1-1e-9:
			whole++
			most = 0.01
		case slices.Max(bare) > 0:
			partly++
		}
		if worst > most || sum > 0.002 {
			t.Errorf("example %d: light differs by up to %.3g, by %.3g in the mean", i, worst, sum)
		}
	})
	if min(whole, partly) < 5 {
		t.Errorf("apertures stop nothing in %d trains, some light in %d", whole, partly)
	}
}

// TestLost: where lenses end at no aperture light ends where rays are lost, which no interpolation can
// tell. The light is the same as if every pixel were traced but where no ray that was traced
// has any.
func TestLost(t *testing.T) {
	partly := 0
	testlens.Examples(20, drawScene, func(i int, c *scene) {
		for _, g := range c.train.Groups {
			for _, e := range g.Elements {
				e.Lens.ClearMM *= 100
			}
		}
		eye := &Eye{Window: Rect{-0.8, 0.8, -0.6, 0.6}, Width: 80, Height: 60, PupilPoints: 16}
		wall := &Scene{WallLight: 1}
		exact := newPainter(c.p, c.train, c.maskMM, wall, eye)
		exact.everyPixel = true
		quick, all := Render(c.p, c.train, c.maskMM, wall, eye).Light, exact.paint().Light
		var sum, want float64
		for k := range all {
			sum += math.Abs(quick[k]-all[k]) / float64(len(all))
			want += all[k] / float64(len(all))
		}
		if want < 0.95 {
			partly++
		}
		if sum > 0.005 {
			t.Errorf("example %d: light of %g differs by %g in the mean", i, want, sum)
		}
	})
	if partly < 5 {
		t.Errorf("rays are lost in %d trains", partly)
	}
}

// pixelsAcross is how many pixels the pictures of a report have at most.
const pixelsAcross = 320

// TestDarkness: where nothing gets through all is dark, and no picture has light that is none:
// trains whose rays are lost, whose mask is nowhere, or that look at themselves.
func TestDarkness(t *testing.T) {
	p := testtrain.Problem()
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = 2, 2, 3
	s, _, _ := ForField(p, 1)
	eye := &Eye{Window: Rect{-2, 2, -2, 2}, Width: 40, Height: 30, PupilPoints: 16}
	train := testtrain.Simple(t, p)
	for _, maskMM := range []float64{0, 60, math.NaN(), math.Inf(1)} {
		for _, gap := range []float64{-30, 0, 100, 1e6} {
			for _, v := range []float64{0, 0.004, -1e9} {
				q := *train
				q.Gaps = []float64{gap, gap}
				eye.Accommodation = v
				for _, light := range Render(p, &q, maskMM, s, eye).Light {
					if !(light >= 0 && light <= 1+1e-9) {
						t.Fatalf("mask at %g mm, gaps of %g mm: light %v", maskMM, gap, light)
					}
				}
			}
		}
	}
	if corner := Render(p, train, 60, s, eye).At(0, 0); corner != 0 {
		t.Errorf("light %v from 70 degrees", corner)
	}
}

// TestLetter: the F of a picture stands upright and is no mirror image.
func TestLetter(t *testing.T) {
	want := strings.TrimSpace(`
.....
.###.
.#...
.##..
.#...
.#...
.....`)
	var got []string
	figure := Letter(5)
	for y := 3.0; y >= -3; y-- {
		row := ""
		for x := -2.0; x <= 2; x++ {
			s := &Scene{Figure: figure}
			row += string(".#"[int(s.hidden(x, y, 1, 1)+0.4)])
		}
		got = append(got, row)
	}
	if strings.Join(got, "\n") != want {
		t.Errorf("the letter:\n%s", strings.Join(got, "\n"))
	}
}

// TestForField: lines stand whole degrees apart, or quarters in a small field, five to eight spaces
// across.
func TestForField(t *testing.T) {
	for _, c := range []struct{ width, grid float64 }{{10, 2}, {15, 2}, {30, 4}, {5, 1}, {3, 0.5}, {1, 0.25}} {
		p := testtrain.Problem()
		p.SetField(c.width, 0.75*c.width)
		s, grid, letter := ForField(p, 1)
		testlens.Near(t, "degrees between lines", grid, c.grid, 1e-12)
		testlens.Near(t, "letter in degrees", letter, 0.3*c.width, 0.005*c.width)
		testlens.Near(t, "tangent between lines", s.GridTan, math.Tan(c.grid*math.Pi/180), 1e-12)
	}
}

// TestGray: light of 0.18, a grey card's, has the signal 118 of 255, a tenth of half the signal's
// light the linear part, and half the signal is 21.4 % of light (the values of sRGB are tabulated
// everywhere; from memory). Light beyond white is white.
func TestGray(t *testing.T) {
	for _, c := range []struct {
		light float64
		want  uint8
	}{{0, 0}, {0.18, 118}, {0.2140, 127}, {0.2160, 128}, {0.5, 188}, {0.001, 3}, {1, 255}, {1.5, 255}, {-0.1, 0}} {
		if got := (&Picture{1, 1, []float64{c.light}}).Gray().Pix[0]; got != c.want {
			t.Errorf("light %v becomes %d, not %d", c.light, got, c.want)
		}
	}
}
