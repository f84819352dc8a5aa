package look

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// Eye is how one looks: with which vergence in focus, where to, and how finely.
type Eye struct {
	// Accommodation is the vergence that is in focus at the reference wavelength.
	Accommodation float64
	Window        Rect // the picture's edges
	Width, Height int  // pixels
	// PupilPoints is how many rays of a wavelength make a pixel, a multiple of 4.
	PupilPoints int
}

// cellPX is how many pixels lie between directions that are traced. Between them rays are
// interpolated.
const cellPX = 8

// Render is the scene as an eye in the middle of its box sees it through t, with the mask's layer
// maskMM behind the last vertex before it. Light that is lost or outside a clear aperture is dark.
// Wavelengths count by their weights, as in the metrics; the picture has no colours.
func Render(p *objective.Problem, t *objective.Train, maskMM float64, scene *Scene, eye *Eye) *Picture {
	return newPainter(p, t, maskMM, scene, eye).paint()
}

// painter makes one picture.
type painter struct {
	p       *objective.Problem
	scene   *Scene
	eye     *Eye
	tracer  *raycheck.Tracer
	chief   float64 // height in the layer per unit slope towards the world
	theta   float64
	wall    float64 // vergence in the world
	perWall float64 // wall places per tangent: they are counted in distances of lines
	patch   float64 // see widen

	pixelX, pixelY float64 // width and height of a pixel
	around         Rect    // the figure
	everyPixel     bool    // is traced

	pupil       [][]raycheck.Line // by wavelength
	from        []raycheck.Line
	through     []raycheck.Passage
	top, bottom edge // above and below a row of cells
	direct      edge
	picture     *Picture
}

// edge is what is traced along a row of directions: of each the rays from all pupil points, and how
// wide the patches are that they stand for.
type edge struct {
	rays  []seen
	width []places
}

// seen is what a ray from the eye comes to.
type seen struct {
	at   places
	over float64 // raycheck.Passage.Overfill, NaN for a ray that is lost
}

// places are x and y in the mask, as directions at the eye, and on the wall, in distances of lines.
type places [4]float64

const (
	maskX = iota
	maskY
	wallX
	wallY
)

// passes reports whether a ray gets through all clear apertures.
func (s *seen) passes() bool { return s.over <= 1+objective.RequirementSlack }

func newPainter(p *objective.Problem, t *objective.Train, maskMM float64, scene *Scene, eye *Eye) *painter {
	n, columns := eye.PupilPoints, (eye.Width+cellPX-1)/cellPX+1
	newEdge := func(directions int) edge { return edge{make([]seen, directions*n), make([]places, directions)} }
	a := &painter{
		p: p, scene: scene, eye: eye, tracer: raycheck.NewTracer(p, t, maskMM),
		chief: -p.ChiefAtMask(t, t.MaskGap(), maskMM), theta: t.AngularMagnification, perWall: 1,
		patch:  2 * math.Sqrt(math.Pi/float64(n)),
		pixelX: (eye.Window.Right - eye.Window.Left) / float64(eye.Width),
		pixelY: (eye.Window.Top - eye.Window.Bottom) / float64(eye.Height),
		around: scene.around(),
		from:   make([]raycheck.Line, n), through: make([]raycheck.Passage, n),
		top: newEdge(columns), bottom: newEdge(columns), direct: newEdge(1),
		picture: &Picture{eye.Width, eye.Height, make([]float64, eye.Width*eye.Height)},
	}
	a.wall = scene.WallVergence / (a.theta * a.theta)
	if scene.GridTan > 0 {
		a.perWall = 1 / scene.GridTan
	}
	for w := range p.Weights {
		// Points of one wavelength stand between those of another.
		a.pupil = append(a.pupil, fill(p.Pupil/2, n, float64(w)/float64(len(p.Weights))))
	}
	return a
}

// fill fills a disc with points of equal weight: equal steps in the squared radius, in which the
// area is uniform, each point a golden section of the quarter turn beyond the one before, and three
// more that make it symmetric. Its mean square is that of the disc. All are turned by a share of
// the quarter turn.
func fill(radius float64, n int, turned float64) []raycheck.Line {
	var points []raycheck.Line
	for i := range n / 4 {
		r := radius * math.Sqrt((float64(i)+0.5)/float64(n/4))
		_, turn := math.Modf(float64(float64(i)*math.Phi) + turned)
		sin, cos := math.Sincos(math.Pi / 2 * turn)
		x, y := r*cos, r*sin
		points = append(points, raycheck.Line{X: x, Y: y}, raycheck.Line{X: -y, Y: x}, raycheck.Line{X: -x, Y: -y}, raycheck.Line{X: y, Y: -x})
	}
	return points
}

func (a *painter) paint() *Picture {
	var total float64
	for _, weight := range a.p.Weights {
		total += weight
	}
	for w, weight := range a.p.Weights {
		each := a.scene.WallLight * weight / total / float64(a.eye.PupilPoints)
		a.traceRow(w, 0, &a.bottom)
		for y := 0; y < a.eye.Height; y += cellPX {
			a.top, a.bottom = a.bottom, a.top
			a.traceRow(w, min(y+cellPX, a.eye.Height), &a.bottom)
			for x := 0; x < a.eye.Width; x += cellPX {
				a.cell(w, each, x, y)
			}
		}
	}
	return a.picture
}

// traceRow traces the directions between cells along the edge above a row of pixels.
func (a *painter) traceRow(w, row int, to *edge) {
	n := a.eye.PupilPoints
	for i := range to.width {
		to.width[i] = a.trace(w, float64(min(i*cellPX, a.eye.Width)), float64(row), to.rays[i*n:][:n])
	}
}

// trace follows light back from all pupil points in one direction, in pixels from the top left
// corner, and gives the widths of [painter.widen].
func (a *painter) trace(w int, column, row float64, to []seen) (width places) {
	tanX, tanY := a.eye.Window.Left+float64(column*a.pixelX), a.eye.Window.Top-float64(row*a.pixelY)
	// Light that the eye sees sharply comes from another vergence at another wavelength, where its
	// colour counts.
	v := a.eye.Accommodation - a.p.EyeColour(w)
	for i, at := range a.pupil[w] {
		a.from[i] = raycheck.Line{X: at.X, Y: at.Y, SX: tanX - float64(at.X*v), SY: tanY - float64(at.Y*v)}
	}
	a.tracer.Trace(w, a.from, a.through)
	scale := a.theta * a.perWall
	for i := range a.through {
		mask, world := &a.through[i].Mask, &a.through[i].World
		at := places{
			mask.X / a.chief, mask.Y / a.chief,
			scale * (world.SX + float64(a.wall*world.X)), scale * (world.SY + float64(a.wall*world.Y)),
		}
		to[i] = seen{at, a.through[i].Overfill}
		if a.through[i].Lost || !(max(math.Abs(at[wallX]), math.Abs(at[wallY])) < wholeTurns) {
			to[i].over = math.NaN()
		}
	}
	return a.widen(to)
}

// widen makes each ray stand for a patch of the pupil, so that few rays make a smooth blur. It
// returns how wide patches are seen.
//
// A patch is a square of the area that falls to a pupil point, πR²/N. Its side over the standard
// deviation of the pupil along x or y, R/2, is what its width is over that of the rays. The
// standard deviation of a box is its width over √12; rays are drawn together by so much that the
// blur as a whole keeps its own.
func (a *painter) widen(rays []seen) (width places) {
	var n float64
	var mean, variance places
	for i := range rays {
		if rays[i].passes() {
			n++
			for k, x := range rays[i].at {
				mean[k] += x
			}
		}
	}
	if n == 0 {
		return width
	}
	for k := range mean {
		mean[k] /= n
	}
	together := math.Sqrt(1 - float64(a.patch*a.patch)/12)
	for i := range rays {
		passes := rays[i].passes()
		for k := range mean {
			off := rays[i].at[k] - mean[k]
			if passes {
				variance[k] += float64(off * off)
			}
			rays[i].at[k] = mean[k] + float64(together*off)
		}
	}
	for k := range width {
		width[k] = a.patch * math.Sqrt(variance[k]/n)
	}
	return width
}

// cell adds the light of a wavelength to the pixels of the cell whose top left one is (x, y). Where
// a pupil point loses its ray at one corner and has light at another nothing can be interpolated:
// the cell is traced pixel by pixel.
func (a *painter) cell(w int, each float64, x, y int) {
	n, c := a.eye.PupilPoints, x/cellPX
	right, down := min(x+cellPX, a.eye.Width), min(y+cellPX, a.eye.Height)
	corners := [4][]seen{a.top.rays[c*n:][:n], a.top.rays[(c+1)*n:][:n], a.bottom.rays[c*n:][:n], a.bottom.rays[(c+1)*n:][:n]}
	if a.everyPixel || unclear(&corners) {
		for row := y; row < down; row++ {
			for column := x; column < right; column++ {
				patch := a.patchOf(a.trace(w, float64(column)+0.5, float64(row)+0.5, a.direct.rays))
				pixel := a.picture.Light[row*a.eye.Width+column:][:1]
				for i := range a.direct.rays {
					ray := &a.direct.rays[i]
					a.along(pixel, each, &patch, ray, ray)
				}
			}
		}
		return
	}
	var width places
	for k := range width {
		width[k] = (a.top.width[c][k] + a.top.width[c+1][k] + a.bottom.width[c][k] + a.bottom.width[c+1][k]) / 4
	}
	patch := a.patchOf(width)
	for row := y; row < down; row++ {
		share := (float64(row-y) + 0.5) / float64(down-y)
		light := a.picture.Light[row*a.eye.Width:][x:right]
		for i := range n {
			from, to := between(&corners[0][i], &corners[2][i], share), between(&corners[1][i], &corners[3][i], share)
			a.along(light, each, &patch, &from, &to)
		}
	}
}

// unclear reports whether some pupil point loses its ray at one corner and has light at another.
func unclear(corners *[4][]seen) bool {
	for i := range corners[0] {
		lost, lit := false, false
		for _, corner := range corners {
			lost, lit = lost || math.IsNaN(corner[i].over), lit || corner[i].passes()
		}
		if lost && lit {
			return true
		}
	}
	return false
}

// between is a ray a share of the way from one to another.
func between(from, to *seen, share float64) (ray seen) {
	for k := range ray.at {
		ray.at[k] = from.at[k] + float64(share*(to.at[k]-from.at[k]))
	}
	ray.over = from.over + float64(share*(to.over-from.over))
	return ray
}

// patch is what a ray stands for: a box as wide as a pixel and as a patch of the pupil is seen,
// each by its standard deviation.
type patch struct {
	width  places // in the mask
	across [2]freeShare
	reach  Rect // rays that the figure may hide
}

func (a *painter) patchOf(width places) (b patch) {
	for k, pixel := range [...]float64{a.pixelX, a.pixelY, a.pixelX * a.perWall, a.pixelY * a.perWall} {
		b.width[k] = math.Sqrt(float64(width[k]*width[k]) + float64(pixel*pixel))
	}
	line := a.scene.LineTan * a.perWall
	b.across = [...]freeShare{newFreeShare(line, b.width[wallX]), newFreeShare(line, b.width[wallY])}
	f := a.around
	b.reach = Rect{f.Left - b.width[maskX]/2, f.Right + b.width[maskX]/2, f.Bottom - b.width[maskY]/2, f.Top + b.width[maskY]/2}
	return b
}

// along adds the light of one pupil point to pixels in a row, between rays at its ends.
func (a *painter) along(light []float64, each float64, b *patch, from, to *seen) {
	whole := from.passes() && to.passes()
	if !whole && !(min(from.over, to.over) <= 1+objective.RequirementSlack) {
		return
	}
	step := 1 / float64(len(light))
	x, y := from.at[wallX], from.at[wallY]
	stepX, stepY := step*(to.at[wallX]-x), step*(to.at[wallY]-y)
	figure := b.reach.meets(from, to)
	grid, line := a.scene.GridTan > 0, each*a.scene.LineLight
	for k := range light {
		at := float64(k) + 0.5
		if !whole && !(from.over+float64(at*step*(to.over-from.over)) <= 1+objective.RequirementSlack) {
			continue
		}
		l := each
		if grid {
			free := b.across[0].at(x+float64(at*stepX)) * b.across[1].at(y+float64(at*stepY))
			l = line + float64((each-line)*free)
		}
		if figure {
			share := at * step
			l *= max(0, 1-a.scene.hidden(
				from.at[maskX]+float64(share*(to.at[maskX]-from.at[maskX])),
				from.at[maskY]+float64(share*(to.at[maskY]-from.at[maskY])), b.width[maskX], b.width[maskY]))
		}
		light[k] += l
	}
}

// meets reports whether the straight way from one ray to another may cross r in the mask.
func (r *Rect) meets(from, to *seen) bool {
	return max(from.at[maskX], to.at[maskX]) > r.Left && min(from.at[maskX], to.at[maskX]) < r.Right &&
		max(from.at[maskY], to.at[maskY]) > r.Bottom && min(from.at[maskY], to.at[maskY]) < r.Top
}
