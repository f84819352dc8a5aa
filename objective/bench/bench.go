package bench

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// Azimuths is the number of directions round the axis in which a field is sampled.
// What decentres and tilts do varies with the first and second harmonic of the
// direction; of a first harmonic eight directions see at least cos 22.5° = 92 %.
const Azimuths = 8

// fieldFractions are the field samples of the ray check, as fractions of the
// tangent of the largest half angle.
var fieldFractions = [...]float64{0, 0.5, 0.7, 1}

// pupilPlaces is the number of places of the pupil: in the middle, along the field's
// direction, against it, and to both sides.
const pupilPlaces = 5

// Compensators are what a builder adjusts, each on or off.
type Compensators struct {
	// LastGap moves the rear group until the far vergence on the axis is that of
	// the design.
	LastGap bool
	// FrontGap moves the front group until a distant mark on the axis is as sharp on
	// the mask, which stands at its far setpoint, as in the design.
	FrontGap bool
	// StageZero moves the zero of the stage to where the mask's mean square blur
	// over fields and depths is least.
	StageZero bool
	// PictureShift shifts the mask's picture to where its mean square distance from
	// where it should be, over fields and depths, is least.
	PictureShift bool
}

// Bench measures builds of one train. It reuses its buffers: each goroutine needs
// its own.
type Bench struct {
	p           *objective.Problem
	t           *objective.Train
	on          Compensators
	vignetting  bool
	reference   int
	weight      []float64 // of the wavelengths; they add up to 1
	used        int       // field fractions that sharpness looks at
	depths      []float64 // apparent vergences, 1/mm
	vergences   []float64 // those that are traced: far, near, then between
	share       [][]float64
	fields      []direction
	places      int
	points      int // of a pupil
	pointWeight []float64

	lenses   []lens
	groupAt  []int // first lens of each group; one more at the end
	surfaces []surface
	ratios   [][]float64 // by wavelength
	masks    []mask      // in the order of [objective.Train.MaskGaps], in which rays meet them

	// The build in hand.
	build     *Build
	groupTurn []rotation
	lensTurn  []rotation
	gaps      []float64 // with errors and compensators
	adjusted  [2]float64
	length    float64 // first to last vertex
	theta     float64 // angular magnification
	viewpoint float64 // w of the viewpoint: its distance from the eye
	steps     float64 // depth step, D

	// The design, as this package measures it.
	nominal struct {
		theta     float64
		vergence  float64 // on the axis at the far depth, D
		sharpness float64 // how far beyond the far setpoint of the first mask the axis is sharpest, mm
	}
	inverse [2][2]float64 // of the compensators' Jacobian

	chunk  lanes.Rays
	view   []lanes.Lines // by wavelength, of the field in hand
	viewAt []lanes.Lines // likewise, of the depth in hand
	mixed  []lanes.Lines // by wavelength, buffers for these
	axis   lanes.Rays    // of the compensators
	axisAt struct {
		masks [objective.MasksMost]lanes.Lines
		view  lanes.Lines
	}
	chiefs [][2]float64 // by wavelength, of the bundle in hand
	rim    rim
}

// mask is one of the train's masks.
type mask struct {
	gap    int // that it stands in
	beyond int // first surface beyond it
	// Of the design.
	setpoint []float64 // exact, by depth, from the vertex before the mask
	centroid [][2]float64
	// Of the build in hand.
	vertex float64            // w of the first vertex on the eye's side of the mask
	layer  []float64          // paraxial distance from there to the layer, by depth
	chief  []float64          // height there for unit slope towards the world, by depth
	lines  []lanes.Lines      // by wavelength, of the field in hand
	at     []lanes.Lines      // likewise, of the depth in hand
	mixed  []lanes.Lines      // by wavelength, buffers for these
	blur   []maskCoefficients // by field, depth, place
	middle []maskMiddle       // by field, depth
}

// direction is one field sample.
type direction struct {
	fraction int
	tan      float64
	x, y     float64 // unit vector of the field's direction
	share    float64 // of the field's fraction, in means
	launch   lanes.Rays
	coloured []lanes.Rays // by wavelength, where the eye's colour counts; nil otherwise
}

// lens is what the design says of a lens, from the world to the eye.
type lens struct {
	curvature []float64
	surfaces  []catalog.Surface
	thickness []float64
	index     [][]float64 // by glass, then wavelength
	line      []abbe      // by glass
	power     float64
	clear     float64
	gap       float64 // behind it in its group

	// The build's.
	bent   []float64
	dense  [][]float64
	length float64
}

// abbe is a glass at the d line and its principal dispersion.
type abbe struct{ d, dispersion float64 }

// New prepares builds of t, which must not change afterwards. vignetting tells
// whether vignetting is measured, unless the problem limits it: then it is.
func New(p *objective.Problem, t *objective.Train, on Compensators, vignetting bool) *Bench {
	_, limited := p.Limits.Max[Measures[Vignetted].Name]
	b := &Bench{p: p, t: t, on: on, vignetting: vignetting || limited, reference: p.Reference()}
	var total float64
	for _, w := range p.Weights {
		total += w
	}
	for _, w := range p.Weights {
		b.weight = append(b.weight, w/total)
	}
	for f, fraction := range fieldFractions {
		if fraction <= p.Limits.FieldFraction {
			b.used = f + 1
		}
	}
	b.places = 1
	if p.SharpBox > 0 {
		b.places = pupilPlaces
	}
	b.sampleDepths()
	b.sampleFields()
	b.takeLenses()
	n := len(b.fields) * len(b.depths)
	for k := range b.masks {
		m := &b.masks[k]
		m.blur, m.middle = make([]maskCoefficients, n*b.places), make([]maskMiddle, n)
		m.layer, m.chief = make([]float64, len(b.depths)), make([]float64, len(b.depths))
	}
	b.chiefs = make([][2]float64, len(b.weight))
	b.rim = newRim()
	b.findNominal()
	return b
}

// NewBuild is a build without errors, of the size of the bench's train.
func (b *Bench) NewBuild() *Build { return newBuild(b.t) }

// sampleDepths chooses the vergences that are traced, and the share of each in each
// depth sample: with many depth samples three or more over the range, between which
// rays are interpolated, as in the ray check.
func (b *Bench) sampleDepths() {
	p := b.p
	for i := range max(p.DepthSteps, 1) {
		b.depths = append(b.depths, p.Depth(i))
	}
	far, near := p.VergenceFar, p.VergenceNear
	n := 3
	switch reach := p.Pupil / 2 * (near - far); {
	case reach > 2*wideVergence:
		n = 5
	case reach > wideVergence:
		n = 4
	}
	between := len(b.depths) > n && far != near
	if between {
		b.vergences = append(b.vergences, far, near)
		for i := 1; i < n-1; i++ {
			b.vergences = append(b.vergences, far+float64((near-far)*float64(i)/float64(n-1)))
		}
	} else {
		last := len(b.depths) - 1
		b.vergences = append(b.vergences, b.depths[0])
		if last > 0 {
			b.vergences = append(b.vergences, b.depths[last])
			b.vergences = append(b.vergences, b.depths[1:last]...)
		}
	}
	for _, v := range b.depths {
		row := make([]float64, len(b.vergences))
		for i := range row {
			switch {
			case between:
				row[i] = 1
				for j := range row {
					if j != i {
						row[i] *= (v - b.vergences[j]) / (b.vergences[i] - b.vergences[j])
					}
				}
			case b.vergences[i] == v && !slices.Contains(row[:i], 1):
				row[i] = 1
			}
		}
		b.share = append(b.share, row)
	}
}

const (
	// wideVergence is a range of slopes at the edge of the pupil, that of 5 D in a
	// pupil of 4 mm, beyond which more vergences are traced.
	wideVergence = 0.01
	// widePupil, in mm, is the diameter beyond which aberrations of higher orders ask
	// for more rings and arms.
	widePupil = 6
)

// sampleFields lays out the field directions and their rays. The pupil is filled by
// Gauss-Legendre nodes in the squared radius times equally spaced arms (G. W. Forbes,
// J. Opt. Soc. Am. A 5, 1943, 1988), as in the ray check, but all of it.
func (b *Bench) sampleFields() {
	p := b.p
	arms := []int{4, 6, 8}
	if p.Pupil > widePupil {
		arms = []int{4, 8, 10, 12}
	}
	node, weight := make([]float64, len(arms)), make([]float64, len(arms))
	quad.Legendre{}.FixedLocations(node, weight, 0, 1)
	slices.Sort(node)
	var px, py []float64
	for i, m := range arms {
		rho := p.Pupil / 2 * math.Sqrt(node[i])
		for j := range m {
			sin, cos := math.Sincos(2 * math.Pi * (float64(j) + 0.5 - float64(m)/4) / float64(m))
			px, py = append(px, rho*cos), append(py, rho*sin)
			b.pointWeight = append(b.pointWeight, weight[i]/float64(m))
		}
	}
	b.points = len(px)
	n := b.places * b.points
	for f, fraction := range fieldFractions {
		directions := Azimuths
		if fraction == 0 {
			directions = 1
		}
		for a := range directions {
			sin, cos := math.Sincos(2 * math.Pi * float64(a) / Azimuths)
			d := direction{fraction: f, tan: fraction * p.TanMax, x: sin, y: cos, share: 1 / float64(directions)}
			// all are the rays of the pupil's places for every vergence, less the eye's at a wavelength.
			all := func(eye float64) lanes.Rays {
				launch := lanes.NewRays(len(b.vergences) * n)
				for v, vergence := range b.vergences {
					for place := range b.places {
						sx, sy := pupilPlace(p.SharpBox/2, place)
						for i := range px {
							x, y := d.turn(sx+px[i], sy+py[i])
							b.launch(&launch, v*n+place*b.points+i, &d, x, y, vergence-eye)
						}
					}
				}
				shiftByPlate(&launch, p.CombinerMM, p.CombinerIndex)
				return launch
			}
			d.launch = all(0)
			for w := range b.weight {
				if p.ColouredEye {
					d.coloured = append(d.coloured, all(p.EyeColour(w)))
				}
			}
			b.fields = append(b.fields, d)
		}
	}
	most := len(b.vergences) * n
	b.chunk = lanes.NewRays(most)
	byWavelength := func() (lines, at, mixed []lanes.Lines) {
		for range b.weight {
			lines, mixed = append(lines, lanes.NewLines(most)), append(mixed, lanes.NewLines(n))
		}
		return lines, slices.Clone(lines), mixed
	}
	b.view, b.viewAt, b.mixed = byWavelength()
	b.axis = lanes.NewRays(b.points)
	b.axisAt.view = lanes.NewLines(b.points)
	for k, gap := range b.t.MaskGaps() {
		m := mask{gap: gap}
		m.lines, m.at, m.mixed = byWavelength()
		b.masks = append(b.masks, m)
		b.axisAt.masks[k] = lanes.NewLines(b.points)
	}
}

// pupilPlace is place k of the pupil, displaced by a distance, as x across the
// field's direction and y along it.
func pupilPlace(shift float64, k int) (x, y float64) {
	return [pupilPlaces]float64{0, 0, 0, shift, -shift}[k], [pupilPlaces]float64{0, shift, -shift, 0, 0}[k]
}

// turn takes a point given across and along the field's direction to x and y.
func (d *direction) turn(across, along float64) (x, y float64) {
	return float64(across*d.y) + float64(along*d.x), float64(along*d.y) - float64(across*d.x)
}

// launch sets ray i to leave the pupil point (x, y) on the line through the apparent
// point of the field at a vergence in 1/mm.
func (b *Bench) launch(r *lanes.Rays, i int, d *direction, x, y, vergence float64) {
	launch(r, i, x, y, float64(d.tan*d.x)-float64(x*vergence), float64(d.tan*d.y)-float64(y*vergence))
}

// takeLenses copies what the design says of its lenses.
func (b *Bench) takeLenses() {
	count := 0
	for _, g := range b.t.Groups {
		b.groupAt = append(b.groupAt, len(b.lenses))
		for i, e := range g.Elements {
			l := lens{
				surfaces: e.Surfaces, thickness: e.Thickness, clear: e.Lens.ClearMM / 2,
				bent: make([]float64, len(e.Surfaces)),
			}
			if i < len(g.GapsMM) {
				l.gap = g.GapsMM[i]
			}
			for _, s := range e.Surfaces {
				l.curvature = append(l.curvature, s.Curvature())
				count++
			}
			for _, glass := range e.Glasses {
				var index []float64
				for _, w := range b.p.WavelengthsNM {
					index = append(index, glass.Index(w))
				}
				l.index = append(l.index, index)
				l.dense = append(l.dense, make([]float64, len(index)))
				nd := glass.Nd()
				l.line = append(l.line, abbe{nd, glass.Index(catalog.LineF) - glass.Index(catalog.LineC)})
			}
			l.power = -l.matrix(l.curvature, l.index, nil, b.reference).C
			b.lenses = append(b.lenses, l)
		}
	}
	b.groupAt = append(b.groupAt, len(b.lenses))
	for k := range b.masks {
		m := &b.masks[k]
		for _, l := range b.lenses[b.groupAt[m.gap+1]:] {
			m.beyond += len(l.surfaces)
		}
	}
	b.surfaces = make([]surface, count)
	for range b.weight {
		b.ratios = append(b.ratios, make([]float64, count))
	}
	n := 0
	for i := len(b.lenses) - 1; i >= 0; i-- {
		l := &b.lenses[i]
		for s := len(l.surfaces) - 1; s >= 0; s-- {
			out := &b.surfaces[n]
			out.conic, out.clear, out.faceted = l.surfaces[s].Conic, l.clear, l.surfaces[s].IsFaceted()
			if !l.surfaces[s].IsSpherical() && len(l.surfaces[s].Asphere) > 0 {
				out.asphere = make([]float64, len(l.surfaces[s].Asphere))
			}
			n++
		}
	}
	b.groupTurn = make([]rotation, len(b.t.Groups))
	b.lensTurn = make([]rotation, len(b.lenses))
	b.gaps = make([]float64, len(b.t.Gaps))
}

// matrix is the lens's matrix in air from first to last vertex at a wavelength, with
// given curvatures and indices and with errors of thickness, which may be nil.
func (l *lens) matrix(curvature []float64, index [][]float64, thicker []float64, wavelength int) objective.Matrix {
	m, n := objective.Matrix{A: 1, D: 1}, 1.0
	for s, c := range curvature {
		next := 1.0
		if s < len(index) {
			next = index[s][wavelength]
		}
		m = m.Then(objective.Matrix{A: 1, C: c * (n - next) / next, D: n / next})
		if s < len(l.thickness) {
			t := l.thickness[s]
			if thicker != nil {
				t += thicker[s]
			}
			m = m.Then(objective.Gap(t))
		}
		n = next
	}
	return m
}
