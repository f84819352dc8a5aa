package lanes

import (
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
)

// arrays are all arrays of rays.
func (r *Rays) all() [7][]float64 { return [...][]float64{r.X, r.Y, r.W, r.KX, r.KY, r.KW, r.Per} }

// sameBits reports whether two numbers are the same, any NaN like any other.
func sameBits(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

// differ is where rays differ first, "" where they don't.
func differ(t *testing.T, what string, a, b *Rays) {
	t.Helper()
	names := [...]string{"X", "Y", "W", "KX", "KY", "KW", "Per"}
	bs := b.all()
	for k, as := range a.all() {
		for i := range as {
			if !sameBits(as[i], bs[k][i]) {
				t.Fatalf("%s: %s of ray %d of %d: plain %v, wide %v", what, names[k], i, len(as), as[i], bs[k][i])
			}
		}
	}
}

// randomRays sets rays to some that surfaces of semi-diameters up to 30 mm meet, miss
// and reflect: usual ones, grazing ones, lost ones.
func randomRays(source *rand.Rand, r *Rays) {
	for i := range r.X {
		reach, steep := 12.0, 0.3
		switch source.IntN(8) {
		case 0:
			steep = 3
		case 1:
			reach = 40
		case 2:
			reach, steep = 40, 30
		}
		sx, sy := steep*source.NormFloat64(), steep*source.NormFloat64()
		k := 1 / math.Sqrt(1+sx*sx+sy*sy)
		r.X[i], r.Y[i], r.W[i] = reach*source.NormFloat64(), reach*source.NormFloat64(), source.NormFloat64()
		r.KX[i], r.KY[i], r.KW[i], r.Per[i] = sx*k, sy*k, k, 1/k
		switch source.IntN(40) {
		case 0: // lost at a plane: its slopes are left
			r.KW[i], r.Per[i] = math.NaN(), math.NaN()
		case 1: // lost at other surfaces
			r.KX[i], r.KY[i], r.KW[i], r.Per[i] = math.NaN(), math.NaN(), math.NaN(), math.NaN()
		case 2: // lost before
			for _, a := range r.all() {
				a[i] = math.NaN()
			}
		case 3: // on the axis
			r.X[i], r.Y[i], r.W[i], r.KX[i], r.KY[i], r.KW[i], r.Per[i] = 0, 0, 0, 0, 0, 1, 1
		}
	}
}

var kinds = []struct {
	name   string
	random func(*rand.Rand, *Surface)
}{
	{"flat", func(*rand.Rand, *Surface) {}},
	{"sphere", func(source *rand.Rand, s *Surface) { s.Curvature = randomCurvature(source) }},
	{"conic", func(source *rand.Rand, s *Surface) {
		s.Curvature, s.Conic = randomCurvature(source), 2*source.NormFloat64()
	}},
	{"asphere", func(source *rand.Rand, s *Surface) {
		s.Curvature = randomCurvature(source)
		if source.IntN(4) == 0 {
			s.Curvature = 0
		}
		if source.IntN(2) == 0 {
			s.Conic = source.NormFloat64()
		}
		for i := range 1 + source.IntN(5) {
			s.Asphere = append(s.Asphere, source.NormFloat64()*math.Pow(0.05, float64(2*i+3)))
		}
	}},
	{"facets", randomFacets},
}

// randomFacets are facets with the slopes of a conic, with polynomial terms or without.
func randomFacets(source *rand.Rand, s *Surface) {
	s.Faceted, s.Curvature = true, randomCurvature(source)
	if source.IntN(4) == 0 {
		s.Curvature = 0
	}
	if source.IntN(2) == 0 {
		s.Conic = 2 * source.NormFloat64()
	}
	for i := range source.IntN(5) {
		s.Asphere = append(s.Asphere, source.NormFloat64()*math.Pow(0.05, float64(2*i+3)))
	}
}

func randomCurvature(source *rand.Rand) float64 {
	c := 1 / (4 * math.Exp(4*source.Float64()))
	return math.Copysign(c, source.NormFloat64())
}

// inside is rays of which only a part may change.
func inside(n int) (whole, part Rays) {
	whole = NewRays(n + 2*width)
	for _, a := range whole.all() {
		for i := range a {
			a[i] = 12345
		}
	}
	return whole, whole.Part(width, width+n)
}

// TestSameBits compares rays four at a time with those one by one, through a million rays of each
// kind of surface and bundles of every size.
func TestSameBits(t *testing.T) {
	if !wide {
		t.Log("rays go one by one here: nothing to compare")
		return
	}
	most := 1_000_000
	if testing.Short() {
		most = 100_000
	}
	for _, kind := range kinds {
		t.Run(kind.name, func(t *testing.T) {
			source := rand.New(rand.NewPCG(16, 4))
			through, lost, lostBefore, grazing := 0, 0, 0, 0
			for rays := 0; rays < most; {
				n := 1 + source.IntN(70)
				rays += n
				s := Surface{DistanceMM: 20 * source.Float64()}
				kind.random(source, &s)
				ratio := math.Exp(0.6 * (2*source.Float64() - 1))
				wholePlain, plain := inside(n)
				wholeWide, quick := inside(n)
				randomRays(source, &plain)
				quick.CopyFrom(&plain)
				for i := range n {
					if plain.Lost(i) {
						lostBefore++
					}
				}
				want := s.plainThrough(&plain, ratio)
				got := quick.Through(&s, ratio)
				differ(t, kind.name, &wholePlain, &wholeWide)
				if !sameBits(want, got) {
					t.Fatalf("margin of %d rays: plain %v, wide %v", n, want, got)
				}
				for i := range n {
					if plain.Lost(i) {
						lost++
					} else if through++; plain.KW[i] < 0.2 {
						grazing++
					}
				}
			}
			t.Logf("%d through, %d of them grazing, %d lost before, %d here", through, grazing, lostBefore, lost-lostBefore)
			if least := most / 500; through < most/4 || lostBefore < least || lost-lostBefore < least || grazing < least {
				t.Error("too few of a kind")
			}
		})
	}
}

// TestSameBitsTilted is TestSameBits for spheres and planes that stand anywhere.
func TestSameBitsTilted(t *testing.T) {
	most := 1_000_000
	if testing.Short() {
		most = 100_000
	}
	source := rand.New(rand.NewPCG(16, 6))
	through, lost := 0, 0
	for rays := 0; rays < most; {
		n := 1 + source.IntN(70)
		rays += n
		var s Tilted
		for i := range s.Vertex {
			s.Vertex[i], s.Axis[i] = source.NormFloat64(), 0.3*source.NormFloat64()
		}
		s.Vertex[2] += 20 * source.Float64()
		s.Axis[2] = math.Sqrt(math.Max(0, 1-s.Axis[0]*s.Axis[0]-s.Axis[1]*s.Axis[1]))
		if source.IntN(5) > 0 {
			s.Curvature = randomCurvature(source)
		}
		ratio := math.Exp(0.6 * (2*source.Float64() - 1))
		wholePlain, plain := inside(n)
		wholeWide, quick := inside(n)
		randomRays(source, &plain)
		quick.CopyFrom(&plain)
		plain.plainTilted(&s, ratio)
		quick.ThroughTilted(&s, ratio)
		differ(t, "tilted", &wholePlain, &wholeWide)
		for i := range n {
			if plain.Lost(i) {
				lost++
			} else {
				through++
			}
		}
	}
	if t.Logf("%d through, %d lost", through, lost); through < most/4 || lost < most/100 {
		t.Error("too few of a kind")
	}
}

// TestSameBitsOfBundles compares what else is done with bundles of rays: launching them,
// plates, planes, heights and sums of lines.
func TestSameBitsOfBundles(t *testing.T) {
	source := rand.New(rand.NewPCG(16, 5))
	some := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			if v[i] = 10 * source.NormFloat64(); source.IntN(50) == 0 {
				v[i] = math.NaN()
			}
		}
		return v
	}
	someLines := func(n int) *Lines {
		return &Lines{WithRoom(some(n)), WithRoom(some(n)), WithRoom(some(n)), WithRoom(some(n))}
	}
	for range 20_000 {
		n := 1 + source.IntN(30)
		wholePlain, plain := inside(n)
		wholeWide, quick := inside(n)
		same := func(what string) {
			t.Helper()
			differ(t, what, &wholePlain, &wholeWide)
		}
		a, b := source.NormFloat64(), source.NormFloat64()
		px, py := some(n), some(n)
		plain.plainLaunch(px, py, a, b)
		quick.Launch(px, py, a, b)
		same("launch")

		randomRays(source, &plain)
		quick.CopyFrom(&plain)
		thickness, index := 10*source.Float64(), 1.01+source.Float64()
		plainPlate(plain.X, plain.Y, &plain, thickness, index)
		quick.ThroughPlate(thickness, index)
		same("plate")

		over := some(n)
		plainOver := slices.Clone(over)
		quick.Overfill(over, 8)
		plain.plainOverfill(plainOver, 1.0/64)
		if !slices.EqualFunc(over, plainOver, sameBits) {
			t.Fatal("overfill: ", plainOver, over)
		}

		// Lines are four of the arrays of rays.
		from := quick
		asLines := func(r *Rays) *Lines { return &Lines{r.X, r.Y, r.KX, r.KY} }
		wholePlain, plain = inside(n)
		wholeWide, quick = inside(n)
		asLines(&plain).plainCross(&from, a)
		asLines(&quick).Cross(&from, a)
		same("cross")

		parts := 1 + source.IntN(5)
		lines, share := someLines(n*parts), some(parts)
		plainMix(plain.X, lines.X, share)
		plainMix(plain.Y, lines.Y, share)
		plainMix(plain.KX, lines.SX, share)
		plainMix(plain.KY, lines.SY, share)
		asLines(&quick).Mix(lines, share)
		same("mix")

		l := [...]*Lines{someLines(n), someLines(n), someLines(n), someLines(n), someLines(n)}
		plainBetween(plain.X, l[0].X, l[1].X, l[2].X, l[3].X, l[4].X, a)
		plainBetween(plain.Y, l[0].Y, l[1].Y, l[2].Y, l[3].Y, l[4].Y, a)
		plainBetween(plain.KX, l[0].SX, l[1].SX, l[2].SX, l[3].SX, l[4].SX, a)
		plainBetween(plain.KY, l[0].SY, l[1].SY, l[2].SY, l[3].SY, l[4].SY, a)
		asLines(&quick).Between(a, l[0], l[1], l[2], l[3], l[4])
		same("between")

		summed, weight := someLines(n), WithRoom(some(n))
		for i := range weight {
			if source.IntN(3) == 0 || math.IsNaN(summed.X[i]) || math.IsNaN(weight[i]) {
				weight[i] = 0
			}
		}
		var crossings CrossingSums
		crossings.Of(summed, weight, a, b)
		if want := summed.plainCrossingSums(weight, a, b); !sameSums(crossings, want) {
			t.Fatalf("sums of %d crossings: plain %v, wide %v", n, want, crossings)
		}
		var slopes SlopeSums
		slopes.Of(summed, weight, a, b)
		if want := summed.plainSlopeSums(weight, a, b); !sameSums(slopes, want) {
			t.Fatalf("sums of %d slopes: plain %v, wide %v", n, want, slopes)
		}
	}
}

// sameSums compares structures of numbers.
func sameSums(a, b any) bool {
	as, bs := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range as.NumField() {
		if !sameBits(as.Field(i).Float(), bs.Field(i).Float()) {
			return false
		}
	}
	return true
}

// plainThrough is Rays.Through one ray by one.
func (s *Surface) plainThrough(r *Rays, ratio float64) float64 {
	switch {
	case s.Faceted:
		return r.plainFacets(s, ratio)
	case len(s.Asphere) > 0:
		return r.plainAsphere(s, ratio)
	case s.Curvature == 0:
		return r.plainFlat(s.DistanceMM, ratio)
	case s.Conic != 0:
		return r.plainConic(s, ratio)
	}
	return r.plainSphere(s.DistanceMM, s.Curvature, ratio)
}

// TestGenerated runs the generator and compares.
func TestGenerated(t *testing.T) {
	folder := t.TempDir()
	run := exec.Command("go", "run", "-C", "gen", ".", folder)
	if out, err := run.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, name := range []string{"kernels_amd64.s", "kernels_amd64.go"} {
		want, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s is not what the generator writes: run go generate", name)
		}
	}
}

// BenchmarkSurface is one ray through one surface, of a bundle of 90 that goes through
// six lenses.
func BenchmarkSurface(b *testing.B) {
	const n, lenses = 90, 6
	surfaces := map[string]Surface{
		"flat": {DistanceMM: 2}, "sphere": {DistanceMM: 2, Curvature: 0.01}, "conic": {DistanceMM: 2, Curvature: 0.01, Conic: -0.7},
		"asphere": {DistanceMM: 2, Curvature: 0.01, Conic: -0.7, Asphere: []float64{-2e-7, 1e-10}},
		"facets":  {DistanceMM: 2, Curvature: 0.01, Conic: -0.7, Asphere: []float64{-2e-7, 1e-10}, Faceted: true},
	}
	launch, r := NewRays(n), NewRays(n)
	for i := range n {
		x, y := 2*math.Cos(float64(i)), 2*math.Sin(float64(i))
		part := launch.Part(i, i+1)
		part.Launch([]float64{x}, []float64{y}, 0.1, 0.004)
	}
	for _, kind := range kinds {
		s := surfaces[kind.name]
		for _, way := range []struct {
			name    string
			through func(*Rays, float64) float64
		}{
			{"plain", s.plainThrough},
			{"wide", func(r *Rays, ratio float64) float64 { return r.Through(&s, ratio) }},
		} {
			b.Run(kind.name+"/"+way.name, func(b *testing.B) {
				for b.Loop() {
					r.CopyFrom(&launch)
					for range lenses {
						way.through(&r, 1/1.5)
						way.through(&r, 1.5)
					}
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n/lenses/2, "ns/ray")
				for i := range n {
					if r.Lost(i) {
						b.Fatal("lost")
					}
				}
			})
		}
	}
}
