package secondmodel

import (
	"math"
	"strings"

	"relaysweep/catalog"
)

// matrix is a paraxial system matrix [[a, b], [c, d]] that acts on the column
// (height, index times slope); its determinant is 1.
type matrix struct{ a, b, c, d float64 }

// times is the product m·first: light passes first, then m.
func (m matrix) times(first matrix) matrix {
	return matrix{
		a: m.a*first.a + m.b*first.c,
		b: m.a*first.b + m.b*first.d,
		c: m.c*first.a + m.d*first.c,
		d: m.c*first.b + m.d*first.d,
	}
}

func unit() matrix                     { return matrix{1, 0, 0, 1} }
func translation(mm, n float64) matrix { return matrix{1, mm / n, 0, 1} }

func refraction(curvature, before, after float64) matrix {
	return matrix{1, 0, -(after - before) * curvature, 1}
}

// Focal length, front focal point to first vertex, and last vertex to rear
// focal point, of a matrix from first to last vertex in air.
func (m matrix) f() float64   { return -1 / m.c }
func (m matrix) ffd() float64 { return -m.d / m.c }
func (m matrix) bfd() float64 { return -m.a / m.c }

// Oriented is a lens as it stands in a train.
type Oriented struct {
	Lens     *catalog.Lens
	Reversed bool // its last surface faces the world
}

// turned is the lens with the surface that faces the world first.
func (o Oriented) turned() *catalog.Lens {
	if o.Reversed {
		return o.Lens.Reversed()
	}
	return o.Lens
}

func (o Oriented) label() string {
	if o.Reversed && !o.Lens.IsSymmetric() {
		return o.Lens.Part + "/r"
	}
	return o.Lens.Part
}

// face is one refracting surface of a stack.
type face struct {
	surface       catalog.Surface
	glass         *catalog.Glass // behind the surface; nil is air
	before, after float64        // index at the reference wavelength
	half          float64        // half of the full diameter
	clear         float64        // clear semi-diameter
	z             float64        // vertex, from the stack's first vertex
}

// stack is one group: lenses close together that act as one.
type stack struct {
	lenses   []Oriented
	label    string
	faces    []face
	spacings []float64 // between neighbouring lenses, vertex to vertex
	t        float64   // first to last vertex
	m        matrix    // first to last vertex, in air
	// maxLast and minFirst are how far the outer surfaces reach into the gaps
	// beside the stack: the largest sag of the last surface, the smallest of
	// the first, out to their half diameters.
	maxLast, minFirst float64
}

// newStack puts lenses together, world side first.
func newStack(r Request, lenses []Oriented) stack {
	r = r.filled()
	wavelength := r.WavelengthsNM[r.reference()]
	s := stack{lenses: lenses}
	var labels []string
	for i, o := range lenses {
		labels = append(labels, o.label())
		l := o.turned()
		first := face{surface: l.Surfaces[0], half: l.DiameterMM / 2}
		z := 0.0
		if i > 0 {
			last := s.faces[len(s.faces)-1]
			gap := vertexGap(last, first, r.AirGapMinMM)
			s.spacings = append(s.spacings, gap)
			z = last.z + gap
		}
		n := 1.0
		for j, surface := range l.Surfaces {
			f := face{surface: surface, before: n, after: 1, half: l.DiameterMM / 2, clear: l.ClearMM / 2, z: z}
			if j < len(l.Glasses) {
				f.glass = l.Glasses[j]
				f.after = f.glass.Index(wavelength)
				z += l.ThicknessMM[j]
			}
			n = f.after
			s.faces = append(s.faces, f)
		}
	}
	s.label = strings.Join(labels, "+")
	s.finish()
	return s
}

// finish works out what follows from the faces.
func (s *stack) finish() {
	s.m = unit()
	for i, f := range s.faces {
		if i > 0 {
			s.m = translation(f.z-s.faces[i-1].z, f.before).times(s.m)
		}
		s.m = refraction(f.surface.Curvature(), f.before, f.after).times(s.m)
	}
	first, last := s.faces[0], s.faces[len(s.faces)-1]
	s.t = last.z
	s.maxLast = largest(last.surface.Sag, 0, last.half)
	s.minFirst = -largest(func(h float64) float64 { return -first.surface.Sag(h) }, 0, first.half)
}

// vertexGap is the smallest distance between the vertices of two facing
// surfaces that keeps them apart by keep, measured along the axis, at every
// height out to the smaller half diameter.
func vertexGap(a, b face, keep float64) float64 {
	return keep + largest(func(h float64) float64 {
		return a.surface.Sag(h) - b.surface.Sag(h)
	}, 0, math.Min(a.half, b.half))
}

// largest is the largest value of f on [lo, hi]: the best of evenly spaced
// samples, refined by a golden section between its neighbours.
func largest(f func(float64) float64, lo, hi float64) float64 {
	const samples = 100
	at := func(i int) float64 { return lo + (hi-lo)*float64(i)/samples }
	best, where := math.Inf(-1), 0
	for i := 0; i <= samples; i++ {
		if v := f(at(i)); v > best {
			best, where = v, i
		}
	}
	if where == 0 || where == samples {
		return best
	}
	_, v := goldenSection(at(where-1), at(where+1), func(x float64) float64 { return -f(x) })
	return math.Max(best, -v)
}

// goldenSection finds a minimum of f in [lo, hi], where it falls and then
// rises.
func goldenSection(lo, hi float64, f func(float64) float64) (x, value float64) {
	ratio := (math.Sqrt(5) - 1) / 2
	a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
	fa, fb := f(a), f(b)
	for range 100 {
		if fa <= fb {
			hi, b, fb = b, a, fa
			a = hi - ratio*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + ratio*(hi-lo)
			fb = f(b)
		}
	}
	if fa <= fb {
		return a, fa
	}
	return b, fb
}

// massG is the glass mass of the stack in g, NaN when a density is unknown.
func (s stack) massG() float64 {
	sum := 0.0
	for _, o := range s.lenses {
		for i, glass := range o.Lens.Glasses {
			density := glass.DensityGCM3
			if catalog.IsSet(o.Lens.Density) {
				density = o.Lens.Density
			}
			sum += density * elementVolume(o.Lens, i) / 1000
		}
	}
	return sum
}

// elementVolume is the volume in mm³ of a lens's element i out to the full
// diameter: the integral of thickness times circumference, by Simpson's rule.
func elementVolume(l *catalog.Lens, i int) float64 {
	const intervals = 400
	step := l.DiameterMM / 2 / intervals
	sum := 0.0
	for k := 0; k <= intervals; k++ {
		h := float64(k) * step
		shell := 2 * math.Pi * h * (l.ThicknessMM[i] + l.Surfaces[i+1].Sag(h) - l.Surfaces[i].Sag(h))
		switch {
		case k == 0 || k == intervals:
			sum += shell
		case k%2 == 1:
			sum += 4 * shell
		default:
			sum += 2 * shell
		}
	}
	return sum * step / 3
}

// priceOf is what the pieces cost that are not there already, NaN when one of them has
// no price.
func priceOf(stacks []stack) float64 {
	pieces := map[*catalog.Lens]int{}
	for _, s := range stacks {
		for _, o := range s.lenses {
			pieces[o.Lens]++
		}
	}
	sum := 0.0
	for l, n := range pieces {
		if buy := n - l.Owned; buy > 0 {
			sum += float64(buy) * l.Price
		}
	}
	return sum
}

// transmission is the share of light that the stack's air-glass surfaces let
// through: two a lens, with the lens's own loss or the bare glass's reflection
// at normal incidence.
func (s stack) transmission() float64 {
	share := 1.0
	k := 0
	for _, o := range s.lenses {
		first, last := s.faces[k], s.faces[k+len(o.Lens.Surfaces)-1]
		k += len(o.Lens.Surfaces)
		if catalog.IsSet(o.Lens.LossPct) {
			share *= (1 - o.Lens.LossPct/100) * (1 - o.Lens.LossPct/100)
		} else {
			share *= (1 - fresnel(first.before, first.after)) * (1 - fresnel(last.before, last.after))
		}
	}
	return share
}

// fresnel is the reflected share at normal incidence.
func fresnel(n1, n2 float64) float64 {
	q := (n2 - n1) / (n2 + n1)
	return q * q
}
